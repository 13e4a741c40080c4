import { fit, type Fit, type FitOptions, type FitRefusal } from './fit.ts';
import { noiseOf, predictedSquares } from './held-out.ts';
import type { Reading } from './reading.ts';

/** Straight or bowed: chosen by what each says of sightings it did not see, not by how closely it follows those it saw. */

export interface ModelChoice {
  chosen: Fit;
  /** The other model's fit of the same readings; absent where it could not be had. */
  other?: Fit;
  /** Why, in words. */
  reason: string;
  /** By how much less the bowed model misses a sighting left out, in squares over variance: mean and standard error. */
  gain?: { mean: number; standardError: number };
}

/** The bowed model must gain this many standard errors: the simpler one is kept where they are as good as equal. */
const CLEARLY = 1;

/**
 * Fits both models and chooses. Bad readings are found by the bowed fit, which has fewer reasons to call one bad, and
 * are set aside for both. Residuals of both are weighed by the noise of the bowed fit. The bowed model is taken where it
 * predicts sightings better by more than a standard error over sightings (the one-standard-error rule of Breiman,
 * Friedman, Olshen and Stone 1984, Classification and regression trees, section 3.4.3).
 */
export function chooseModel(
  readings: readonly Reading[],
  options: Omit<FitOptions, 'model'> = {},
): ModelChoice | FitRefusal {
  const bowed = fit(readings, { ...options, model: 'bowed' });
  if (!bowed.ok) {
    const straight = fit(readings, options);
    return straight.ok
      ? {
          chosen: straight,
          reason: `Straight: these readings do not determine a bowed model. ${bowed.message}`,
        }
      : straight;
  }
  const bad = new Set(bowed.setAside.map(({ id }) => id));
  const left = readings.filter(({ id }) => !bad.has(id));
  const straight = fit(left, { ...options, model: 'straight', screening: false });
  if (!straight.ok) return { chosen: bowed, reason: `Bowed: ${straight.message}` };

  const noise = noiseOf(bowed);
  const missed = [straight, bowed].map((model) =>
    predictedSquares(
      model,
      readings.filter(({ id }) => model.readings.some((reading) => reading.id === id)),
      noise,
    ),
  );
  const plain = fit(readings, options);
  const straightFit = plain.ok ? plain : straight;
  const [byStraight, byBowed] = missed;
  if (!byStraight || !byBowed) {
    return {
      chosen: straightFit,
      other: bowed,
      reason: 'Straight: too few sightings to judge a bowed model on those left out.',
    };
  }
  const gains = byStraight.map((squares, k) => squares - byBowed[k]!);
  const n = gains.length;
  const mean = gains.reduce((sum, gain) => sum + gain, 0) / n;
  const variance = gains.reduce((sum, gain) => sum + (gain - mean) ** 2, 0) / (n - 1);
  const gain = { mean, standardError: Math.sqrt(variance / n) };
  return mean > CLEARLY * gain.standardError
    ? {
        chosen: bowed,
        other: straightFit,
        gain,
        reason: `Bowed: it misses sightings left out by clearly less (${gain.mean.toFixed(1)} ± ${gain.standardError.toFixed(1)} per sighting, in squares over variance).`,
      }
    : {
        chosen: straightFit,
        other: bowed,
        gain,
        reason: `Straight: curvature does not clearly help to predict sightings left out (${gain.mean.toFixed(1)} ± ${gain.standardError.toFixed(1)} per sighting, in squares over variance).`,
      };
}
