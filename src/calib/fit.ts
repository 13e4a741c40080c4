import type { Coefficients } from './model.ts';
import type { Mounting, Vec3 } from './reading.ts';
import type { Uncertainty } from './covariance.ts';

export interface FitOptions {
  /** Counts that make u of order one; from the board's declaration. Else the ellipsoid's radius, with a warning. */
  scales?: { acc: number; mag: number };
  /** Standard deviation of a reading per axis, counts, as the board declares it: a start, not a truth. */
  noise?: { acc: number; mag: number };
  /** How the chips sit, as declared. */
  mounting?: { acc: Mounting; mag: Mounting };
  /** Whether the plan's azimuths count from magnetic north, or only from each other. Default: absolute. */
  planAzimuths?: 'absolute' | 'relative';
  /** Sign of the dip at this place: +1 where the field points down (most of the northern hemisphere). */
  dipSign?: 1 | -1;
  /** Set bad readings aside by themselves (default), or use every reading given. */
  screening?: boolean;
}

/** Why the solver stopped: `cost` and `step` mean converged, the others do not. */
export type Stop = 'cost' | 'step' | 'gradient' | 'iterations' | 'no_progress';

/** One reading, seen through the coefficients. Angles in radians; an angle without meaning is absent. */
export interface FittedReading {
  id: string;
  sighting?: string;
  /** False where the reading was set aside: the fit never saw it. */
  used: boolean;
  azimuth?: number;
  inclination?: number;
  roll?: number;
  /** Lengths of the calibrated vectors; one where all is well. */
  gravity: number;
  field: number;
  dip?: number;
  /** Raw counts less what the fitted attitude predicts. Absent where not used. */
  accResidual?: Vec3;
  magResidual?: Vec3;
  /** Angle between this reading's sight and its sighting's fitted direction. Absent where not used. */
  aimError?: number;
  /** Leverage-aware size of the residuals in standard deviations; about one is normal, over four is not. */
  misfit?: number;
}

export interface SightingSpread {
  sighting: string;
  /** How many readings it is taken over. */
  n: number;
  /** √(Σθ²/(n−1)), θ the angle to the mean direction, radians. Absent for n < 2. */
  spread?: number;
}

export interface Fit {
  ok: true;
  /** Rounded to binary32, as a board stores them. */
  coefficients: Coefficients;
  /** Fitted dip, radians, down positive. */
  dip: number;
  /** Standard deviations found: counts, counts, radians. `aim` is absent without sightings. */
  noise: { acc: number; mag: number; aim?: number };
  readings: FittedReading[];
  sightings: SightingSpread[];
  /** Mean over the sightings that have a spread; absent without any. Of readings the fit saw. */
  meanSpread?: number;
  uncertainty: Uncertainty;
  setAside: { id: string; reason: string }[];
  stopped: Stop;
  iterations: number;
  warnings: string[];
}

/**
 * - `too_few`: fewer readings than the unknowns need
 * - `undetermined`: the readings do not determine the answer, however many there are
 * - `ambiguous`: they leave more than one answer, and neither plan nor mounting tells which
 * - `contradiction`: the readings cannot be of one board at one place
 * - `not_converged`: the solver found no minimum
 */
export type RefusalCause =
  'too_few' | 'undetermined' | 'ambiguous' | 'contradiction' | 'not_converged';

export interface FitRefusal {
  ok: false;
  cause: RefusalCause;
  /** What is wrong, in words. */
  message: string;
  /** What to do next, in words. */
  next: string;
}
