import type { AdjustedInstrument, Course, CourseShot } from './check-course.ts';
import { circularMiddle } from './course-observations.ts';
import { turn } from './geometry.ts';

/**
 * Instruments all of whose shots were given otherwise than they were shot: with the other sign of inclination, or from
 * the other end of each leg. To an adjustment they would be so many gross errors that it might follow them.
 */
export type Reversal = NonNullable<AdjustedInstrument['reversed']>;

/** Shots that must speak for it. */
const FEWEST = 4;
/** By so much smaller their misfits must be, put right: those of noise alone are as large either way. */
const PLAINLY = 3;

/**
 * Each instrument's inclinations are held against the middle of the others' along the same leg, less what it shows too
 * high throughout, as they stand and with their signs changed; where the latter fits, azimuths tell which of the two it
 * is. None where half of the instruments or more would be reversed: then nothing says which are.
 */
export function reversedInstruments({ legs, instruments, shots }: Course): Map<string, Reversal> {
  const reversed = new Map<string, Reversal>();
  const byLeg = new Map(legs.map(({ id }) => [id, shots.filter(({ leg }) => leg === id)]));
  for (const name of instruments) {
    const pairs = shots.flatMap((shot) => {
      if (shot.instrument !== name || shot.inclination === undefined) return [];
      const others = byLeg.get(shot.leg)!.filter(({ instrument }) => instrument !== name);
      const inclinations = others.flatMap((other) =>
        other.inclination === undefined ? [] : alike(other, shot) * other.inclination,
      );
      return inclinations.length === 0 ? [] : [[shot.inclination, middle(inclinations)] as const];
    });
    if (pairs.length < FEWEST) continue;
    const asGiven = misfit(pairs.map(([own, others]) => own - others));
    const putRight = misfit(pairs.map(([own, others]) => own + others));
    if (putRight * PLAINLY >= asGiven) continue;
    reversed.set(name, isTurnedAbout(name, byLeg) ? 'other way' : 'sign changed');
  }
  return reversed.size * 2 < instruments.length ? reversed : new Map();
}

/** The course as if those shots had been given as they were shot. */
export function putRight(course: Course, reversed: ReadonlyMap<string, Reversal>): Course {
  if (reversed.size === 0) return course;
  const shots = course.shots.map((shot): CourseShot => {
    const as = reversed.get(shot.instrument);
    if (as === 'other way') return { ...shot, way: shot.way === 'fore' ? 'back' : 'fore' };
    if (as === undefined || shot.inclination === undefined) return shot;
    return { ...shot, inclination: -shot.inclination };
  });
  return { ...course, shots };
}

/** Whether an instrument's azimuths lie nearer to the opposite of what the others show along the same legs. */
function isTurnedAbout(name: string, byLeg: ReadonlyMap<string, readonly CourseShot[]>): boolean {
  const along = ({ azimuth, way }: CourseShot) =>
    azimuth === undefined ? [] : [azimuth + (way === 'back' ? Math.PI : 0)];
  const off = [...byLeg.values()].flatMap((shots) => {
    const others = shots.filter(({ instrument }) => instrument !== name).flatMap(along);
    if (others.length === 0) return [];
    const from = circularMiddle(others);
    const own = shots.filter(({ instrument }) => instrument === name).flatMap(along);
    return own.map((azimuth) => turn(from, azimuth));
  });
  return off.length > 0 && Math.abs(turn(0, circularMiddle(off))) > Math.PI / 2;
}

const alike = (a: CourseShot, b: CourseShot): number => (a.way === b.way ? 1 : -1);

/** Mean distance from their middle. */
function misfit(values: readonly number[]): number {
  const from = middle(values);
  return values.reduce((sum, value) => sum + Math.abs(value - from), 0) / values.length;
}

function middle(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const n = sorted.length;
  return (sorted[(n - 1) >> 1]! + sorted[n >> 1]!) / 2;
}
