import { chiSquareQuantile, interval95 } from '../../calib/quantiles.ts';
import {
  consistency,
  fitLine,
  predict,
  scaledByScatter,
  type LineFault,
  type LinePoint,
} from '../../calib/straight-line.ts';
import type { CheckTerms, FoundRange } from '../../records/entries.ts';
import type { RangeCorrection } from '../../protocol/range-settings.ts';
import { figureOf, mean, scatterOf, withinLimits } from './estimate.ts';
import { halvesOf, worthWriting } from './range-writing.ts';
import type { CameTo } from './taken.ts';

/** What a range is rounded to on the wire, metres. */
export const ROUNDED_TO = 0.001;

/**
 * Ranges of taped baselines: constant and scale of the range module by the line with errors in both coordinates. Of a
 * baseline x is its taped length and y the mean of its ranges. The range's uncertainty comes from how readings of one
 * baseline scatter, over all baselines, and from the rounding; the length's from what the person says of the tape
 * readings. The tape's own error is one for all lengths: it goes straight into the scale, with no say in the line.
 *
 * Student's degrees of freedom are the least that the formula of Welch and Satterthwaite (GUM, G.4.1) gives a baseline. Where
 * the baselines lie about the line as no such uncertainties explain, variances are widened by χ²/ν instead.
 *
 * @param groups ranges by the baseline's place in the list, at least two readings in all of them together
 */
export function rangeFigures(
  groups: ReadonlyMap<string, readonly number[]>,
  { lengths, lengthsTo, tapeTo, from, limit }: CheckTerms & { check: 'range' },
  correction: RangeCorrection | undefined,
): CameTo {
  const ranges = lengths.map((_, i) => groups.get(String(i))!);
  const scatter = scatterOf(ranges);
  if (scatter.freedom === 0) {
    const warning = 'No baseline has two ranges, so that nothing tells how they scatter.';
    return { figures: [], warnings: [warning] };
  }
  const n = ranges.reduce((sum, each) => sum + each.length, 0);
  const points = ranges.map((each, i): LinePoint => ({
    x: lengths[i]!,
    y: mean(each),
    ux: withinLimits(lengthsTo),
    uy: Math.sqrt(scatter.error ** 2 / each.length + ROUNDED_TO ** 2 / 12),
  }));
  const outcome = fitLine(points);
  if (!outcome.ok) return { figures: [], warnings: [NO_LINE[outcome.cause]] };
  const { consistent } = consistency(outcome.line);
  const line = consistent ? outcome.line : scaledByScatter(outcome.line);
  const freedom = consistent
    ? Math.min(
        ...points.map(({ ux, uy }, i) => {
          const whole = uy ** 2 + (line.slope * ux) ** 2;
          return scatter.freedom * (whole / (scatter.error ** 2 / ranges[i]!.length)) ** 2;
        }),
      )
    : line.freedom;
  const tape = line.slope * withinLimits(tapeTo / 1e6);
  const covariance = { ...line.covariance, slope: line.covariance.slope + tape ** 2 };
  const [least, most] = [Math.min(...lengths), Math.max(...lengths)];
  const range: FoundRange = {
    constant: line.intercept,
    scale: line.slope,
    covariance: {
      constant: covariance.intercept,
      scale: covariance.slope,
      both: covariance.both,
    },
    ...{ freedom, least, most, from },
    ...(correction && { correction }),
  };
  const off = (x: number) => {
    const { y, uy } = predict({ ...line, covariance }, x);
    return { value: y - x, half: interval95(uy, freedom), n };
  };
  const { constant, scale } = halvesOf(range);
  const worst = consistent ? undefined : lengths[standsOut(points) ?? -1];
  return {
    figures: [
      figureOf(`Ranges too long by, at ${lengthWords(least)}`, off(least), 'm', limit),
      figureOf(`Ranges too long by, at ${lengthWords(most)}`, off(most), 'm', limit),
      { name: 'Additive constant', value: range.constant, half: constant, unit: 'm', n },
      {
        name: 'Scale, off from one',
        value: 1e6 * (range.scale - 1),
        half: 1e6 * scale,
        unit: 'ppm',
        n,
      },
    ],
    warnings: consistent
      ? []
      : [
          `The baselines do not lie on one line as well as tape and scatter explain, so the intervals were widened. ${worst === undefined ? 'Which of them is wrong does not show: tape them again, one more among them' : `The one of ${lengthWords(worst)} stands out most: tape it again`}, and look at what the beam hit there.`,
        ],
    found: [
      `Lengths count from ${from}, and the constant holds for that point alone.`,
      worthWriting(range)
        ? `A true length is the range ${range.constant < 0 ? 'plus' : 'less'} ${lengthWords(Math.abs(range.constant))}, over ${range.scale.toFixed(6)}, between ${lengthWords(least)} and ${lengthWords(most)}.`
        : 'Neither constant nor scale differs from nothing by more than its interval: there is nothing to correct.',
    ],
    range,
  };
}

/**
 * The point without which the others lie best on a line, where they do so clearly better than without any other: a point far
 * out bends the line to itself, so that its own residual may be smaller than those of its neighbours. χ² without another must
 * be greater by the 0.95 quantile for one degree of freedom, in units of what is left without this one where that is more
 * than chance: the uncertainties may be stated too small for all.
 */
function standsOut(points: readonly LinePoint[]): number | undefined {
  const left = points
    .flatMap((_, at) => {
      const outcome = fitLine(points.filter((_, i) => i !== at));
      return outcome.ok ? [{ at, line: outcome.line }] : [];
    })
    .sort((a, b) => a.line.chiSquare - b.line.chiSquare);
  const [best, next] = left;
  if (!best || !next) return undefined;
  const { chiSquare, freedom } = best.line;
  const unit = Math.max(1, chiSquare / Math.max(1, freedom));
  return next.line.chiSquare - chiSquare > unit * chiSquareQuantile(0.95, 1) ? best.at : undefined;
}

/**
 * What a range is off by no more, from what a check found, whatever the board adds now: a length, and what it changes by
 * where the found constant, or the found scale, is off by one. Nothing where the board has got or lost its settings since.
 */
export function lengthFrom(
  range: number,
  found: FoundRange,
  now: RangeCorrection | undefined,
): { length: number; byConstant: number; byScale: number } | undefined {
  if ((now === undefined) !== (found.correction === undefined)) return undefined;
  const then = found.correction;
  const measured = now ? (range - now.constant) / (1 + now.scale / 1e6) : range;
  const said = then ? measured * (1 + then.scale / 1e6) + then.constant : measured;
  const length = (said - found.constant) / found.scale;
  return { length, byConstant: -1 / found.scale, byScale: -length / found.scale };
}

const lengthWords = (metres: number): string => `${metres.toFixed(3).replace('-', '−')} m`;

const NO_LINE: Readonly<Record<LineFault, string>> = {
  not_finite: 'A length or a range is no number that a line could go through.',
  too_few: 'One baseline tells no line: take three or more, of unlike lengths.',
  exact_point: 'Ranges that err in nothing tell no line.',
  one_place: 'All baselines are equally long, so that constant and scale cannot be told apart.',
  no_convergence: 'No line was found: the ranges do not grow with the lengths.',
};
