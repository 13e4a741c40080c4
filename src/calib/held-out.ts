import { CalibrationProblem, type NoiseScales } from './calibration-problem.ts';
import type { Fit } from './answer.ts';
import { sightOf } from './model.ts';
import { chiSquareQuantile } from './quantiles.ts';
import type { Reading } from './reading.ts';
import { levenbergMarquardt } from './solver.ts';
import { directionStatistics } from './spread.ts';
import { coefficientsOf, inScale, observe, stateFrom, type Data } from './state.ts';

/** A calibration judged on readings it did not see: each sighting in turn is left out, and predicted by the others. */

export interface HeldOut {
  /** Mean of the sightings' spreads, each from coefficients that never saw that sighting; radians. */
  meanSpread?: number;
  /** How many sightings (or free attitudes) were left out. */
  count: number;
  /** Sum of squares of the predicted residuals, each over its standard deviation. */
  squares: number;
  /**
   * Sightings that as a whole do not agree with all the others, though their readings may agree among themselves: the
   * field was disturbed there, or the board had changed. (A disturbance that only turns the field sideways for a whole
   * sighting shows nowhere: it is the same as aiming elsewhere, and does the coefficients no harm.)
   */
  doubtful: string[];
}

/** A set without a bad sighting has this chance of one being called doubtful. */
const FALSE_ALARM = 0.01;

/** The readings that are left out together: a whole sighting, or one free attitude. */
function groups({ sighting, count }: Data): number[][] {
  const together = new Map<number, number[]>();
  const alone: number[][] = [];
  for (let j = 0; j < count; j++) {
    const k = sighting[j]!;
    if (k < 0) alone.push([j]);
    else together.set(k, [...(together.get(k) ?? []), j]);
  }
  return [...together.values(), ...alone];
}

/**
 * @param fit of these readings, raw counts, in the same order
 * @returns undefined where without one of the sightings nothing is determined
 */
export function leaveSightingsOut(fit: Fit, readings: readonly Reading[]): HeldOut | undefined {
  const { problem, data, scales } = solvedAgain(fit, readings);
  const all = groups(data);
  const limits = new Map<number, number>();
  const spreads: number[] = [];
  const doubtful: string[] = [];
  let squares = 0;
  for (const members of all) {
    const without = problem.leaveOut(members);
    if (!without) return undefined;
    squares += without.squares;
    if (members.length < 2) continue;
    // 8 residuals and 3 unknowns of its own for each reading, and the sighting's two
    const freedom = 5 * members.length - 2;
    const limit = limits.get(freedom) ?? chiSquareQuantile(1 - FALSE_ALARM / all.length, freedom);
    limits.set(freedom, limit);
    if (without.chiSquare > limit) {
      doubtful.push(fit.readings[data.index[members[0]!]!]!.sighting!);
    }
    const coefficients = coefficientsOf(without.theta, scales);
    const sights = members.map((j) => sightOf(readings[data.index[j]!]!, coefficients));
    const spread = directionStatistics(sights.filter((sight) => sight !== undefined))?.spread;
    if (spread !== undefined) spreads.push(spread);
  }
  return {
    count: all.length,
    squares,
    doubtful,
    ...(spreads.length > 0
      ? { meanSpread: spreads.reduce((sum, spread) => sum + spread, 0) / spreads.length }
      : {}),
  };
}

/** The problem that a fit solved, put up and solved again: under the noise it found, or under another. */
export function solvedAgain(
  fit: Fit,
  readings: readonly Reading[],
  noise: NoiseScales = noiseOf(fit),
): {
  problem: CalibrationProblem;
  data: Data;
  noise: NoiseScales;
  scales: { acc: number; mag: number };
} {
  const { coefficients, dip } = fit;
  const scales = { acc: coefficients.accScale, mag: coefficients.magScale };
  // the sightings are those the fit went by: it may have found them itself
  const scaled = inScale(readings, scales).map(({ sighting: _, ...reading }, i): Reading => {
    const { sighting } = fit.readings[i]!;
    return sighting === undefined ? reading : { ...reading, sighting };
  });
  const data = observe(
    scaled,
    fit.readings.map(({ used }) => used),
    fit.noise.aim !== undefined,
  );
  const kept = data.index.map((i) => scaled[i]!);
  const { theta, attitudes } = stateFrom(kept, coefficients, dip);
  const problem = new CalibrationProblem(data, theta, attitudes);
  problem.noise = noise;
  levenbergMarquardt(problem);
  return { problem, data, noise, scales };
}

/** The noise a fit found, over scale; without sightings no aim has any, and any number stands in. */
export const noiseOf = ({ noise, coefficients }: Fit): NoiseScales => ({
  acc: noise.acc / coefficients.accScale,
  mag: noise.mag / coefficients.magScale,
  aim: noise.aim ?? 1,
});

/**
 * Sum of squares of the predicted residuals of each group left out, under given noise, so that two models can be held
 * against each other on the same terms.
 *
 * @param fit of those readings; only those it used are taken
 * @returns undefined where without one of the groups nothing is determined
 */
export function predictedSquares(
  fit: Fit,
  readings: readonly Reading[],
  noise: NoiseScales,
): number[] | undefined {
  const { problem, data } = solvedAgain(fit, readings, noise);
  const squares = groups(data).map((members) => problem.leaveOut(members)?.squares);
  return squares.every((value) => value !== undefined) ? squares : undefined;
}
