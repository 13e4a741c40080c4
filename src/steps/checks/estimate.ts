import { sumError, type AngleTerm, type Uncertainty } from '../../calib/covariance.ts';
import { interval95 } from '../../calib/quantiles.ts';
import { turn } from '../../calib/geometry.ts';
import { applyCoefficients, type Coefficients } from '../../calib/model.ts';
import type { BoardReading } from '../../protocol/board.ts';
import type { CheckFigure, CheckStanding } from '../../records/entries.ts';

/** The arithmetic that all checks share: figures from means of readings, with their 95 % intervals. Radians. */

/** A reading seen through the coefficients that are checked, where all three angles have a meaning. */
export interface Seen {
  azimuth: number;
  inclination: number;
  roll: number;
}

/** Undefined where an angle has no meaning: the sight or the field is vertical. */
export function seenThrough(
  coefficients: Coefficients,
  { acc, mag }: Pick<BoardReading, 'acc' | 'mag'>,
): Seen | undefined {
  const { azimuth, inclination, roll } = applyCoefficients(coefficients, acc, mag);
  if (azimuth === undefined || inclination === undefined || roll === undefined) return undefined;
  return { azimuth, inclination, roll };
}

export const mean = (values: readonly number[]): number =>
  values.reduce((sum, value) => sum + value, 0) / values.length;

/** The attitude about which some readings lie that were aimed alike. */
export function middleOf(readings: readonly Seen[]): Seen {
  const [first] = readings;
  if (!first) throw new Error('no reading');
  const about = (angle: 'azimuth' | 'roll') =>
    first[angle] + mean(readings.map((each) => turn(first[angle], each[angle])));
  return {
    azimuth: about('azimuth'),
    inclination: mean(readings.map((each) => each.inclination)),
    roll: about('roll'),
  };
}

/** A standard uncertainty and its degrees of freedom, infinite where it is taken as known. */
export interface Part {
  error: number;
  freedom: number;
}

/**
 * Several independent uncertainties together, and the degrees of freedom of that: ISO/IEC Guide 98-3 (GUM), 5.1.2,
 * equation (10), and the formula of Welch and Satterthwaite, G.4.1, equation (G.2b).
 */
export function combined(parts: readonly Part[]): Part {
  const some = parts.filter(({ error }) => error > 0);
  const variance = some.reduce((sum, { error }) => sum + error ** 2, 0);
  const quartic = some.reduce((sum, { error, freedom }) => sum + error ** 4 / freedom, 0);
  return {
    error: Math.sqrt(variance),
    freedom: quartic === 0 ? Infinity : variance ** 2 / quartic,
  };
}

/**
 * Standard deviation within groups of values that would be alike but for chance, over all groups together (GUM,
 * 4.2.4). No freedom, and an error of 0, where no group has two.
 */
export function scatterOf(groups: readonly (readonly number[])[]): Part {
  const freedom = groups.reduce((sum, values) => sum + Math.max(0, values.length - 1), 0);
  const squares = groups.flatMap((values) => {
    const middle = mean(values);
    return values.map((value) => (value - middle) ** 2);
  });
  const total = squares.reduce((sum, square) => sum + square, 0);
  return { error: freedom === 0 ? 0 : Math.sqrt(total / freedom), freedom };
}

/** One term of a figure: `weight` times the mean of some values that were read at about one attitude. */
export interface Term {
  weight: number;
  values: readonly number[];
  at: Seen;
  angle: AngleTerm['angle'];
  /** What the values change by where the angle (azimuth × cos inclination, or inclination) is off by one; 1 if absent. */
  slope?: number;
}

export interface Estimate {
  value: number;
  /** Half-width of the interval that holds the truth with 95 % probability; infinite where no two readings tell a scatter. */
  half: number;
  n: number;
}

/**
 * A weighted sum of means, with the interval that holds 95 %: from the scatter of single readings, the covariance of the
 * coefficients (one and the same error in all readings), and whatever else is uncertain, combined as {@link combined}
 * does, times Student's t.
 *
 * @param scatter of a single reading
 * @param calibration absent where nothing is known of the coefficients' uncertainty
 */
export function estimate(
  terms: readonly Term[],
  scatter: Part,
  calibration: Uncertainty | undefined,
  others: readonly Part[] = [],
): Estimate {
  const value = terms.reduce((sum, { weight, values }) => sum + weight * mean(values), 0);
  const share = terms.reduce((sum, { weight, values }) => sum + weight ** 2 / values.length, 0);
  const { error, freedom } = combined([
    { error: scatter.error * Math.sqrt(share), freedom: scatter.freedom },
    ...(calibration ? [calibrationPart(terms, calibration)] : []),
    ...others,
  ]);
  return {
    value,
    half: scatter.freedom === 0 ? Infinity : interval95(error, freedom),
    n: terms.reduce((sum, { values }) => sum + values.length, 0),
  };
}

/** What the coefficients' own uncertainty adds. All terms are of one angle, or the freedom is that of the first. */
export function calibrationPart(terms: readonly Term[], calibration: Uncertainty): Part {
  const angle = terms[0]?.angle ?? 'azimuth';
  const error = sumError(
    calibration,
    terms.map(({ weight, at, angle, slope = 1 }) => ({ angle, weight: weight * slope, ...at })),
  );
  return { error, freedom: calibration.freedom[angle] };
}

/** Standard uncertainty of what is known to be off by no more than `most`, anywhere alike: GUM, 4.3.7. */
export const withinLimits = (most: number): number => most / Math.sqrt(3);

/** Where an interval lies, held against the most that something may be off by either way. */
export function standingOf(value: number, half: number, limit: number): CheckStanding {
  const size = Math.abs(value);
  if (size + half <= limit) return 'within';
  return size - half > limit ? 'outside' : 'not settled';
}

/** A figure held against a limit; all in the unit of the figure. */
export const figureOf = (
  name: string,
  { value, half, n }: Estimate,
  unit: CheckFigure['unit'],
  limit: number,
): CheckFigure => ({
  name,
  value,
  half,
  unit,
  limit,
  standing: standingOf(value, half, limit),
  n,
});
