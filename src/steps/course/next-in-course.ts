import { instrumentKey, type CourseInstrument } from '../../records/course-notes.ts';
import {
  countedShots,
  instrumentsOf,
  shotsOfNoLeg,
  type CourseState,
  type OutingState,
} from './course-state.ts';
import { openPlaces, placesOf, type ShotPlace } from './shot-places.ts';

/** What to do next on a check course. */

export type CourseWish =
  | 'begin outing'
  | 'shoot next'
  | 'shoot rest'
  | 'shoot all'
  | 'make ready'
  | 'next instrument'
  | 'settle'
  | 'print';

export interface CourseOffer {
  label: string;
  does: CourseWish;
}

export interface CourseStep {
  heading: string;
  words: string;
  main?: CourseOffer;
  others: readonly CourseOffer[];
}

export interface OnCourse {
  course: CourseState;
  outing: OutingState | undefined;
  today: string;
  shooter: CourseInstrument | undefined;
  nextPlace: ShotPlace | undefined;
  nameOf(instrument: CourseInstrument): string;
  /** Linked boards that run coefficients; whether a simulated hand aims each. */
  boards: readonly { instrument: CourseInstrument; isHeld: boolean }[];
}

/** A course tells which instrument is off from so many on. */
const ENOUGH_INSTRUMENTS = 3;
/** How many simulated boards a person who tries it is offered. */
export const BOARDS_TO_TRY = 3;

const SETTLE: CourseOffer = { label: 'Settle it', does: 'settle' };
const MAKE_READY: CourseOffer = {
  label: `Link and calibrate ${BOARDS_TO_TRY} simulated boards`,
  does: 'make ready',
};

export function nextInCourse(on: OnCourse): CourseStep {
  const { course, outing, today, shooter, boards } = on;
  const begin: CourseOffer = { label: 'Begin an outing today', does: 'begin outing' };
  const again = outing && outing.day !== today ? [begin] : [];
  if (!outing) {
    return {
      heading: 'Begin an outing',
      words:
        'An outing is one day on the course: all instruments shoot the same legs on it. Later outings show what has changed since.',
      main: begin,
      others: [],
    };
  }
  if (outing.settled) {
    return {
      heading: 'Settled: read the verdicts',
      words: `${noLegWords(outing)}What each instrument came to stands below, with what this course cannot see. More shots can still be added; then settle it again.`,
      main: { label: 'Print or save as PDF', does: 'print' },
      others: again,
    };
  }
  const shots = countedShots(outing);
  const whole = wholeInstruments(course, outing);
  const ready = shots.length > 0 ? [SETTLE] : [];
  const here = boards.find(({ instrument }) => shooter && isSame(instrument, shooter));
  if (here && on.nextPlace) return atPlace(on, on.nextPlace, here.isHeld, ready);
  const waiting = boards.filter(
    ({ instrument }) => openPlaces(course.layout, outing.shots, instrument).length > 0,
  );
  if (waiting.length > 0) {
    const allHeld = waiting.every(({ isHeld }) => isHeld);
    const next: CourseOffer = {
      label: `Shoot with ${on.nameOf(waiting[0]!.instrument)}`,
      does: 'next instrument',
    };
    return {
      heading: whole > 0 ? 'Hand on to the next instrument' : 'Take an instrument',
      words: `${placesOf(course.layout).length} shots with each: every leg fore and back, ${timesWords(course.layout.each)} from either end. ${instrumentsSaid(whole)}`,
      main:
        allHeld && waiting.length > 1
          ? { label: `Shoot all of it with ${waiting.length} simulated boards`, does: 'shoot all' }
          : next,
      others: [
        ...(allHeld && waiting.length > 1 ? [next] : []),
        ...(boards.length < BOARDS_TO_TRY && course.layout.madeUp ? [MAKE_READY] : []),
        ...ready,
        ...again,
      ],
    };
  }
  if (shots.length === 0) {
    return {
      heading: 'Bring shots in',
      words: `${noLegWords(outing)}No board that runs coefficients is linked. Link boards at the bench, or add shots below: from a board’s memory, from a file, or by hand.`,
      ...(course.layout.madeUp && { main: MAKE_READY }),
      others: again,
    };
  }
  const instruments = instrumentsOf({ shots }).length;
  return {
    heading: outing.before ? 'Shots have changed: settle it again' : 'Settle it',
    words: `${ofInstruments(shots.length, instruments)} ${shots.length === 1 ? 'counts' : 'count'}. ${noLegWords(outing)}${instruments < ENOUGH_INSTRUMENTS ? 'With fewer than three instruments nothing says which of two that differ is off, unless something is known. ' : ''}One adjustment of all shots tells each instrument’s constants, what each station disturbs, and which shots look wrong.`,
    main: SETTLE,
    others: again,
  };
}

function atPlace(
  { course, outing, shooter, nameOf }: OnCourse,
  place: ShotPlace,
  isHeld: boolean,
  ready: readonly CourseOffer[],
): CourseStep {
  const open = openPlaces(course.layout, outing!.shots, shooter!).length;
  const of = placesOf(course.layout).length;
  return {
    heading: `Stand at ${place.at}, aim at ${place.aimed}`,
    words: `${nameOf(shooter!)}: shot ${Math.min(of, of - open + 1)} of ${of}. ${isHeld ? 'The simulated hand finds the mark by itself.' : 'Hold it still over the station, upright, and press the board’s trigger or this button. Aim anew for every shot.'}`,
    main: { label: 'Take this shot', does: 'shoot next' },
    others: [
      ...(isHeld && open > 1 ? [{ label: `Take all ${open}`, does: 'shoot rest' as const }] : []),
      ...ready,
    ],
  };
}

/** So many shots of so many instruments. */
const ofInstruments = (shots: number, instruments: number): string =>
  `${shots === 1 ? 'One shot' : `${shots} shots`} of ${instruments === 1 ? 'one instrument' : `${instruments} instruments`}`;

/** How many shots do not count because their leg is gone, as a sentence before another. */
function noLegWords(outing: OutingState): string {
  const { length } = shotsOfNoLeg(outing);
  if (length === 0) return '';
  return `${length === 1 ? 'One shot does not count: the course has no leg between its stations' : `${length} shots do not count: the course has no legs between their stations`}. `;
}

const isSame = (a: CourseInstrument, b: CourseInstrument) => instrumentKey(a) === instrumentKey(b);

const timesWords = (each: number) => (each === 1 ? 'once' : each === 2 ? 'twice' : `${each} times`);

/** How many instruments have shot all places. */
const wholeInstruments = ({ layout }: CourseState, outing: OutingState): number =>
  instrumentsOf(outing).filter((each) => openPlaces(layout, outing.shots, each).length === 0)
    .length;

const instrumentsSaid = (whole: number): string =>
  whole === 0
    ? 'From three instruments on, the one that differs stands out.'
    : `${whole === 1 ? 'One instrument has' : `${whole} instruments have`} shot all of it.`;
