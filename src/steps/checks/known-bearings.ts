import { degrees, radians, turn } from '../../calib/geometry.ts';
import type { CheckFigure, CheckTerms } from '../../records/entries.ts';
import { magneticOf } from './check-places.ts';
import { estimate, figureOf, middleOf, scatterOf, withinLimits, type Term } from './estimate.ts';
import type { Taken } from './taken.ts';

/**
 * Known bearings: what the instrument shows less what is known, counted from magnetic north; positive where it shows too
 * much. The constant is the mean over the marks. Its uncertainty has four parts: the scatter of single readings, each
 * bearing's own (no more off than `trueTo`, each independent), the declination's (one for all), and the coefficients'.
 *
 * @returns the figures, and a sentence for each mark that stands out from the others by more than all this explains
 */
export function knownBearingFigures(
  { groups, calibration, limit }: Taken,
  terms: CheckTerms & { check: 'known bearings' },
): { figures: CheckFigure[]; warnings: string[] } {
  const { marks, trueTo, north, declinationError } = terms;
  const each = marks.map(({ mark, bearing }, i) => {
    const readings = groups.get(String(i))!;
    const known = radians(magneticOf(bearing, terms));
    const at = middleOf(readings);
    const values = readings.map(({ azimuth }) => turn(known, azimuth));
    return { mark, values, at, angle: 'azimuth' as const, slope: 1 / Math.cos(at.inclination) };
  });
  const scatter = scatterOf(each.map(({ values }) => values));
  const weighted = (weights: readonly number[]): Term[] =>
    each.flatMap((term, i) => (weights[i] === 0 ? [] : [{ ...term, weight: weights[i]! }]));
  const bearing = withinLimits(radians(trueTo));
  const known = (error: number) => ({ error, freedom: Infinity });
  const declination = known(north === 'magnetic' ? 0 : radians(declinationError));
  const found = (weights: readonly number[], others: { error: number; freedom: number }[]) => {
    const own = known(bearing * Math.hypot(...weights));
    const { value, half, n } = estimate(weighted(weights), scatter, calibration, [own, ...others]);
    return { value: degrees(value), half: degrees(half), n };
  };
  const only = (i: number) => marks.map((_, j) => (i === j ? 1 : 0));
  const less = (i: number) => marks.map((_, j) => (i === j ? 1 : -1 / (marks.length - 1)));
  const constant = figureOf(
    'Constant difference of azimuth',
    found(
      marks.map(() => 1 / marks.length),
      [declination],
    ),
    '°',
    limit,
  );
  if (marks.length === 1) return { figures: [constant], warnings: [] };
  const figures = marks.map(({ mark }, i) =>
    figureOf(`At “${mark}”`, found(only(i), [declination]), '°', limit),
  );
  const warnings = marks.flatMap(({ mark }, i) => {
    const { value, half } = found(less(i), []);
    return Math.abs(value) <= half
      ? []
      : [
          `“${mark}” stands ${Math.abs(value).toFixed(2)}° apart from the other marks, more than scatter and what is known of the bearings explain (${half.toFixed(2)}°): look at its bearing, or something magnetic near it. The constant leans on it.`,
        ];
  });
  return { figures: [constant, ...figures], warnings };
}
