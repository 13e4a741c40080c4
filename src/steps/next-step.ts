import type { BoardIdentity } from '../protocol/board.ts';
import { lineWords, rollWords } from './attitude-words.ts';
import type { BenchState } from './bench-state.ts';
import { gapSlots, openSlots, runsSealed, type Slot } from './calibration-state.ts';
import type { CalibrationState } from './calibration-state.ts';
import { judge, type Judgement } from './judgement.ts';
import { openProofSlots } from './proof.ts';

/** The one thing to do next: a pure function of what is so. */

/** What a person can ask of the bench. */
export type Intention =
  | 'link'
  | 'unlink'
  | 'begin'
  | 'take one'
  | 'take sighting'
  | 'take rest'
  | 'take gaps'
  | 'fit'
  | 'write'
  | 'prove'
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
}

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

export function nextStep(state: BenchState): NextStep {
  const { link, history } = state;
  if (!history.identity) {
    return {
      place: 'Link',
      heading: 'Link a board',
      words:
        'A simulated board stands in for a real one: try the whole of the work on it, with nothing at risk.',
      main: { label: 'Link the simulated board', does: 'link' },
      others: [],
    };
  }
  if (link.state !== 'linked') {
    return {
      place: placeOf(state),
      heading: 'Link the board again',
      words:
        'Everything recorded is safe. Readings that are only in the board’s memory are fetched once it is linked.',
      main: { label: 'Link again', does: 'link' },
      others: [{ label: 'Link another board', does: 'unlink' }],
    };
  }
  const { calibration } = history;
  if (!calibration || calibration.ended) return begin(state);
  if (calibration.sealBegun) {
    return {
      place: 'Seal',
      heading: 'See whether the seal took',
      words:
        'The answer to the seal was lost. The board runs the old coefficients or the new ones, never a mixture: link it again and it is read back.',
      main: { label: 'Link again', does: 'link' },
      others: [],
    };
  }
  const { sealed, fit } = calibration;
  if (sealed && fit && !fit.stale && fit.id === sealed.fit) return afterSeal(state, calibration);
  return beforeSeal(calibration, history.identity);
}

function begin({ history }: BenchState): NextStep {
  const ended = history.calibration?.ended;
  if (ended?.outcome === 'proven') {
    return {
      place: 'Done',
      heading: 'Done: calibrated and proven',
      words:
        'It holds for this battery, this housing and about this temperature. Do it again after a battery change, a knock, a firmware change, or a season.',
      main: { label: 'Begin another calibration', does: 'begin' },
      others: [
        ...(history.previous
          ? [{ label: 'Go back to the coefficients before', does: 'revert' } as const]
          : []),
        { label: 'Link another board', does: 'unlink' },
      ],
    };
  }
  return {
    place: 'Look',
    heading: ended ? 'Begin again, or leave it so' : 'Look at what is on it, then begin',
    words: ended
      ? `${ended.reason}. What was taken stays in the logbook.`
      : 'What the board holds is saved in the logbook. Nothing on it has been changed.',
    main: { label: 'Begin taking readings', does: 'begin' },
    others: [{ label: 'Link another board', does: 'unlink' }],
  };
}

function beforeSeal(calibration: CalibrationState, identity?: BoardIdentity): NextStep {
  const { readings, fit, refusal } = calibration;
  const open = openSlots(calibration);
  const gaps = gapSlots(calibration);
  const takeGaps: Offer[] =
    gaps.length > 0 ? [{ label: gapLabel(gaps.length), does: 'take gaps' }] : [];
  if (fit && !fit.stale && identity) return judged(judge(fit, identity), open.length, takeGaps);
  if (refusal && !refusal.stale) {
    return {
      place: 'Judge',
      heading: 'The readings do not settle it yet',
      words: refusal.next,
      ...takeOffers(open, takeGaps),
    };
  }
  if (open.length > 0) {
    const { main, others } = takeOffers(open, takeGaps);
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

function takeOffers(open: readonly Slot[], takeGaps: readonly Offer[]) {
  if (open.length === 0) {
    const [main, ...others] = takeGaps;
    const refit: Offer = { label: 'Fit again', does: 'fit' };
    return main ? { main, others: [...others, refit] } : { main: refit, others: [] };
  }
  const main: Offer = { label: 'Take one reading', does: 'take one' };
  const others: Offer[] = [
    { label: 'Take this sighting', does: 'take sighting' },
    {
      label: open.length === 1 ? 'Take the last' : `Take the other ${open.length}`,
      does: 'take rest',
    },
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

function judged(judgement: Judgement, open: number, takeGaps: readonly Offer[]): NextStep {
  const others: Offer[] = [
    ...(open > 0 ? [{ label: `Take the other ${open}`, does: 'take rest' } as const] : []),
    ...takeGaps,
  ];
  const write: Offer = { label: 'Write to the board…', does: 'write' };
  if (judgement.standing !== 'bad') {
    return {
      place: 'Judge',
      heading: 'Good enough: write it to the board',
      words:
        judgement.standing === 'good'
          ? 'What will change, and how to come back, is shown first.'
          : judgement.verdict,
      main: write,
      others,
    };
  }
  const [first, ...rest] = others;
  return {
    place: 'Judge',
    heading: 'Not good enough yet',
    words: `${judgement.verdict} Look at the readings with the largest misfit, set aside those with a reason, or take more.`,
    main: first ?? { label: 'Begin again', does: 'begin' },
    others: [...rest, ...(first ? [{ label: 'Begin again', does: 'begin' } as const] : []), write],
  };
}

function afterSeal({ history }: BenchState, calibration: CalibrationState): NextStep {
  const revert: Offer[] = history.previous
    ? [{ label: 'Go back to the coefficients before', does: 'revert' }]
    : [];
  const again: Offer = { label: 'Begin another calibration', does: 'begin' };
  if (!runsSealed(history)) {
    return {
      place: 'Seal',
      heading: 'The board runs other coefficients',
      words: `It runs generation ${history.inForce?.generation ?? 0}. Those of this calibration are in the logbook and can be written again.`,
      main: { label: 'Write to the board…', does: 'write' },
      others: [again, ...revert],
    };
  }
  const { proof, proofReadings } = calibration;
  const open = openProofSlots(proofReadings);
  if (!proof || proof.generation !== calibration.sealed!.generation) {
    return {
      place: 'Prove',
      heading: 'Prove it with fresh readings',
      words:
        open.length > 0
          ? `${open.length} readings in attitudes that the fit never saw. The board’s own angles are held against ours.`
          : 'All fresh readings are in.',
      main: {
        label: open.length > 0 ? `Take ${open.length} fresh readings` : 'Work out the proof',
        does: 'prove',
      },
      others: revert,
    };
  }
  if (proof.passed) {
    return {
      place: 'Prove',
      heading: 'The proof passed',
      words: 'Every figure is within its tolerance. Close the calibration in the logbook.',
      main: { label: 'Close the calibration', does: 'end' },
      others: revert,
    };
  }
  return {
    place: 'Prove',
    heading: 'The proof did not pass',
    words:
      'Do not survey with it. Go back to the coefficients before, or find what disturbed the readings and begin again.',
    main: revert[0] ?? again,
    others: revert.length > 0 ? [again] : [],
  };
}

function placeOf({ history }: BenchState): Place {
  const { calibration } = history;
  if (!calibration || calibration.ended) return 'Look';
  if (calibration.sealed) return 'Prove';
  if (calibration.sealBegun) return 'Seal';
  return calibration.fit ? 'Judge' : 'Take';
}
