import { DIP, type Prior } from './calibration-problem.ts';
import { uncertaintyFrom, type Uncertainty } from './covariance.ts';
import { angleBetween, sightDirection, type Mat3 } from './geometry.ts';
import { applyCoefficients, asStored, type Applied, type Coefficients } from './model.ts';
import type { Estimate } from './noise.ts';
import type { Reading, Vec3 } from './reading.ts';
import { KINDS, ROWS } from './residuals.ts';
import { freedomOf, whyBad } from './screening.ts';
import type { Stop } from './solver.ts';
import { directionStatistics } from './spread.ts';
import { rollZero } from './start.ts';
import { coefficientsOf, covarianceTurned, turnedAboutSight } from './state.ts';

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
  /** How many readings there must be at least, where that is all that is wrong. */
  fewest?: number;
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
  const { readings, scales, estimate, iterations, setAside, warnings, prior } = solution;
  const { problem, noise, summary, data } = estimate;
  if (summary.stopped === 'no_progress' || summary.stopped === 'iterations') {
    return {
      ok: false,
      cause: 'not_converged',
      message: `The solver found no best answer (${summary.stopped} after ${iterations} steps): the readings may not be of one board at one place.`,
      next: 'Look for readings taken while moving, near steel, or of another board, and leave them out.',
    };
  }

  const covariance = problem.covariance();
  const uncertainty =
    covariance &&
    uncertaintyFrom(problem.theta, covariance, (X) => {
      const parts = problem.traceByKind(X);
      return KINDS.map((kind) => ({
        part: parts?.[kind] ?? 0,
        redundancy: estimate.redundancy[kind],
      }));
    });
  if (!uncertainty || !(uncertainty.azimuth < HOPELESS)) {
    return { ok: false, cause: 'undetermined', ...undetermined(problem.theta, covariance) };
  }
  // settle where roll is zero, then read everything off the coefficients that a board would hold
  const angle = data.sightings > 0 && !prior ? rollToSettle(solution) : 0;
  const { theta } = turnedAboutSight(problem, angle);
  const coefficients = asStored(coefficientsOf(theta, scales));
  const residuals = problem.residuals();
  const dip = theta[DIP];

  const seen = readings.map(({ acc, mag }) => applyCoefficients(coefficients, acc, mag));
  const all = readings.map((reading, i) => viewOf(reading, seen[i]));
  data.index.forEach((i, j) => {
    const part = (from: number, factor: number): Vec3 => {
      const at = j * ROWS + from;
      return [residuals[at] * factor, residuals[at + 1] * factor, residuals[at + 2] * factor];
    };
    const view = all[i];
    view.used = true;
    view.accResidual = part(0, noise.acc * scales.acc);
    view.magResidual = part(3, noise.mag * scales.mag);
    const chiSquare = estimate.checks?.[j];
    if (chiSquare !== undefined && Number.isFinite(chiSquare)) {
      view.misfit = Math.sqrt(chiSquare / freedomOf(data, j));
    }
  });
  const sightings = spreads(all, seen);
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
    uncertainty: {
      ...uncertainty,
      theta: [...theta],
      covariance: [...covarianceTurned(covariance, angle)],
    },
    setAside: setAside.map((id) => ({
      id,
      reason: whyBad(id, readings, all, coefficients, dip, { ...noise }),
    })),
    stopped: summary.stopped,
    iterations,
    warnings,
  };
}

/** The turn about the sight that brings roll zero where it is to be, see {@link rollZero}. */
function rollToSettle({ readings, scales, estimate, mounting }: Solution): number {
  const { data, problem } = estimate;
  const { A, B } = coefficientsOf(problem.theta, scales);
  const { attitudes } = problem;
  const downs = data.index.map((_, j): Vec3 => [
    attitudes[j * 9 + 6],
    attitudes[j * 9 + 7],
    attitudes[j * 9 + 8],
  ]);
  return rollZero(
    downs,
    data.index.map((i) => readings[i]),
    { acc: A, mag: B },
    mounting,
  );
}

function viewOf({ id, sighting }: Reading, seen: Applied): FittedReading {
  const { azimuth, inclination, roll, gravity, field, dip } = seen;
  const view: FittedReading = { id, used: false, gravity, field };
  if (sighting !== undefined) view.sighting = sighting;
  if (azimuth !== undefined) view.azimuth = azimuth;
  if (inclination !== undefined) view.inclination = inclination;
  if (roll !== undefined) view.roll = roll;
  if (dip !== undefined) view.dip = dip;
  return view;
}

/** Spread of each sighting over the readings the fit saw; notes each of those readings' own aiming error. */
function spreads(all: readonly FittedReading[], seen: readonly Applied[]): SightingSpread[] {
  const members = new Map<string, number[]>();
  all.forEach(({ sighting, used }, i) => {
    if (sighting === undefined || !used) return;
    const others = members.get(sighting);
    if (others) others.push(i);
    else members.set(sighting, [i]);
  });
  return [...members].map(([sighting, indices]) => {
    const sights = indices.map((i) => sightDirection(seen[i].g, seen[i].b));
    const statistics = directionStatistics(sights.filter((sight) => sight !== undefined));
    const spread = statistics?.spread;
    if (statistics && spread !== undefined) {
      indices.forEach((i, k) => {
        const sight = sights[k];
        if (sight) all[i].aimError = angleBetween(sight, statistics.mean);
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
    if (covariance[i * width + i] > covariance[loosest * width + loosest]) loosest = i;
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
