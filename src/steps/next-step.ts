import type { BoardIdentity } from '../protocol/board.ts';
import { lineWords, rollWords } from './attitude-words.ts';
import type { LinkState, PlaceState } from './place-state.ts';
import {
  gapSlots,
  openSlots,
  provesNow,
  runsSealed,
  type BoardHistory,
  type CalibrationState,
  type Slot,
} from './calibration-state.ts';
import { lostWords } from './bench-words.ts';
import { isStarted, openUpdate, type UpdateState } from './care/care-history.ts';
import { judge, type Judgement } from './judgement.ts';
import { openProofSlots } from './proof.ts';

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
  | 'fit'
  | 'write'
  | 'prove'
  | 'prove again'
  | 'leave'
  | 'resume'
  | 'end'
  | 'revert'
  | 'undo'
  | 'stop';

export interface Offer {
  label: string;
  does: Intention;
}

export interface NextStep {
  /** Where on the path this is. */
  place: Place;
  /** What to do, large. */
  heading: string;
  /** Why, or how. */
  words: string;
  /** The one thing; absent only while it cannot be done. */
  main?: Offer;
  /** Other ways on. */
  others: readonly Offer[];
  /** Ways out: always there, never pressing. */
  waysOut: readonly Offer[];
}

/** What is next, without the ways out, which are the same everywhere. */
type Step = Omit<NextStep, 'waysOut'>;

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
    words: 'Take readings along 14 lines, at four rolls each. The picture shows the gaps.',
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

/** The fewest readings worth showing to a fit. */
const WORTH_FITTING = 8;

export function nextStep(state: PlaceState): NextStep {
  const step = stepOf(state);
  const offered = [...(step.main ? [step.main] : []), ...step.others].map(({ does }) => does);
  return { ...step, waysOut: waysOut(state).filter(({ does }) => !offered.includes(does)) };
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
const RESUME: Offer = { label: 'Take this calibration up again', does: 'resume' };
const WRITE: Offer = { label: 'Write to the board…', does: 'write' };

function waysOut({ link, history }: PlaceState): Offer[] {
  const { identity, calibration, sealedHere, previous } = history;
  if (!identity) return [];
  const settled = link.state === 'linked' && !inDoubt(calibration);
  return [
    ...(settled && calibration && sealedHere && previous ? [goBack(history)] : []),
    ...(settled && calibration && !calibration.ended
      ? [{ label: 'Leave this calibration', does: 'leave' } as const]
      : []),
    { label: 'Put this board away', does: 'unlink' },
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
  if (!history.identity) {
    return {
      place: 'Link',
      heading: 'Link a board',
      words:
        'Pick how it is joined to this machine. Several boards can be linked, one after the other.',
      others: [],
    };
  }
  if (link.state !== 'linked') {
    return {
      place: placeOf(state),
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
  if (!calibration || calibration.ended) return begin(history);
  if (provesNow(history)) return proving(calibration, history.previous !== undefined);
  const { sealed, fit } = calibration;
  if (sealed && fit && !fit.stale && fit.id === sealed.fit) {
    return {
      place: 'Seal',
      heading: 'The board runs other coefficients',
      words: `${runsWords(history)} Those of this calibration are in the logbook and can be written again.`,
      main: WRITE,
      others: [BEGIN_ANOTHER],
    };
  }
  return beforeSeal(calibration, history.identity);
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

function begin(history: BoardHistory): Step {
  const { ended, sealed } = history.calibration ?? {};
  if (!ended) {
    return {
      place: 'Look',
      heading: 'Look at what is on it, then begin',
      words: 'What the board holds is saved in the logbook. Nothing on it has been changed.',
      main: { label: 'Begin taking readings', does: 'begin' },
      others: [],
    };
  }
  if (ended.outcome === 'proven' && runsSealed(history)) {
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

function beforeSeal(calibration: CalibrationState, identity: BoardIdentity): Step {
  const { readings, fit, refusal } = calibration;
  const open = openSlots(calibration);
  const gaps = gapSlots(calibration);
  const takeGaps: Offer[] =
    gaps.length > 0 ? [{ label: gapLabel(gaps.length), does: 'take gaps' }] : [];
  if (fit && !fit.stale)
    return judged(judge(fit, identity, calibration.tolerance), [
      ...takeRest(calibration),
      ...takeGaps,
    ]);
  if (refusal && !refusal.stale) {
    return {
      place: 'Judge',
      heading: 'The readings do not settle it yet',
      words: refusal.next,
      ...takeOffers(calibration, takeGaps),
    };
  }
  if (open.length > 0) {
    const { main, others } = takeOffers(calibration, takeGaps);
    const early: Offer[] =
      readings.length >= WORTH_FITTING ? [{ label: 'Fit what is there', does: 'fit' }] : [];
    return { place: 'Take', ...aimAt(calibration, open[0]), main, others: [...others, ...early] };
  }
  return {
    place: 'Judge',
    heading: fit ? 'Fit again' : 'All readings are in: fit them',
    words: fit
      ? 'The readings have changed since the last fit.'
      : 'The fit finds the coefficients that explain all readings best, and says how good they are.',
    main: { label: 'Fit', does: 'fit' },
    others: takeGaps,
  };
}

const gapLabel = (n: number) =>
  n === 1 ? 'Retake the one set aside' : `Retake the ${n} set aside`;

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

function takeOffers(calibration: CalibrationState, takeGaps: readonly Offer[]) {
  if (openSlots(calibration).length === 0) {
    const [main, ...others] = takeGaps;
    const refit: Offer = { label: 'Fit again', does: 'fit' };
    return main ? { main, others: [...others, refit] } : { main: refit, others: [] };
  }
  const main: Offer = { label: 'Take one reading', does: 'take one' };
  const others: Offer[] = [
    { label: 'Take this sighting', does: 'take sighting' },
    ...takeRest(calibration),
  ];
  return { main, others };
}

function aimAt({ plan }: CalibrationState, slot: Slot): { heading: string; words: string } {
  const { sighting, roll } = slot;
  const place = plan.sightings.indexOf(sighting) + 1;
  return {
    heading: `Aim ${lineWords(sighting)}; hold it ${rollWords(roll)}`,
    words: `Sighting ${place} of ${plan.sightings.length}, reading ${sighting.rolls.indexOf(roll) + 1} of ${sighting.rolls.length}.`,
  };
}

/** @param take what there is still to take */
function judged(judgement: Judgement, take: readonly Offer[]): Step {
  if (judgement.standing !== 'bad') {
    return {
      place: 'Judge',
      heading: 'Good enough: write it to the board',
      words:
        judgement.standing === 'good'
          ? 'What will change, and how to come back, is shown first.'
          : judgement.verdict,
      main: WRITE,
      others: take,
    };
  }
  const again: Offer = { label: 'Begin again', does: 'begin' };
  const [first, ...rest] = take;
  return {
    place: 'Judge',
    heading: 'Not good enough yet',
    words: [judgement.verdict, judgement.advice[0]?.then].filter(Boolean).join(' '),
    main: first ?? again,
    others: [...rest, ...(first ? [again] : []), WRITE],
  };
}

/** While the board runs what was sealed. That readings were marked since does not change what it runs. */
function proving(calibration: CalibrationState, canGoBack: boolean): Step {
  const { proof, proofReadings, fit } = calibration;
  const open = openProofSlots(proofReadings).length;
  const remarked = !fit || fit.stale;
  const since = remarked
    ? ' Readings have changed since the fit that was sealed; what the board runs has not.'
    : '';
  const others: Offer[] = remarked ? [{ label: 'Fit again', does: 'fit' }] : [];
  if (!proof) {
    const words =
      open > 0
        ? `${open} readings in attitudes that the fit never saw. The board’s own angles are held against ours.`
        : 'All fresh readings are in.';
    return {
      place: 'Prove',
      heading: 'Prove it with fresh readings',
      words: words + since,
      main: {
        label: open > 0 ? `Take ${open} fresh readings` : 'Work out the proof',
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
  return {
    place: 'Prove',
    heading: 'The proof did not pass',
    words: `Do not survey with it. If something disturbed the readings, take the proof again elsewhere; if it fails again, go back to the coefficients before, or begin again. The proof that failed stays in the logbook.${since}`,
    main: { label: 'Take the proof again', does: 'prove again' },
    others: [...(canGoBack ? [GO_BACK] : []), BEGIN_ANOTHER, ...others],
  };
}

function placeOf({ history }: PlaceState): Place {
  const { calibration } = history;
  if (!calibration || calibration.ended) return 'Look';
  if (calibration.sealed) return 'Prove';
  if (calibration.sealBegun) return 'Seal';
  return calibration.fit ? 'Judge' : 'Take';
}
