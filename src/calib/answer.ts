import { CalibrationProblem, DIP, type Prior } from './calibration-problem.ts';
import { uncertaintyFrom, type Uncertainty } from './covariance.ts';
import { angleBetween, type Mat3 } from './geometry.ts';
import { applyCoefficients, asStored, sightOf, type Coefficients } from './model.ts';
import type { Estimate } from './noise.ts';
import type { Reading, Vec3 } from './reading.ts';
import { KINDS } from './residuals.ts';
import { freedomOf, whyBad } from './screening.ts';
import type { Stop } from './solver.ts';
import { directionStatistics } from './spread.ts';
import { rollZero } from './start.ts';
import { coefficientsOf, turnedAboutSight } from './state.ts';

/** The answer to a calibration: everything that a person can judge it by, read off a solved problem. */

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
  /** Angle between this reading's sight and its sighting's mean direction. Absent where not used, or alone. */
  aimError?: number;
  /** Leverage-aware size of the residuals: about one is normal, over two and a half is not. Absent where not used. */
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
  /** Rounded to binary32, as a board stores them; all that follows is computed from these. */
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
  /** Steps tried by the solver, over all its runs. */
  iterations: number;
  warnings: string[];
}

/**
 * - `too_few`: fewer readings than the unknowns need
 * - `undetermined`: the readings do not determine the answer, however many there are
 * - `ambiguous`: they leave more than one answer, and neither plan nor mounting tells which
 * - `contradiction`: the readings cannot be of one board at one place, or not in the order of the plan
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

/** Standard error of azimuth × cos inclination, mean over all attitudes, over which nothing is determined. */
const HOPELESS = (10 * Math.PI) / 180;

/** A solved problem and where it came from. */
export interface Solution {
  /** All readings that were given, raw counts. */
  readings: readonly Reading[];
  scales: { acc: number; mag: number };
  estimate: Estimate;
  /** Steps of the solver over all its runs. */
  iterations: number;
  /** Ids of the readings that were set aside. */
  setAside: readonly string[];
  warnings: string[];
  mounting?: { acc: Mat3; mag: Mat3 };
  /** What was known beforehand; roll zero is then where that has it. */
  prior?: Prior;
}

/** Reads the answer off a solution, from coefficients rounded as a board would hold them. */
export function answerFrom(solution: Solution): Fit | FitRefusal {
  const { readings, scales, estimate, iterations, setAside, warnings, mounting, prior } = solution;
  const { noise } = estimate;
  const { summary, data } = estimate;
  if (summary.stopped === 'no_progress' || summary.stopped === 'iterations') {
    return {
      ok: false,
      cause: 'not_converged',
      message: `The solver found no best answer (${summary.stopped} after ${iterations} steps): the readings may not be of one board at one place.`,
      next: 'Look for readings taken while moving, near steel, or of another board, and leave them out.',
    };
  }

  // settle where roll is zero, then read everything off the coefficients that a board would hold
  const before = coefficientsOf(estimate.state.theta, scales);
  const kept = data.index.map((i) => readings[i]!);
  const seen = kept.map(({ acc, mag }) => applyCoefficients(before, acc, mag));
  const state = turnedAboutSight(
    estimate.state,
    data.sightings > 0 && !prior
      ? rollZero(seen, kept, { acc: before.A, mag: before.B }, mounting)
      : 0,
  );
  const problem = new CalibrationProblem(data, state.theta, state.attitudes, prior);
  problem.noise = noise;
  const covariance = problem.covariance();
  const uncertainty =
    covariance &&
    uncertaintyFrom(state.theta, covariance, (X) => {
      const parts = problem.traceByKind(X);
      return KINDS.map((kind) => ({
        part: parts?.[kind] ?? 0,
        redundancy: estimate.redundancy[kind],
      }));
    });
  if (!uncertainty || !(uncertainty.azimuth < HOPELESS)) {
    return { ok: false, cause: 'undetermined', ...undetermined(state.theta, covariance) };
  }
  const coefficients = asStored(coefficientsOf(state.theta, scales));
  const residuals = problem.residuals();
  const dip = state.theta[DIP]!;

  const all = readings.map((reading) => viewOf(reading, coefficients));
  data.index.forEach((i, j) => {
    const part = (from: number, sigma: number, scale: number) =>
      Array.from(residuals.subarray(j * 8 + from, j * 8 + from + 3), (r) => r * sigma * scale);
    all[i]!.used = true;
    all[i]!.accResidual = part(0, noise.acc, scales.acc) as unknown as Vec3;
    all[i]!.magResidual = part(3, noise.mag, scales.mag) as unknown as Vec3;
    const chiSquare = estimate.checks?.[j];
    if (chiSquare !== undefined && Number.isFinite(chiSquare)) {
      all[i]!.misfit = Math.sqrt(chiSquare / freedomOf(data, j));
    }
  });
  const sightings = spreads(readings, all, coefficients);
  const withSpread = sightings.flatMap(({ spread }) => (spread === undefined ? [] : [spread]));
  return {
    ok: true,
    coefficients,
    dip,
    noise: {
      acc: noise.acc * scales.acc,
      mag: noise.mag * scales.mag,
      ...(data.sightings > 0 ? { aim: noise.aim } : {}),
    },
    readings: all,
    sightings,
    ...(withSpread.length > 0
      ? { meanSpread: withSpread.reduce((sum, spread) => sum + spread, 0) / withSpread.length }
      : {}),
    uncertainty,
    setAside: setAside.map((id) => ({
      id,
      reason: whyBad(id, readings, all, coefficients, dip, { ...noise }),
    })),
    stopped: summary.stopped,
    iterations,
    warnings,
  };
}

function viewOf({ id, sighting, acc, mag }: Reading, coefficients: Coefficients): FittedReading {
  const { azimuth, inclination, roll, gravity, field, dip } = applyCoefficients(
    coefficients,
    acc,
    mag,
  );
  return {
    id,
    used: false,
    gravity,
    field,
    ...(sighting === undefined ? {} : { sighting }),
    ...(azimuth === undefined ? {} : { azimuth }),
    ...(inclination === undefined ? {} : { inclination }),
    ...(roll === undefined ? {} : { roll }),
    ...(dip === undefined ? {} : { dip }),
  };
}

/** Spread of each sighting over the readings the fit saw; notes each of those readings' own aiming error. */
function spreads(
  readings: readonly Reading[],
  all: readonly FittedReading[],
  coefficients: Coefficients,
): SightingSpread[] {
  const members = new Map<string, number[]>();
  readings.forEach(({ sighting }, i) => {
    if (sighting !== undefined && all[i]!.used) {
      members.set(sighting, [...(members.get(sighting) ?? []), i]);
    }
  });
  return [...members].map(([sighting, indices]) => {
    const sights = indices.map((i) => sightOf(readings[i]!, coefficients));
    const statistics = directionStatistics(sights.filter((sight) => sight !== undefined));
    const spread = statistics?.spread;
    if (statistics && spread !== undefined) {
      indices.forEach((i, k) => {
        if (sights[k]) all[i]!.aimError = angleBetween(sights[k], statistics.mean);
      });
    }
    return { sighting, n: statistics?.n ?? 0, ...(spread === undefined ? {} : { spread }) };
  });
}

/** Words for an answer that came out with no certainty: which unknown is the loosest. */
function undetermined(
  theta: Float64Array,
  covariance: Float64Array | undefined,
): { message: string; next: string } {
  const next =
    'Take readings in more directions, each with all four rolls: up, down, level, and on each side.';
  if (!covariance) {
    return { message: 'The readings do not determine the coefficients.', next };
  }
  const width = theta.length;
  let loosest = 0;
  for (let i = 0; i < width; i++) {
    if (covariance[i * width + i]! > covariance[loosest * width + loosest]!) loosest = i;
  }
  const sensor = loosest < 12 ? 'accelerometer' : 'magnetometer';
  const axis = 'xyz'[Math.floor((loosest % 12) / 4)];
  const what =
    loosest >= DIP
      ? 'the dip'
      : `the ${sensor}'s ${loosest % 4 === 3 ? 'offset' : 'gain'} along its ${axis} axis`;
  return {
    message: `The readings do not determine the answer; least of all ${what}.`,
    next,
  };
}
