import type {
  CourseInstrument,
  CourseLayout,
  CourseNote,
  CourseShot,
  CourseTerms,
  OutingSettled,
} from '../../records/course-notes.ts';
import { instrumentKey } from '../../records/course-notes.ts';
import { isSameData } from '../../records/logbook.ts';
import { legBetween, placeOn } from './shot-places.ts';

export { instrumentKey } from '../../records/course-notes.ts';
export type {
  CourseDeviation,
  CourseInstrument,
  CourseLayout,
  CoursePrecision,
  CourseResult,
  CourseTerms,
  InstrumentStanding,
} from '../../records/course-notes.ts';

/** Where a check course stands, folded from its notes. */

export interface CourseState {
  layout: CourseLayout;
  terms: CourseTerms;
  /** The oldest day first. */
  outings: readonly OutingState[];
}

export interface OutingState {
  id: string;
  /** ISO 8601, such as 2031-05-12. */
  day: string;
  shots: readonly ShotState[];
  /** What it came to, by all that counts now; absent until it was settled, or where something has changed since. */
  settled?: SettledState;
  /** What it came to before something changed. */
  before?: SettledState;
}

export type SettledState = OutingSettled & { time: string };

export interface ShotState extends CourseShot {
  /** Of its note. */
  id: string;
  /** Why it is left out. */
  setAside?: string;
  /** The course has no leg between its stations, so that it does not count. */
  noLeg?: true;
}

/** A note, as far as the fold looks at it. */
export interface ReadNote {
  id: string;
  time: string;
  body: CourseNote;
}

export const ORDINARY_TERMS: CourseTerms = { stations: 'nothing said', tolerance: 0.5 };

/**
 * Reads the notes of one course, in whatever order they come: two benches may have written at once, and what was written
 * later counts.
 *
 * @returns undefined where no note lays the course out
 */
export function courseOf(notes: readonly ReadNote[]): CourseState | undefined {
  const inOrder = [...notes].sort((a, b) => order(a.time, b.time) || order(a.id, b.id));
  let layout: CourseLayout | undefined;
  let terms = ORDINARY_TERMS;
  const days = new Map<string, string>();
  const shots = new Map<string, ShotState>();
  const aside = new Map<string, string>();
  const settled = new Map<string, SettledState>();
  for (const { id, time, body } of inOrder) {
    switch (body.kind) {
      case 'course laid out':
        layout = withoutKind(body);
        break;
      case 'course terms':
        terms = withoutKind(body);
        break;
      case 'outing begun':
        days.set(body.outing, body.day);
        break;
      case 'shot':
        shots.set(id, { ...withoutKind(body), id });
        break;
      case 'shot set aside':
        aside.set(body.shot, body.reason);
        break;
      case 'shot taken back':
        aside.delete(body.shot);
        break;
      case 'outing settled':
        settled.set(body.outing, { ...withoutKind(body), time });
    }
  }
  if (!layout) return undefined;
  const known = layout;
  const all = [...shots.values()].map((shot) => {
    const setAside = aside.get(shot.id);
    return setAside === undefined ? shot : { ...shot, setAside };
  });
  const outings = [...days]
    .sort(([a, day], [b, other]) => order(day, other) || order(a, b))
    .map(([id, day], i, { length }) => {
      const own = all.filter(({ outing }) => outing === id);
      const on = (by: CourseLayout) => ({ id, day, shots: own.map((shot) => onItsLeg(shot, by)) });
      const before = settled.get(id);
      if (!before) return on(known);
      // what an earlier day came to stands by what was known then
      const isNow = i < length - 1 || isBy(before, known, terms);
      const then = on(before.layout);
      return isNow && isOf(before, then) ? { ...then, settled: before } : { ...on(known), before };
    });
  return { layout, terms, outings };
}

const order = (a: string, b: string): number => (a < b ? -1 : a > b ? 1 : 0);

function withoutKind<Body extends { kind: string }>({
  kind: _,
  ...rest
}: Body): Omit<Body, 'kind'> {
  return rest;
}

/** The shot as the course has its leg now: a leg that was turned round since is shot the other way. */
function onItsLeg(shot: ShotState, layout: CourseLayout): ShotState {
  const { at, aimed } = placeOn(shot.leg, shot.way);
  const place = legBetween(layout, at, aimed);
  return place ? { ...shot, leg: place.leg, way: place.way } : { ...shot, noLeg: true };
}

/** Shots that count: not set aside, and of a leg that the course has. */
export const countedShots = ({ shots }: Pick<OutingState, 'shots'>): ShotState[] =>
  shots.filter(({ setAside, noLeg }) => setAside === undefined && !noLeg);

/** Shots that nobody set aside and that do not count all the same: of legs that the course does not have. */
export const shotsOfNoLeg = ({ shots }: Pick<OutingState, 'shots'>): ShotState[] =>
  shots.filter(({ setAside, noLeg }) => setAside === undefined && noLeg);

/** Whether it was settled by what is known of the course now. */
const isBy = (settled: OutingSettled, layout: CourseLayout, terms: CourseTerms): boolean =>
  isSameData(settled.layout, layout) && isSameData(settled.terms, terms);

/** Whether just these shots went in. */
const isOf = (settled: OutingSettled, outing: Pick<OutingState, 'shots'>): boolean =>
  isSameData(
    [...settled.shots].sort(),
    countedShots(outing)
      .map(({ id }) => id)
      .sort(),
  );

/** Every instrument that has a shot in an outing, in the order in which each came first. */
export function instrumentsOf({ shots }: Pick<OutingState, 'shots'>): CourseInstrument[] {
  const found = new Map<string, CourseInstrument>();
  for (const { instrument } of shots) {
    const key = instrumentKey(instrument);
    if (!found.has(key)) found.set(key, instrument);
  }
  return [...found.values()];
}
