import { fit, type Fit, type FitOptions, type FitRefusal } from './fit.ts';
import { noiseOf, predictedSquares } from './held-out.ts';
import type { Reading } from './reading.ts';

/** Straight or bowed: chosen by what each says of sightings it did not see, not by how closely it follows those it saw. */

export interface ModelChoice {
  chosen: Fit;
  /** The other model's fit of the same readings; absent where it could not be had. */
  other?: Fit;
  verdict: ModelVerdict;
}

/** Which model was taken and why, as plain data. */
export interface ModelVerdict {
  /**
   * - `clear`: bowed, since it predicts sightings left out clearly better
   * - `not_clear`: straight, since curvature does not clearly help to predict them
   * - `undetermined`: straight, since these readings do not determine a bowed model; `detail` says why
   * - `too_few`: straight, since there are too few sightings to judge by those left out
   * - `no_straight`: bowed, since no straight model answers to these readings; `detail` says why
   * - `forced`: as somebody asked for
   */
  why: 'clear' | 'not_clear' | 'undetermined' | 'too_few' | 'no_straight' | 'forced';
  detail?: string;
  /**
   * How much each model misses of a sighting (or a free attitude) left out: squares of its predicted residuals over
   * variance, mean over sightings; and by how much less the bowed one misses, with the standard error of that.
   */
  missed?: { straight: number; bowed: number; gain: number; standardError: number };
}

/** The bowed model must gain this many standard errors: the simpler one is kept where they are as good as equal. */
const CLEARLY = 1;
/** With fewer sightings (or free attitudes) those left predict the one left out too poorly to judge by. */
const FEWEST = 6;

/**
 * Fits both models and chooses. Bad readings are found by the bowed fit, which has fewer reasons to call one bad, and
 * are set aside for both. Residuals of both are weighed by the noise of the bowed fit. The bowed model is taken where it
 * predicts sightings better by more than a standard error over sightings (the one-standard-error rule of Breiman,
 * Friedman, Olshen and Stone 1984, Classification and regression trees, section 3.4.3).
 *
 * @returns what is chosen is a fit of all readings given, those it set aside among them
 */
export function chooseModel(
  readings: readonly Reading[],
  options: Omit<FitOptions, 'model'> = {},
): ModelChoice | FitRefusal {
  const straight = fit(readings, { ...options, model: 'straight' });
  const bowed = fit(readings, { ...options, model: 'bowed' });
  if (!bowed.ok) {
    if (!straight.ok) return straight;
    return { chosen: straight, verdict: { why: 'undetermined', detail: bowed.message } };
  }
  if (!straight.ok) {
    return { chosen: bowed, verdict: { why: 'no_straight', detail: straight.message } };
  }
  const missed = missedOf(bowed, readings, options);
  if (!missed) return { chosen: straight, other: bowed, verdict: { why: 'too_few' } };
  return missed.gain > CLEARLY * missed.standardError
    ? { chosen: bowed, other: straight, verdict: { why: 'clear', missed } }
    : { chosen: straight, other: bowed, verdict: { why: 'not_clear', missed } };
}

/** What either model misses of the readings that the bowed fit used; undefined where one of them cannot tell. */
function missedOf(
  bowed: Fit,
  readings: readonly Reading[],
  options: FitOptions,
): NonNullable<ModelVerdict['missed']> | undefined {
  const bad = new Set(bowed.setAside.map(({ id }) => id));
  const left = readings.filter(({ id }) => !bad.has(id));
  const straight = fit(left, { ...options, model: 'straight', screening: false });
  if (!straight.ok) return undefined;
  const noise = noiseOf(bowed);
  const byStraight = predictedSquares(straight, left, noise);
  const byBowed = predictedSquares(bowed, readings, noise);
  if (!byStraight || !byBowed || byBowed.length < FEWEST) return undefined;
  const mean = (values: readonly number[]) => values.reduce((a, b) => a + b) / values.length;
  const gains = byStraight.map((squares, k) => squares - byBowed[k]!);
  const gain = mean(gains);
  const variance = gains.reduce((sum, each) => sum + (each - gain) ** 2, 0) / (gains.length - 1);
  return {
    straight: mean(byStraight),
    bowed: mean(byBowed),
    gain,
    standardError: Math.sqrt(variance / gains.length),
  };
}
