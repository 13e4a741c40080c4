import type { Angle, Course, CourseShot } from './check-course.ts';
import { circularMiddle } from './course-observations.ts';
import { turn } from './geometry.ts';
import { precisionOf, type Level, type Precision } from './repeatability.ts';

/** Repeatability and reproducibility of one angle: over the whole course, and of each leg (both ways together). */
export interface CoursePrecision {
  overall: Precision;
  legs: { leg: string; precision: Precision }[];
}

/**
 * Repeatability and reproducibility of a check course's shots, radians, straight from what was shown: a level is one leg
 * shot one way, from one station, so that neither the leg's direction nor a disturbance of the field enters. Azimuths
 * count times the cosine of the leg's inclination, as they scatter on a level leg.
 *
 * A field that turns through the afternoon counts as the instruments' own. Blunders spoil these figures: leave them out.
 *
 * @param leftOut ids of shots that do not count
 */
export function coursePrecision(
  { legs, instruments, shots }: Course,
  leftOut: ReadonlySet<string> = new Set(),
): Record<Angle, CoursePrecision> {
  const counted = shots.filter(({ id }) => !leftOut.has(id));
  const of = (angle: Angle): CoursePrecision => {
    const byLeg = legs.map(({ id }) =>
      (['fore', 'back'] as const).map((way) =>
        levelOf(
          counted.filter((shot) => shot.leg === id && shot.way === way),
          instruments,
          angle,
        ),
      ),
    );
    return {
      overall: precisionOf(byLeg.flat()),
      legs: legs.map(({ id }, i) => ({ leg: id, precision: precisionOf(byLeg[i]!) })),
    };
  };
  return { azimuth: of('azimuth'), inclination: of('inclination') };
}

function levelOf(
  shots: readonly CourseShot[],
  instruments: readonly string[],
  angle: Angle,
): Level {
  const results = instruments.map((instrument) =>
    shots.flatMap((shot) => (shot.instrument === instrument ? (shot[angle] ?? []) : [])),
  );
  if (angle === 'inclination') return results;
  const inclinations = shots.flatMap(({ inclination }) => inclination ?? []).sort((a, b) => a - b);
  const level = Math.cos(inclinations[inclinations.length >> 1] ?? 0);
  return onOneBranch(results).map((own) => own.map((azimuth) => azimuth * level));
}

/**
 * Azimuths so that their differences are what they seem: each instrument's own about its first, and the instruments' means
 * about the middle one of them. Were single azimuths turned about that, those of an instrument half a turn off would fall
 * to either side.
 */
function onOneBranch(results: readonly (readonly number[])[]): number[][] {
  const own = results.map((azimuths) => azimuths.map((each) => turn(azimuths[0]!, each)));
  const means = own.map((turns, i) =>
    turns.length === 0
      ? undefined
      : results[i]![0]! + turns.reduce((sum, each) => sum + each, 0) / turns.length,
  );
  const has = means.filter((mean) => mean !== undefined);
  if (has.length === 0) return own;
  const middle = circularMiddle(has);
  return own.map((turns, i) => {
    const mean = means[i];
    if (mean === undefined) return [];
    return turns.map((each) => turn(middle, mean) + results[i]![0]! + each - mean);
  });
}
