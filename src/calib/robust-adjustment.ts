import type { Estimated } from './check-course.ts';
import { holmAdjusted } from './holm.ts';
import type { Adjusted, AdjustmentDesign, Terms } from './least-squares-adjustment.ts';
import { interval95, fisherTail } from './quantiles.ts';
import {
  countsForScale,
  hampelWeight,
  huberWeight,
  medianScale,
  SCALE_EFFICIENCY,
  scaleOf,
  VARIANCE_FACTOR,
} from './robust-weights.ts';

/**
 * An adjustment with robust weights whose scale is found from the shots themselves, one for all instruments, but its own
 * for each that scatters more than the others. Values known beforehand keep their weight, which is not the shots' to
 * scale, and are never weighted down.
 */

/** One row of the design: a shot of an instrument, or (without one) a value known beforehand. */
export interface Weighed {
  value: number;
  /** As expected beforehand. */
  sigma: number;
  instrument?: string;
}

/** One instrument's own variance component: its standard deviation over the expected one. */
export interface OwnScale {
  ratio: number;
  /** Of that variance. */
  freedom: number;
  /** That of the others together, those left out that scatter more; absent without others. */
  others?: { ratio: number; freedom: number };
  /** Of no more scatter than the others: F-test, one-sided, by itself. */
  p?: number;
}

export interface RobustAdjustment {
  adjusted: Adjusted;
  /** Robust weights; one for what is known. */
  weights: number[];
  /** Weights of the rows in the solution: robust weight over variance. */
  rowWeights: number[];
  /** Standard deviation of each row, as scaled. */
  sigmas: number[];
  /** Residual over its own standard deviation; absent where redundancy is (nearly) nothing. */
  standardised: (number | undefined)[];
  redundancy: number[];
  /**
   * Standard deviation over the expected one, of the instruments that have none of their own; and the freedom of that
   * variance: infinite, and the ratio one, where nothing is redundant and the expected one is taken.
   */
  ratio: number;
  freedom: number;
  own: ReadonlyMap<string, OwnScale>;
  /** Instruments whose shots are weighted by a scale of their own. */
  apart: ReadonlySet<string>;
  iterations: number;
  converged: boolean;
  /** Value, standard error and interval of a function of the unknowns; undefined where it is not determined. */
  estimate(terms: Terms): Estimated | undefined;
}

/** Redundancy under which a residual says nothing of its shot. */
const BLIND = 0.01;
/** Likewise of a known value, whose sigma may be far under the noise of shots: what is left is no more than rounding. */
const BLIND_OF_KNOWN = 1e-6;
const isBlind = ({ instrument }: Weighed, redundancy: number): boolean =>
  redundancy < (instrument === undefined ? BLIND_OF_KNOWN : BLIND);
/** The scale never goes under this part of what was expected: shots without any noise are no reason to divide by it. */
const LEAST = 1e-4;
const LIMIT = 100;
/** Settled when unknowns change by less than this part of one shot's noise: for the first weights, for the last. */
const SETTLED = { first: 1e-3, last: 1e-6 };
/** Less redundancy than this, over all shots, tells nothing of noise: it is then taken as expected. */
const TOO_LITTLE = 0.5;

/** @returns undefined where the rows' weights are too far apart to solve */
export function adjustRobustly(
  design: AdjustmentDesign,
  rows: readonly Weighed[],
): RobustAdjustment | undefined {
  let apart: ReadonlyMap<string, number> = new Map();
  const instruments = new Set(rows.flatMap(({ instrument }) => instrument ?? []));
  for (;;) {
    const solved = solve(design, rows, apart);
    if (!solved) return undefined;
    const own = ownScales(rows, solved, apart);
    // the one that stands out most gets a scale of its own, then all is weighed anew
    const open = [...own].filter(([name, { p }]) => p !== undefined && !apart.has(name));
    const adjusted = holmAdjusted(open.map(([, { p }]) => p!));
    const worst = adjusted.indexOf(Math.min(...adjusted));
    const found = worst >= 0 && adjusted[worst] <= 0.05 && apart.size < instruments.size - 1;
    if (!found) return answer(design, rows, solved, own, apart);
    const next = new Map([...apart.keys()].map((name) => [name, own.get(name)!.ratio]));
    apart = next.set(open[worst][0], open[worst][1].ratio);
  }
}

interface Solved {
  adjusted: Adjusted;
  weights: number[];
  rowWeights: number[];
  sigmas: number[];
  /** Residuals over their own standard deviation as expected, not as scaled. */
  u: number[];
  redundancy: number[];
  ratio: number;
  iterations: number;
  converged: boolean;
}

function solve(
  design: AdjustmentDesign,
  rows: readonly Weighed[],
  apart: ReadonlyMap<string, number>,
): Solved | undefined {
  const values = rows.map(({ value }) => value);
  const least = Math.min(...rows.map(({ sigma }) => sigma));
  const isShot = rows.map(({ instrument }) => instrument !== undefined);
  const common = rows.map(({ instrument }) => instrument !== undefined && !apart.has(instrument));
  let weights = rows.map(() => 1);
  let ratio = 1;
  let before: Float64Array | undefined;
  let last: Omit<Solved, 'iterations' | 'converged'> | undefined;
  let isFinal = false;
  for (let iterations = 1; iterations <= LIMIT; iterations++) {
    const scales = rows.map(({ instrument }) =>
      instrument === undefined ? 1 : Math.max(LEAST, apart.get(instrument) ?? ratio),
    );
    const sigmas = rows.map(({ sigma }, j) => sigma * scales[j]);
    const rowWeights = rows.map((_, j) => weights[j] / sigmas[j] ** 2);
    const adjusted = design.solve(values, rowWeights);
    if (!adjusted) return undefined;
    const redundancy: number[] = [];
    const variances = adjusted.rowVariances();
    const u = rows.map((row, j) => {
      const q = variances[j] / sigmas[j] ** 2;
      const w = weights[j];
      // with weight one again for this row alone (Sherman and Morrison)
      redundancy.push(1 - q / (1 + (1 - w) * q));
      // variance of the residual where this row alone has weight w and all others have one
      const variance = 1 + q - 2 * w * q - w * (1 - w) * q * q;
      return isBlind(row, redundancy[j])
        ? 0
        : adjusted.residuals[j] / (row.sigma * Math.sqrt(variance));
    });
    last = { adjusted, weights, rowWeights, sigmas, u, redundancy, ratio };
    const change = before
      ? adjusted.x.reduce((most, x, i) => Math.max(most, Math.abs(x - before![i])), 0)
      : Infinity;
    before = adjusted.x;
    const enough = isFinal ? SETTLED.last : SETTLED.first;
    const settled = change <= enough * Math.max(LEAST, ratio) * least;
    if (settled && isFinal) return { ...last, iterations, converged: true };
    if (settled || iterations === LIMIT / 2) isFinal = true;
    const seen = rows.flatMap((_, j) => (common[j] && redundancy[j] >= BLIND ? [j] : []));
    const uSeen = seen.map((j) => u[j]);
    const parts = seen.map((j) => redundancy[j]);
    if (parts.reduce((sum, part) => sum + part, 0) >= TOO_LITTLE) {
      const found = isFinal ? scaleOf(uSeen, parts, ratio) : medianScale(uSeen);
      ratio = Math.max(LEAST, found);
    }
    weights = rows.map((_, j) => {
      if (!isShot[j] || redundancy[j] < BLIND) return 1;
      const scaled = u[j] / Math.max(LEAST, apart.get(rows[j].instrument!) ?? ratio);
      // a little is left to each, so that no unknown hangs in the air; its standard error then says what it is worth
      return isFinal ? Math.max(1e-4, hampelWeight(scaled)) : huberWeight(scaled);
    });
  }
  return { ...last!, iterations: LIMIT, converged: false };
}

/** Each instrument's own variance component, and how it compares. */
function ownScales(
  rows: readonly Weighed[],
  { u, redundancy }: Solved,
  apart: ReadonlyMap<string, number>,
): Map<string, OwnScale> {
  const byInstrument = new Map<string, number[]>();
  rows.forEach(({ instrument }, j) => {
    if (instrument === undefined || redundancy[j] < BLIND) return;
    byInstrument.set(instrument, [...(byInstrument.get(instrument) ?? []), j]);
  });
  const scaleOver = (members: readonly number[]) => {
    const sizes = members.map((j) => u[j]);
    const parts = members.map((j) => redundancy[j]);
    const ratio = Math.max(LEAST, scaleOf(sizes, parts, Math.max(LEAST, medianScale(sizes))));
    const counted = parts.filter((_, k) => countsForScale(sizes[k] / ratio));
    return { ratio, freedom: SCALE_EFFICIENCY * counted.reduce((sum, part) => sum + part, 0) };
  };
  return new Map(
    [...byInstrument].map(([instrument, members]) => {
      const own = scaleOver(members);
      const rest = [...byInstrument].flatMap(([name, others]) =>
        name === instrument || apart.has(name) ? [] : others,
      );
      if (rest.length === 0) return [instrument, own];
      const others = scaleOver(rest);
      if (own.freedom < 1 || others.freedom < 1) return [instrument, own];
      const p = fisherTail((own.ratio / others.ratio) ** 2, own.freedom, others.freedom);
      return [instrument, { ...own, others, p }];
    }),
  );
}

function answer(
  design: AdjustmentDesign,
  rows: readonly Weighed[],
  solved: Solved,
  own: ReadonlyMap<string, OwnScale>,
  apart: ReadonlyMap<string, number>,
): RobustAdjustment | undefined {
  const { u, redundancy, weights, ratio } = solved;
  const scaleFor = ({ instrument }: Weighed) =>
    instrument === undefined ? 1 : Math.max(LEAST, apart.get(instrument) ?? ratio);
  const sum = rows.reduce(
    (total, { instrument }, j) =>
      instrument !== undefined && !apart.has(instrument) && countsForScale(u[j] / ratio)
        ? total + redundancy[j]
        : total,
    0,
  );
  const freedom = sum < TOO_LITTLE ? Infinity : SCALE_EFFICIENCY * sum;
  // what robust weights cost in precision goes into the variance of shots alone, not into what is known
  const rowWeights = solved.rowWeights.map((weight, j) =>
    rows[j].instrument === undefined ? weight : weight / VARIANCE_FACTOR,
  );
  const values = rows.map(({ value }) => value);
  const adjusted = design.solve(values, rowWeights);
  if (!adjusted) return undefined;
  return {
    ...solved,
    adjusted,
    rowWeights,
    freedom,
    own,
    apart: new Set(apart.keys()),
    standardised: rows.map((row, j) =>
      isBlind(row, redundancy[j]) ? undefined : u[j] / scaleFor(row),
    ),
    weights: weights.map((weight, j) => (rows[j].instrument === undefined ? 1 : weight)),
    estimate(terms) {
      const variance = adjusted.varianceOf(terms);
      if (variance === undefined) return undefined;
      // Welch and Satterthwaite: GUM G.4.1, equation (G.2b); what is known beforehand has infinite freedom
      const shares = adjusted.sharesOf(terms);
      const parts = new Map<string, number>();
      rows.forEach(({ instrument }, j) => {
        if (instrument === undefined) return;
        const group = apart.has(instrument) ? instrument : '';
        parts.set(group, (parts.get(group) ?? 0) + shares[j]);
      });
      let scatter = 0;
      for (const [group, part] of parts) {
        if (part <= variance * 1e-9) continue;
        const known = apart.has(group) ? own.get(group)!.freedom : freedom;
        scatter += part ** 2 / Math.max(known, 1e-9);
      }
      const error = Math.sqrt(Math.max(0, variance));
      const ofAll = scatter > 0 ? variance ** 2 / scatter : Infinity;
      return {
        value: adjusted.valueOf(terms),
        error,
        freedom: ofAll,
        half: error === 0 ? 0 : interval95(error, ofAll),
      };
    },
  };
}
