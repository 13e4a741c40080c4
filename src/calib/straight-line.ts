import { chiSquareProbability, chiSquareQuantile } from './quantiles.ts';

/**
 * The straight line y = intercept + slope · x through points that are uncertain in y, or in x and y, by weighted least
 * squares: York, Evensen, Martínez and Delgado (2004), Unified equations for the slope, intercept, and standard errors of
 * the best straight line, Am. J. Phys. 72, 367. It is the line of maximum likelihood for normal errors; where x is exact it
 * is the ordinary weighted line, and for independent errors that of ISO/TS 28037:2010, clauses 6 and 7. Units are those
 * of the points.
 */

/** A point, the standard uncertainties of its coordinates, and how far these go together. Points are independent. */
export interface LinePoint {
  x: number;
  y: number;
  /** 0 where x is exact. */
  ux: number;
  /** Above zero. Where y is exact and x is not, fit x over y instead. */
  uy: number;
  /** Correlation of the errors of x and y, from −1 to 1; 0 if absent. */
  correlation?: number;
}

export interface StraightLine {
  intercept: number;
  slope: number;
  covariance: LineCovariance;
  /** Sum of squared residuals over their variances, and its degrees of freedom: points less two. */
  chiSquare: number;
  freedom: number;
  /** Of each point, over its standard uncertainty. */
  residuals: readonly number[];
  stopped: LineStop;
}

/** Variances of intercept and slope, and their covariance. */
export interface LineCovariance {
  intercept: number;
  slope: number;
  both: number;
}

/** `direct`: x is exact, so one step gives the line. `converged`: the last step changed nothing that matters. */
export type LineStop = 'direct' | 'converged';

/**
 * Why there is no line.
 *
 * - `not_finite`: a number is none or infinite, an uncertainty negative, or a correlation not from −1 to 1
 * - `too_few`: fewer than two points
 * - `exact_point`: a point whose y is exact, so that its weight would have no bound
 * - `one_place`: all points stand at one x
 * - `no_convergence`: the steps came to no end, as where a line through the points would stand upright
 */
export type LineFault = 'not_finite' | 'too_few' | 'exact_point' | 'one_place' | 'no_convergence';

export type LineOutcome = { ok: true; line: StraightLine } | { ok: false; cause: LineFault };

const MOST_STEPS = 1000;
/** A step is the last when it is this part of the slope's standard error, or (rounding alone) of the slope. */
const LAST_STEP = { ofError: 1e-10, ofSlope: 1e-13 };

export function fitLine(points: readonly LinePoint[]): LineOutcome {
  const refuse = (cause: LineFault): LineOutcome => ({ ok: false, cause });
  if (!points.every(isSound)) return refuse('not_finite');
  if (points.length < 2) return refuse('too_few');
  if (points.some(({ uy }) => uy === 0)) return refuse('exact_point');
  const xs = points.map(({ x }) => x);
  const [least, most] = [Math.min(...xs), Math.max(...xs)];
  if (most - least <= 1e-12 * Math.max(Math.abs(least), Math.abs(most))) {
    return refuse('one_place');
  }
  const isDirect = points.every(({ ux }) => ux === 0);
  let slope = stepFrom(0, points.map(withExactX)).next;
  for (let step = 0; step < MOST_STEPS; step++) {
    const { next, error } = stepFrom(slope, points);
    if (!Number.isFinite(next) || !Number.isFinite(error)) break;
    const moved = Math.abs(next - slope);
    slope = next;
    if (moved <= Math.max(LAST_STEP.ofError * error, LAST_STEP.ofSlope * Math.abs(slope))) {
      const line = lineAlong(slope, points, isDirect ? 'direct' : 'converged');
      return { ok: true, line };
    }
  }
  return refuse('no_convergence');
}

function isSound({ x, y, ux, uy, correlation = 0 }: LinePoint): boolean {
  return [x, y, ux, uy].every(Number.isFinite) && ux >= 0 && uy >= 0 && Math.abs(correlation) <= 1;
}

const withExactX = (point: LinePoint): LinePoint => ({ ...point, ux: 0 });

/**
 * One step of the iteration, from a slope b: section III of the paper, with variances in the place of weights, so that x
 * may be exact. Per point W = 1 / (u_y² + b² u_x² − 2 b c), c the covariance; U and V are its distances from the weighted
 * means, β = W (U u_y² + b V u_x² − (b U + V) c), and the next slope is ΣWβV / ΣWβU.
 */
function stepFrom(b: number, points: readonly LinePoint[]) {
  const weights = points.map((point) => weightOf(point, b));
  const total = sum(weights, (w) => w);
  const x = sum(points, (point, i) => weights[i]! * point.x) / total;
  const y = sum(points, (point, i) => weights[i]! * point.y) / total;
  const betas = points.map((point, i) => {
    const { ux, uy } = point;
    const [u, v, c] = [point.x - x, point.y - y, covarianceOf(point)];
    return weights[i]! * (u * uy * uy + b * v * ux * ux - (b * u + v) * c);
  });
  const next =
    sum(points, (point, i) => weights[i]! * betas[i]! * (point.y - y)) /
    sum(points, (point, i) => weights[i]! * betas[i]! * (point.x - x));
  // abscissae of the adjusted points: their weighted mean, and the slope's standard error from how they are spread
  const beta = sum(betas, (each, i) => weights[i]! * each) / total;
  const spread = sum(betas, (each, i) => weights[i]! * (each - beta) ** 2);
  return { next, x, y, total, adjusted: x + beta, error: Math.sqrt(1 / spread) };
}

/** The line of a slope that the iteration has come to. */
function lineAlong(slope: number, points: readonly LinePoint[], stopped: LineStop): StraightLine {
  const { x, y, total, adjusted, error } = stepFrom(slope, points);
  const intercept = y - slope * x;
  const residuals = points.map(
    (point) => (point.y - intercept - slope * point.x) * Math.sqrt(weightOf(point, slope)),
  );
  const variance = error ** 2;
  return {
    intercept,
    slope,
    covariance: {
      intercept: 1 / total + adjusted ** 2 * variance,
      slope: variance,
      both: -adjusted * variance,
    },
    chiSquare: sum(residuals, (each) => each ** 2),
    freedom: points.length - 2,
    residuals,
    stopped,
  };
}

const covarianceOf = ({ ux, uy, correlation = 0 }: LinePoint): number => correlation * ux * uy;

const weightOf = (point: LinePoint, b: number): number =>
  1 / (point.uy ** 2 + b * b * point.ux ** 2 - 2 * b * covarianceOf(point));

function sum<T>(all: readonly T[], of: (each: T, i: number) => number): number {
  return all.reduce((total, each, i) => total + of(each, i), 0);
}

/**
 * Whether the points lie about the line as their stated uncertainties have it: χ² no greater than its 0.95 quantile
 * (ISO/TS 28037:2010, 6.3). Two points always do: `probability`, that chance makes χ² as great, is one there.
 */
export function consistency({ chiSquare, freedom }: StraightLine): {
  consistent: boolean;
  probability: number;
} {
  if (freedom < 1) return { consistent: true, probability: 1 };
  return {
    consistent: chiSquare <= chiSquareQuantile(0.95, freedom),
    probability: 1 - chiSquareProbability(chiSquare, freedom),
  };
}

/**
 * The same line where the stated uncertainties are right but for one factor, which the scatter of the points then tells:
 * variances times χ²/ν (GUM, H.3.2, where all are alike and stated as one). Needs three points.
 */
export function scaledByScatter(line: StraightLine): StraightLine {
  const factor = line.chiSquare / line.freedom;
  const { intercept, slope, both } = line.covariance;
  return {
    ...line,
    covariance: { intercept: intercept * factor, slope: slope * factor, both: both * factor },
  };
}

/** The line's y at an x that is known exactly, or with a standard uncertainty, and the standard uncertainty of that y. */
export function predict(
  { intercept, slope, covariance }: Pick<StraightLine, 'intercept' | 'slope' | 'covariance'>,
  x: number,
  ux = 0,
): { y: number; uy: number } {
  const variance =
    covariance.intercept + 2 * x * covariance.both + x * x * covariance.slope + (slope * ux) ** 2;
  return { y: intercept + slope * x, uy: Math.sqrt(Math.max(0, variance)) };
}
