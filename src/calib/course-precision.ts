import type { Angle, Course, CourseShot } from './check-course.ts';
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
  const shown = shots.filter((shot) => shot[angle] !== undefined);
  const first = shown[0]?.[angle];
  if (first === undefined) return [];
  const inclinations = shots.flatMap(({ inclination }) => inclination ?? []).sort((a, b) => a - b);
  const level = Math.cos(inclinations[inclinations.length >> 1] ?? 0);
  return instruments.map((instrument) =>
    shown
      .filter((shot) => shot.instrument === instrument)
      .map((shot) =>
        angle === 'azimuth' ? turn(first, shot.azimuth!) * level : shot.inclination!,
      ),
  );
}
