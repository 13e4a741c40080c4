import { assemblyFaults } from './assembly/assembly-history.ts';
import { boardName, linkWords, workWords } from './bench-words.ts';
import { openSlots, runsSealed, type BoardHistory } from './calibration-state.ts';
import { judgementOf } from './judgement.ts';
import { nextStep, type Intention, type Offer, type Place } from './next-step.ts';
import type { PlaceState } from './place-state.ts';
import { openProofSlots } from './proof.ts';
import { speaksAgainstInForce } from './speaks-against.ts';

/** A board at a glance, for whoever has several on the bench. */
export interface Glance {
  /** What a person would call it. */
  board: string;
  /** The same in two: the name its keeper gave it, or else what it is, and its serial number where that is known. */
  name: string;
  serial?: string;
  /** How it stands in all: the worst of what is so, then the busiest. */
  shape: 'ahead' | 'waiting' | 'good' | 'watch' | 'bad' | 'now';
  /** The link, in a few words. */
  link: string;
  /** Where on the path it is. */
  place: Place;
  /** How many of the readings wanted now are there; absent where none are wanted. */
  progress?: { done: number; of: number; words: string };
  /** What is being done; absent while nothing is. */
  work?: string;
  /** What to do next. */
  next: string;
  /** What went wrong. */
  trouble?: string;
  /** What came of the calibration so far; absent before a fit. */
  result?: { shape: 'good' | 'watch' | 'bad'; words: string };
  /** What may be done without bringing the board to hand: that changes nothing on it, or can be undone. */
  offer?: Offer;
}

/** What needs no closer look: all but what writes to a board, or leaves a calibration behind. */
const SAFE: readonly Intention[] = [
  'link',
  'take one',
  'take sighting',
  'take rest',
  'take gaps',
  'take more',
  'fit',
  'prove',
  'end',
];

export function glance(state: PlaceState): Glance {
  const { link, history, work, trouble } = state;
  const { place, heading, main } = nextStep(state);
  const linked = linkWords(link);
  const progress = progressOf(history, place);
  const result = resultOf(history);
  const isFirst = main?.does === 'begin' && !history.calibration;
  const isDone = place === 'Done' && link.state === 'linked';
  return {
    ...named(history),
    shape:
      trouble || linked.shape === 'bad'
        ? 'bad'
        : work
          ? 'waiting'
          : linked.shape !== 'good'
            ? linked.shape
            : result?.shape === 'bad' || isDone
              ? (result?.shape ?? 'good')
              : 'now',
    link: linked.words,
    place,
    ...(progress && { progress }),
    ...(work && { work: workWords(work) }),
    next: heading,
    ...(trouble && { trouble: trouble.heading }),
    ...(result && { result }),
    ...(main && !work && (SAFE.includes(main.does) || isFirst) && { offer: main }),
  };
}

function named({ identity }: BoardHistory): Pick<Glance, 'board' | 'name' | 'serial'> {
  if (!identity) return { board: 'A new board', name: 'A new board' };
  const { name, serial } = identity;
  return { board: boardName(identity), name: name || 'Board', serial };
}

/** The same in a few words, for where there is little room: what is wrong, else what is being done, else where it is. */
export function shortWords({ trouble, work, link, place, progress }: Glance): string {
  if (work) return work;
  const where = [place, ...(progress ? [`${progress.done} of ${progress.of}`] : [])].join(', ');
  const wrong = trouble ?? (link === linkWords({ state: 'linked' }).words ? undefined : link);
  return wrong === undefined ? where : `${wrong} · ${where}`;
}

function progressOf({ calibration }: BoardHistory, place: Place): Glance['progress'] {
  if (!calibration || calibration.ended) return undefined;
  const { plan, proofReadings } = calibration;
  if (place === 'Prove') {
    const of = openProofSlots([]).length;
    const done = of - openProofSlots(proofReadings).length;
    return { done, of, words: `${done} of ${of} fresh readings` };
  }
  const of = plan.sightings.reduce((sum, { rolls }) => sum + rolls.length, 0);
  if (of === 0) return undefined;
  const done = of - openSlots(calibration).length;
  return { done, of, words: `${done} of ${of} readings` };
}

function resultOf(history: BoardHistory): Glance['result'] {
  const { calibration } = history;
  const against =
    calibration?.sealed && runsSealed(history) ? speaksAgainstInForce(history)[0] : undefined;
  if (calibration?.sealed && against)
    return { shape: 'bad', words: `Generation ${calibration.sealed.generation}: ${against}` };
  const wrong = assemblyFaults(history);
  if (wrong !== undefined) return { shape: 'bad', words: `It has ${wrong}` };
  if (!calibration) return undefined;
  const { sealed, proof, fit, refusal, ended } = calibration;
  if (sealed && runsSealed(history)) {
    const of = `generation ${sealed.generation}`;
    if (!proof) return { shape: 'watch', words: `Sealed as ${of}, not proven yet` };
    return { shape: 'good', words: `Proven, ${of}` };
  }
  if (ended) return undefined;
  if (refusal && !refusal.stale) return { shape: 'watch', words: 'No fit from these readings yet' };
  if (!fit || fit.stale) return undefined;
  return judgementOf(history)?.standing === 'bad'
    ? { shape: 'bad', words: 'Not good enough yet' }
    : { shape: 'good', words: 'Good enough, not written yet' };
}
