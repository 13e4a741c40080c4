import type { BoardIdentity } from '../protocol/board.ts';
import { assemblyFaults, assemblyOf } from './assembly/assembly-history.ts';
import { lineWords, rollWords } from './attitude-words.ts';
import type { LinkState, PlaceState } from './place-state.ts';
import {
  gapSlots,
  isSealedNow,
  keptReadings,
  openSlots,
  provesNow,
  runsSealed,
  type BoardHistory,
  type CalibrationState,
  type Slot,
} from './calibration-state.ts';
import { lostWords } from './bench-words.ts';
import { turnedByPerson } from './collecting/own-hand.ts';
import { nextInCheck, type CheckIntention } from './checks/next-in-check.ts';
import { isStarted, openUpdate, type UpdateState } from './care/care-history.ts';
import { judge, type Judgement } from './judgement.ts';
import { sourceWords } from './comparison-words.ts';
import { MOST_MORE_AT_ONCE } from './extended-plan.ts';
import { openProofSlots } from './proof.ts';
import { speaksAgainstInForce } from './speaks-against.ts';

/** The one thing to do next: a pure function of what is so. */

/** What a person can ask of the bench. */
export type Intention =
  | 'link'
  | 'choose'
  | 'unlink'
  | 'begin'
  | 'take one'
  | 'take sighting'
  | 'take rest'
  | 'take gaps'
  | 'take more'
  | 'fit'
  | 'write'
  | 'prove'
  | 'prove again'
  | 'leave'
  | 'resume'
  | 'take up earlier'
  | 'end'
  | 'revert'
  | 'undo'
  | 'redo'
  | 'insist'
  | 'stop'
  /** To be led to the sheet of the assembly check; nothing is done at the board. */
  | 'see assembly'
  | CheckIntention;

export interface Offer {
  label: string;
  does: Intention;
  /** What becomes of things when it is done, where its label does not say it. */
  note?: string;
}

export interface NextStep {
  /** Where on the path this is. */
  place: Place;
  /** What to do, large. */
  heading: string;
  /** Why, or how. */
  words: string;
  /** What the help beside it is about. */
  help: HelpTopic;
  /** The one thing; absent only while it cannot be done. */
  main?: Offer;
  /** Other ways on. */
  others: readonly Offer[];
  /** Ways out: always there, never pressing. */
  waysOut: readonly Offer[];
}

/** What help there is: for each place of the path, and `Hold` for whoever holds the board. */
export type HelpTopic = Place | 'Hold';

/** What is next, without the ways out, which are the same everywhere; its help is that of its place, unless it says so. */
type Step = Omit<NextStep, 'waysOut' | 'help'> & { help?: HelpTopic };

/** The places of the path, in order. */
export const PLACES = ['Link', 'Look', 'Take', 'Judge', 'Seal', 'Prove'] as const;
export type Place = (typeof PLACES)[number] | 'Done';

/** What is done at each place, for whoever has not been there. */
export const WAY: readonly { place: Place; words: string }[] = [
  { place: 'Link', words: 'Join a board to this page.' },
  {
    place: 'Look',
    words: 'See what it is and what is on it. It is saved before anything changes.',
  },
  {
    place: 'Take',
    words:
      'Take 14 sightings: four readings along one line each, a quarter turn apart. The picture shows the gaps.',
  },
  {
    place: 'Judge',
    words: 'Fit, see whether it is good enough and why, leave out what went wrong.',
  },
  {
    place: 'Seal',
    words: 'Write the coefficients to the board in one step; the set before them stays on it.',
  },
  { place: 'Prove', words: 'Take fresh readings that show the instrument is right.' },
];

/** After so many readings of a simulated board, its first sighting, a person has seen what taking is. */
const LEARNT = 4;

/** The fewest readings worth showing to a fit. */
const WORTH_FITTING = 8;

export function nextStep(state: PlaceState): NextStep {
  const step = stepOf(state);
  const offered = [...(step.main ? [step.main] : []), ...step.others].map(({ does }) => does);
  return {
    help: step.place,
    ...step,
    waysOut: waysOut(state).filter(({ does }) => !offered.includes(does)),
  };
}

/** For kinds whose boards the browser lists. */
const CHOOSE: Offer = { label: 'Choose it from the list again', does: 'choose' };
/** Whether that does something else than linking again. */
const isChosen = ({ kind, end }: LinkState): boolean =>
  (kind === 'serial' || kind === 'bluetooth') && end !== 'page closed';
const GO_BACK: Offer = { label: 'Go back to the coefficients before', does: 'revert' };
/** After going back, going back once more is going forward: named by what it puts in force. */
const goBack = ({ calibration, previous }: BoardHistory): Offer =>
  calibration?.reverted && previous
    ? { ...GO_BACK, label: `Put generation ${previous.generation} in force again` }
    : GO_BACK;
const BEGIN_ANOTHER: Offer = { label: 'Begin another calibration', does: 'begin' };
/** In the midst of a calibration: says beforehand what becomes of its readings. */
const beginAnew = (label: string, { readings }: CalibrationState): Offer => ({
  label,
  does: 'begin',
  note: `${label}: the ${counted(readings.length)} in the logbook; a new calibration begins empty.`,
});
const counted = (n: number) => (n === 1 ? 'one reading stays' : `${n} readings stay`);
const TAKE_MORE: Offer = {
  label: 'Plan more readings',
  does: 'take more',
  note: `Plan more readings: up to ${MOST_MORE_AT_ONCE} are added to the plan, in the attitudes that tell most. All that was taken still counts.`,
};
const RESUME: Offer = { label: 'Take this calibration up again', does: 'resume' };
/** Beginning again, undone. */
const takeUpEarlier = ({ readings, ended }: CalibrationState): Offer => ({
  label:
    ended?.outcome === 'proven'
      ? 'Go back to the calibration that was proven'
      : `Go back to the ${readings.length === 1 ? 'one reading' : `${readings.length} readings`} before`,
  does: 'take up earlier',
});
const WRITE: Offer = { label: 'Write to the board…', does: 'write' };

function waysOut({ link, history }: PlaceState): Offer[] {
  const { identity, calibration, sealedHere, previous } = history;
  const earlier = history.earlier?.at(-1);
  const putAway: Offer = { label: 'Put this board away', does: 'unlink' };
  if (!identity) return link.state === 'lost' ? [putAway] : [];
  const settled = link.state === 'linked' && !inDoubt(calibration);
  return [
    ...(settled && calibration && sealedHere && previous ? [goBack(history)] : []),
    ...(settled && earlier ? [takeUpEarlier(earlier)] : []),
    ...(settled && calibration && !calibration.ended
      ? [{ label: 'Leave this calibration', does: 'leave' } as const]
      : []),
    putAway,
  ];
}

/** Whether the answer to a change of what the board runs was lost. */
const inDoubt = (calibration: CalibrationState | undefined): boolean =>
  (calibration?.sealBegun ?? calibration?.revertBegun) !== undefined;

function stepOf(state: PlaceState): Step {
  const { link, history } = state;
  const update = openUpdate(history.care);
  if (update && isStarted(update)) return startingUp(state, update);
  if (link.state === 'linking') {
    return {
      place: history.identity ? placeOf(state) : 'Link',
      heading: 'The board is being linked',
      words: 'Everything recorded is safe. What is on the board is saved before anything changes.',
      others: [],
    };
  }
  if (!history.identity && link.state === 'none') {
    return {
      place: 'Link',
      heading: 'Link a board',
      words:
        'Pick how it is joined to this machine. Linking changes nothing on it, and several can be linked, one after the other.',
      others: [],
    };
  }
  // it may be lost before it has said which board it is
  if (link.state !== 'linked' || !history.identity) {
    return {
      place: history.identity ? placeOf(state) : 'Link',
      heading: 'Link the board again',
      words: `${lostWords(link)} Everything recorded is safe. Readings that are only in the board’s memory are fetched once it is linked.`,
      main: { label: 'Link again', does: 'link' },
      others: isChosen(link) ? [CHOOSE] : [],
    };
  }
  const { calibration } = history;
  if (calibration && inDoubt(calibration)) {
    const what = calibration.sealBegun ? 'seal' : 'going back';
    return {
      place: 'Seal',
      heading: `See whether the ${what} took`,
      words: `The answer to the ${what} was lost. The board runs the old coefficients or the new ones, never a mixture: link it again and it is read back.`,
      main: { label: 'Link again', does: 'link' },
      others: [],
    };
  }
  if (history.checks.now) {
    const holder = holderOf(state);
    return {
      place: placeOf(state),
      ...(holder.isPerson && HELD),
      ...nextInCheck(history.checks.now, holder.isPerson, pressWords(holder)),
    };
  }
  if (!calibration || calibration.ended) return begin(history);
  if (provesNow(history))
    return proving(calibration, history.previous !== undefined, holderOf(state));
  const { sealed, chosen } = calibration;
  if (sealed && (chosen ?? isSealedNow(calibration))) {
    return {
      place: 'Seal',
      heading: 'The board runs other coefficients',
      words: `${runsWords(history)} Those of this calibration are in the logbook and can be written again.`,
      main: WRITE,
      others: [beginAnew(BEGIN_ANOTHER.label, calibration)],
    };
  }
  if (chosen) {
    return {
      place: 'Seal',
      heading: `Write ${sourceWords(chosen.source)} to the board`,
      words: `${runsWords(history)} What will change, and how to come back, is shown first.`,
      main: WRITE,
      others: [{ label: 'Begin taking readings', does: 'begin' }],
    };
  }
  return beforeSeal(calibration, history.identity, holderOf(state));
}

/** While new firmware has been started, and is not settled one way or the other. */
function startingUp(state: PlaceState, { from, to, trialSeconds }: UpdateState): Step {
  return {
    place: placeOf(state),
    heading: `The board starts firmware ${to}`,
    words: `It is confirmed once it is seen to be healthy. If it is not, the board goes back to ${from} by itself, within ${trialSeconds} seconds. Settings, coefficients and readings are in the logbook.`,
    main: { label: 'Link again', does: 'link' },
    others: isChosen(state.link) ? [CHOOSE] : [],
  };
}

/** What the board runs, beside what this calibration sealed. */
function runsWords({ inForce, calibration }: BoardHistory): string {
  if (!inForce) return 'It runs no coefficients.';
  const { sealed } = calibration ?? {};
  const runs = `It runs generation ${inForce.generation}`;
  if (!sealed || inForce.generation === sealed.generation) return `${runs}.`;
  return inForce.crc === sealed.crc
    ? `${runs}, with the very numbers of generation ${sealed.generation}, which this calibration sealed.`
    : `${runs}, not generation ${sealed.generation}, which this calibration sealed.`;
}

/** It never had coefficients, and nobody has looked yet whether it is put together right. */
const isFresh = ({ inForce, assembly }: BoardHistory): boolean =>
  inForce === undefined && assembly.newest === undefined;

/** What comes before another calibration: a check of the assembly that is under way, or a fault that one found. */
function assemblyFirst(history: BoardHistory): Step | undefined {
  const assembly = assemblyOf(history);
  if (assembly.stage === 'under way') {
    return {
      place: 'Look',
      heading: 'Go on with the check of its assembly',
      words: `${assembly.looked} of ${assembly.of} poses were looked at. The sheet “Is it put together right?” shows the next one; the check can be left there.`,
      main: { label: 'Go on with the check', does: 'see assembly' },
      others: [{ label: 'Begin taking readings', does: 'begin' }],
    };
  }
  const wrong = assemblyFaults(history);
  if (wrong === undefined) return undefined;
  return {
    place: 'Look',
    heading: 'Mend it, then check it again',
    words: `The check found ${wrong}. The sheet “Is it put together right?” says what, and where to look. A calibration made before it is mended does not hold after.`,
    main: { label: 'See what is wrong with it', does: 'see assembly' },
    others: [{ label: 'Begin all the same', does: 'begin' }],
  };
}

/** While no calibration is under way. */
function begin(history: BoardHistory): Step {
  const usual = beginUsually(history);
  const first = assemblyFirst(history);
  return first ? { ...first, others: [...first.others, ...usual.others] } : usual;
}

function beginUsually(history: BoardHistory): Step {
  const { ended, sealed } = history.calibration ?? {};
  if (!ended) {
    return {
      place: 'Look',
      heading: 'Look at what is on it, then begin',
      words: `What the board holds is saved in the logbook. Nothing on it has been changed. The sheet “Is this place clean?” asks it whether iron is near.${isFresh(history) ? ' Was it soldered just now? “Is it put together right?” looks at its sensors first.' : ''}`,
      main: { label: 'Begin taking readings', does: 'begin' },
      others: [],
    };
  }
  if (ended.outcome === 'proven' && runsSealed(history)) {
    const [against] = speaksAgainstInForce(history);
    if (against) {
      return {
        place: 'Done',
        heading: 'Calibrated, and not to be relied on',
        words: `It was proven, but ${against}. Do not survey with it. If something disturbed the check, take it again on a clean site; if it fails again, calibrate again.`,
        main: BEGIN_ANOTHER,
        others: history.previous ? [GO_BACK] : [],
      };
    }
    return {
      place: 'Done',
      heading: 'Done: calibrated and proven',
      words:
        'It holds for this battery, this housing and about this temperature. Do it again after a battery change, a knock, a firmware change, or a season.',
      main: BEGIN_ANOTHER,
      others: history.previous ? [GO_BACK] : [],
    };
  }
  if (ended.outcome === 'proven') {
    const same = history.inForce?.crc === sealed?.crc;
    return {
      place: 'Look',
      heading: same
        ? 'The proven coefficients are in force again'
        : 'The board does not run what was proven',
      words: `${runsWords(history)} ${same ? 'No proof was taken since.' : 'Those proven are in the logbook: take the calibration up again to write them.'}`,
      main: BEGIN_ANOTHER,
      others: [RESUME],
    };
  }
  const unproven = runsSealed(history)
    ? ' The board runs what it sealed, and no proof bears it out.'
    : '';
  return {
    place: 'Look',
    heading: 'Begin again, or leave it so',
    words: `${ended.reason}.${unproven} What was taken stays in the logbook.`,
    main: { label: 'Begin taking readings', does: 'begin' },
    others: [RESUME],
  };
}

/** Who turns the board from one attitude to the next. A person does it for each reading, whatever the machine asks. */
interface Holder {
  isPerson: boolean;
  /** The board can be triggered by hand. */
  hasTrigger: boolean;
}

const holderOf = (state: PlaceState): Holder => ({
  isPerson: turnedByPerson(state),
  hasTrigger: state.history.identity?.capabilities.includes('trigger') === true,
});

/** What is next asks a person to hold the board. */
const HELD = { help: 'Hold' } as const;

const pressWords = ({ hasTrigger }: Holder) =>
  hasTrigger
    ? 'Hold it still and press the board’s trigger, or this button.'
    : 'Hold it still, then press this button.';

function beforeSeal(calibration: CalibrationState, identity: BoardIdentity, holder: Holder): Step {
  const { readings, fit, refusal } = calibration;
  const open = openSlots(calibration);
  if (fit && !fit.stale) {
    return judged(calibration, judge(fit, identity, calibration.tolerance), holder);
  }
  if (refusal && !refusal.stale) return refused(calibration, refusal.next, holder);
  if (open.length > 0) {
    const [main, ...others] = takeOffers(calibration, holder);
    const early: Offer[] =
      readings.length >= WORTH_FITTING ? [{ label: 'Fit what is there', does: 'fit' }] : [];
    const { heading, words } = aimAt(calibration, open[0]!);
    return {
      place: 'Take',
      heading,
      words: holder.isPerson ? `${words} ${pressWords(holder)}` : words,
      ...(holder.isPerson && HELD),
      main: main!,
      others: [...others, ...early],
    };
  }
  return {
    place: 'Judge',
    heading: fit ? 'Fit again' : 'All readings are in: fit them',
    words: fit
      ? 'The readings have changed since the last fit.'
      : 'The fit finds the coefficients that explain all readings best, and says how good they are.',
    main: { label: 'Fit', does: 'fit' },
    others: gapOffers(calibration, holder),
  };
}

/** No fit could be had: the same readings give none again, so that only others help. */
function refused(calibration: CalibrationState, next: string, holder: Holder): Step {
  const take = takeOffers(calibration, holder);
  const anew = beginAnew('Begin again', calibration);
  const [main, ...others] = take.length > 0 ? [...take, anew] : [anew];
  // where places are open, taking them is what helps
  const aside =
    take.length > 0
      ? ''
      : ' A reading that went wrong can be set aside in the table; then fit again.';
  return {
    place: 'Judge',
    heading: 'The readings do not settle it yet',
    words: `${next}${aside}${nextAimWords(calibration, holder)}`,
    ...(holder.isPerson && HELD),
    main: main!,
    others,
  };
}

/** What a person is to aim at for the next reading, where the heading does not say it. */
function nextAimWords(calibration: CalibrationState, holder: Holder): string {
  const [slot] = openSlots(calibration);
  if (!holder.isPerson || !slot) return '';
  return ` For the next reading ${lowerFirst(aimWords(slot))}. ${pressWords(holder)}`;
}

const lowerFirst = (words: string) => words[0]!.toLowerCase() + words.slice(1);

/** Taking again what was set aside: a person must first be told where to aim, the simulated hand aims by itself. */
function gapOffers(calibration: CalibrationState, holder: Holder): Offer[] {
  const gaps = gapSlots(calibration);
  const [first] = gaps;
  if (!first) return [];
  if (holder.isPerson) {
    const { sighting, roll } = first;
    const label = `Retake ${lineWords(sighting)}, ${rollWords(roll)}`;
    return [{ label, does: 'take gaps', note: 'Aim there and hold it still before you press.' }];
  }
  const label =
    gaps.length === 1 ? 'Retake the one set aside' : `Retake the ${gaps.length} set aside`;
  return [{ label, does: 'take gaps' }];
}

/** All places still open, at a stroke; nothing where there is none. */
function takeRest(calibration: CalibrationState): Offer[] {
  const open = openSlots(calibration).length;
  if (open === 0) return [];
  const label =
    calibration.readings.length === 0
      ? `Take all ${open}`
      : open === 1
        ? 'Take the last'
        : `Take the other ${open}`;
  return [{ label, does: 'take rest' }];
}

/** Every way to take what the plan still lacks, the main one first; none where it lacks nothing. */
function takeOffers(calibration: CalibrationState, holder: Holder): Offer[] {
  const gaps = gapOffers(calibration, holder);
  if (openSlots(calibration).length === 0) return gaps;
  if (holder.isPerson) return [{ label: 'Take this reading', does: 'take one' }];
  const one: Offer = { label: 'Take one reading', does: 'take one' };
  const sighting: Offer = { label: 'Take this sighting', does: 'take sighting' };
  const rest = takeRest(calibration);
  // who has seen a reading taken, and then a sighting, has seen what the rest is
  const known = keptReadings(calibration).length;
  if (known === 0) return [one, sighting, ...rest];
  return known < LEARNT ? [sighting, one, ...rest] : [...rest, sighting, one];
}

/** The same after a fit: what is left is wanted as a whole. */
function takeAfterFit(calibration: CalibrationState, holder: Holder): Offer[] {
  if (holder.isPerson && openSlots(calibration).length > 0) return takeOffers(calibration, holder);
  return [...(holder.isPerson ? [] : takeRest(calibration)), ...gapOffers(calibration, holder)];
}

const aimWords = ({ sighting, roll }: Slot) =>
  `Aim ${lineWords(sighting)}; hold it ${rollWords(roll)}`;

function aimAt({ plan }: CalibrationState, slot: Slot): { heading: string; words: string } {
  const { sighting, roll } = slot;
  const place = plan.sightings.indexOf(sighting) + 1;
  return {
    heading: aimWords(slot),
    words: `Sighting ${place} of ${plan.sightings.length}, reading ${sighting.rolls.indexOf(roll) + 1} of ${sighting.rolls.length}.`,
  };
}

function judged(calibration: CalibrationState, judgement: Judgement, holder: Holder): Step {
  const take = takeAfterFit(calibration, holder);
  const aim = nextAimWords(calibration, holder);
  const how = holder.isPerson && take.length > 0 && HELD;
  if (judgement.standing !== 'bad') {
    const words =
      judgement.standing === 'good'
        ? 'What will change, and how to come back, is shown first.'
        : judgement.verdict;
    return {
      place: 'Judge',
      heading: 'Good enough: write it to the board',
      words: words + aim,
      ...how,
      main: WRITE,
      others: take,
    };
  }
  const anew = beginAnew('Begin again', calibration);
  const isFull = openSlots(calibration).length === 0;
  const more =
    isFull && judgement.advice.some((each) => each.more !== undefined) ? [TAKE_MORE] : [];
  const [first, ...rest] = [...more, ...take];
  return {
    place: 'Judge',
    heading: 'Not good enough yet',
    words: [judgement.verdict, judgement.advice[0]?.then].filter(Boolean).join(' ') + aim,
    ...how,
    main: first ?? anew,
    others: [...rest, WRITE, ...(first ? [anew] : [])],
  };
}

/** While the board runs what was sealed. That readings were marked since does not change what it runs. */
function proving(calibration: CalibrationState, canGoBack: boolean, holder: Holder): Step {
  const { proof, proofReadings, fit, chosen } = calibration;
  const places = openProofSlots(proofReadings);
  const [next] = places;
  const remarked = !chosen && (!fit || fit.stale);
  const since = remarked
    ? ' Readings have changed since the fit that was sealed; what the board runs has not.'
    : '';
  const others: Offer[] = remarked ? [{ label: 'Fit again', does: 'fit' }] : [];
  if (!proof && next && holder.isPerson) {
    const all = openProofSlots([]).length;
    return {
      place: 'Prove',
      heading: aimWords(next),
      words: `Fresh reading ${all - places.length + 1} of ${all}, to prove it in attitudes that the fit never saw. ${pressWords(holder)}${since}`,
      ...HELD,
      main: { label: 'Take this fresh reading', does: 'prove' },
      others,
    };
  }
  if (!proof) {
    return {
      place: 'Prove',
      heading: 'Prove it with fresh readings',
      words:
        (next
          ? `${places.length} readings in attitudes that the fit never saw. The board’s own angles are held against ours.`
          : 'All fresh readings are in.') + since,
      main: {
        label: next ? `Take ${places.length} fresh readings` : 'Work out the proof',
        does: 'prove',
      },
      others,
    };
  }
  if (proof.passed) {
    return {
      place: 'Prove',
      heading: 'The proof passed',
      words: `Every figure is within its tolerance. Close the calibration in the logbook.${since}`,
      main: { label: 'Close the calibration', does: 'end' },
      others,
    };
  }
  const [firstAgain] = openProofSlots([]);
  const aim =
    holder.isPerson && firstAgain
      ? ` To take it again, ${lowerFirst(aimWords(firstAgain))}, and hold it still before you press.`
      : '';
  return {
    place: 'Prove',
    heading: 'The proof did not pass',
    words: `Do not survey with it. If something disturbed the readings, take the proof again elsewhere; if it fails again, go back to the coefficients before, or begin again. The proof that failed stays in the logbook.${aim}${since}`,
    ...(holder.isPerson && HELD),
    main: { label: 'Take the proof again', does: 'prove again' },
    others: [
      ...(canGoBack ? [GO_BACK] : []),
      beginAnew(BEGIN_ANOTHER.label, calibration),
      ...others,
    ],
  };
}

function placeOf({ history }: PlaceState): Place {
  const { calibration } = history;
  if (!calibration || calibration.ended) return 'Look';
  if (calibration.sealed) return 'Prove';
  if (calibration.sealBegun ?? calibration.chosen) return 'Seal';
  return calibration.fit ? 'Judge' : 'Take';
}
