import { CalibrationProblem, type NoiseScales } from '../src/calib/calibration-problem.ts';
import { uncertaintyFrom } from '../src/calib/covariance.ts';
import type { Mat3 } from '../src/calib/geometry.ts';
import { cubePlan } from '../src/calib/plan.ts';
import type { Aim } from '../src/calib/reading.ts';

/** Readings that are only thought of, and what they would tell: for benches and tests of what to take next. */
export interface Planned {
  /** Absent for a free attitude; a sighting of one reading counts as one too. */
  sighting?: string;
  /** Body to world. */
  attitude: Mat3;
}

/** The readings of the cube plan, in its order. */
export const cubeReadings = (): { sighting: string; aim: Required<Aim> }[] =>
  cubePlan().flatMap(({ name, azimuth, inclination, rolls }) =>
    rolls.map((roll) => ({ sighting: name, aim: { azimuth, inclination, roll } })),
  );

/** Covariance of θ after all of them, by the fit's own elimination at once. */
export function covarianceAfter(
  theta: readonly number[],
  taken: readonly Planned[],
  noise: NoiseScales,
): Float64Array {
  const size = (name?: string) => taken.filter(({ sighting }) => sighting === name).length;
  const names = [...new Set(taken.map(({ sighting }) => sighting))].filter(
    (name) => name !== undefined && size(name) > 1,
  );
  const problem = new CalibrationProblem(
    {
      count: taken.length,
      acc: new Float64Array(3 * taken.length),
      mag: new Float64Array(3 * taken.length),
      sighting: Int32Array.from(taken.map(({ sighting }) => names.indexOf(sighting))),
      sightings: names.length,
    },
    Float64Array.from(theta),
    Float64Array.from(taken.flatMap(({ attitude }) => [...attitude])),
  );
  problem.noise = noise;
  return problem.covariance()!;
}

/** Standard error of azimuth × cos inclination over all attitudes after all of them, radians. */
export const azimuthAfter = (
  theta: readonly number[],
  taken: readonly Planned[],
  noise: NoiseScales,
): number =>
  uncertaintyFrom(Float64Array.from(theta), covarianceAfter(theta, taken, noise)).azimuth;
