import { chiSquareQuantile } from './quantiles.ts';

/**
 * Repeatability and reproducibility by the definitions of ISO 5725-2:1994 (formulas from memory, 7.4.5): how far two
 * results lie apart that the same instrument gives of the same thing shortly after each other, and that two instruments
 * give. One-way analysis of variance by instrument, at one level (one thing measured) or over several; instruments may
 * have unlike numbers of results. Any unit.
 */

/** Results of one thing, by instrument: `level[instrument]` holds that instrument's results, none or some. */
export type Level = readonly (readonly number[])[];

export interface MeanSquare {
  value: number;
  freedom: number;
}

/** A standard deviation with its 95 % interval. */
export interface Deviation {
  value: number;
  low: number;
  high: number;
  /** Two results differ by no more than this in 95 % of cases: 2.8 standard deviations, as the standard rounds 1.96 √2. */
  limit: number;
}

export interface Precision {
  /** Absent without two instruments at one level. */
  between?: MeanSquare;
  /** Absent where no instrument measured anything twice. */
  within?: MeanSquare;
  /** Results per instrument, n̄ of the standard: ordinary mean where all have as many. Absent without `between`. */
  perInstrument?: number;
  /** s_r. Absent without `within`. */
  repeatability?: Deviation;
  /** s_L, of the instruments' means beyond what repeatability explains; nothing where that explains all of it. */
  betweenInstruments?: number;
  /** s_R, s_R² = s_r² + s_L². Absent without both mean squares. */
  reproducibility?: Deviation;
}

/**
 * Over several levels sums of squares are pooled, each about its own means. The mean square between instruments then
 * counts in intervals with the degrees of freedom of the one level with most: what an instrument has of its own comes
 * again at each level, so that levels are no fresh draws of it.
 *
 * Intervals: of s_r from χ²; of s_R, whose square is (1 − 1/n̄) × within + between/n̄, after Graybill and Wang 1980,
 * Confidence intervals on nonnegative linear combinations of variances, J. Am. Stat. Assoc. 75.
 */
export function precisionOf(levels: readonly Level[]): Precision {
  let [squaresWithin, freeWithin, squaresBetween, freeBetween, counted, most] = [0, 0, 0, 0, 0, 0];
  for (const level of levels) {
    const cells = level.filter((results) => results.length > 0);
    const n = cells.reduce((sum, { length }) => sum + length, 0);
    const means = cells.map(meanOf);
    const grand = cells.reduce((sum, { length }, i) => sum + length * means[i]!, 0) / n;
    cells.forEach((results, i) => {
      squaresWithin += results.reduce((sum, value) => sum + (value - means[i]!) ** 2, 0);
      freeWithin += results.length - 1;
    });
    if (cells.length < 2) continue;
    squaresBetween += cells.reduce(
      (sum, { length }, i) => sum + length * (means[i]! - grand) ** 2,
      0,
    );
    freeBetween += cells.length - 1;
    // (p − 1) n̄ of this level
    counted += n - cells.reduce((sum, { length }) => sum + length ** 2, 0) / n;
    most = Math.max(most, cells.length - 1);
  }
  const precision: Precision = {};
  if (freeWithin > 0) {
    const within = { value: squaresWithin / freeWithin, freedom: freeWithin };
    precision.within = within;
    precision.repeatability = deviationFrom([{ ...within, share: 1 }]);
  }
  if (freeBetween > 0) {
    precision.between = { value: squaresBetween / freeBetween, freedom: freeBetween };
    precision.perInstrument = counted / freeBetween;
  }
  const { within, between, perInstrument } = precision;
  if (within && between && perInstrument) {
    const own = Math.max(0, (between.value - within.value) / perInstrument);
    precision.betweenInstruments = Math.sqrt(own);
    precision.reproducibility = deviationFrom(
      own > 0
        ? [
            { ...within, share: 1 - 1 / perInstrument },
            { value: between.value, freedom: most, share: 1 / perInstrument },
          ]
        : [{ ...within, share: 1 }],
    );
  }
  return precision;
}

function deviationFrom(parts: readonly (MeanSquare & { share: number })[]): Deviation {
  const variance = parts.reduce((sum, { value, share }) => sum + share * value, 0);
  const reach = (factor: (freedom: number) => number) =>
    Math.hypot(...parts.map(({ value, freedom, share }) => factor(freedom) * share * value));
  const below = reach((freedom) => 1 - freedom / chiSquareQuantile(0.975, freedom));
  const above = reach((freedom) => freedom / chiSquareQuantile(0.025, freedom) - 1);
  const value = Math.sqrt(variance);
  return {
    value,
    low: Math.sqrt(Math.max(0, variance - below)),
    high: Math.sqrt(variance + above),
    limit: 2.8 * value,
  };
}

const meanOf = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;
