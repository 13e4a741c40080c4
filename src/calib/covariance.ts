import { DIP } from './residuals.ts';
import { attitude, inverse, type Mat3 } from './geometry.ts';
import type { Vec3 } from './reading.ts';

/**
 * What the covariance of the forward parameters means for the angles a surveyor reads. Plain data: it can be kept and
 * sent. Radians.
 */
export interface Uncertainty {
  /** Root mean square standard error of azimuth × cos inclination over {@link attitudesEverywhere}. */
  azimuth: number;
  /** The same for inclination. */
  inclination: number;
  /**
   * Degrees of freedom with which the two are known, for the width of intervals: by Satterthwaite (1946), An approximate
   * distribution of estimates of variance components, from how much each kind of noise adds. Infinite where the noise
   * was not found from readings but known.
   */
  freedom: AngleErrors;
  /** Forward parameters θ as in calibration-problem.ts, and their covariance (row by row). */
  theta: readonly number[];
  covariance: readonly number[];
}

/** A figure each for azimuth × cos inclination and for inclination. */
export interface AngleErrors {
  azimuth: number;
  inclination: number;
}

/** How much one kind of noise adds to a variance, and with what redundancy that noise was found. */
export interface NoiseShare {
  part: number;
  redundancy: number;
}

/**
 * Builds an {@link Uncertainty}.
 *
 * @param covariance width × width, of θ
 * @param shares splits tr(X N), N the reduced normal matrix, by the kinds of noise that were found from the readings;
 * absent where the noise is known
 */
export function uncertaintyFrom(
  theta: Float64Array,
  covariance: Float64Array,
  shares: (X: Float64Array) => readonly NoiseShare[] = () => [],
): Uncertainty {
  const width = theta.length;
  const squares = meanSquares([...theta]);
  const figures = (['azimuth', 'inclination'] as const).map((angle) => {
    // mean variance tr(R C), R the mean square of the derivatives; each noise's part of it tr(C R C N)
    const variance = traceOf(squares[angle], covariance);
    const response = sandwich(covariance, squares[angle], width);
    const scatter = shares(response).reduce(
      (sum, { part, redundancy }) => sum + part ** 2 / Math.max(1, redundancy),
      0,
    );
    return { error: Math.sqrt(Math.max(0, variance)), freedom: variance ** 2 / scatter };
  });
  return {
    azimuth: figures[0].error,
    inclination: figures[1].error,
    freedom: { azimuth: figures[0].freedom, inclination: figures[1].freedom },
    theta: [...theta],
    covariance: [...covariance],
  };
}

/**
 * The matrices M with tr(M C) = the mean over {@link attitudesEverywhere} of the variance of azimuth × cos inclination,
 * and of inclination, C the covariance of θ: mean squares of the derivatives by θ. Width × width.
 */
export function meanSquares(
  theta: readonly number[],
): Record<'azimuth' | 'inclination', Float64Array> {
  const width = theta.length;
  const bowed = width > DIP + 1;
  const squares = {
    azimuth: new Float64Array(width * width),
    inclination: new Float64Array(width * width),
  };
  const rowsAt = derivatives(theta);
  const all = everywhere();
  for (const attitude of all) {
    const rows = rowsAt(attitude);
    // nothing depends on the dip, and no inclination on the magnetometer: in a straight model they end the row
    addSquare(squares.azimuth, rows.azimuth, bowed ? width : DIP);
    addSquare(squares.inclination, rows.inclination, bowed ? width : DIP / 2);
  }
  for (const square of [squares.azimuth, squares.inclination]) {
    for (let i = 0; i < width; i++) {
      for (let c = i; c < width; c++) {
        square[i * width + c] /= all.length;
        square[c * width + i] = square[i * width + c];
      }
    }
  }
  return squares;
}

/** Adds v vᵀ, of the first `end` entries of v, to the upper triangle: four columns at a time, for speed. */
function addSquare(m: Float64Array, v: Float64Array, end: number): void {
  for (let i = 0; i < end; i++) {
    const vi = v[i];
    const row = i * v.length;
    for (let c = i - (i % 4); c < end; c += 4) {
      m[row + c] += vi * v[c];
      m[row + c + 1] += vi * v[c + 1];
      m[row + c + 2] += vi * v[c + 2];
      m[row + c + 3] += vi * v[c + 3];
    }
  }
}

/** tr(M C) of two symmetric matrices. */
export function traceOf(M: Float64Array, C: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < M.length; i++) sum += M[i] * C[i];
  return sum;
}

/** C M C of symmetric n×n matrices; what is zero in M costs nothing. */
function sandwich(C: Float64Array, M: Float64Array, n: number): Float64Array {
  const left = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < n; k++) {
      const m = M[i * n + k];
      if (m === 0) continue;
      for (let c = 0; c < n; c++) left[i * n + c] += m * C[k * n + c];
    }
  }
  const whole = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < n; k++) {
      const value = C[i * n + k];
      for (let c = i; c < n; c++) whole[i * n + c] += value * left[k * n + c];
    }
    for (let c = i; c < n; c++) whole[c * n + i] = whole[i * n + c];
  }
  return whole;
}

/**
 * Azimuth, inclination and roll of attitudes that stand for all: directions uniform by area on the sphere up to ±70° of
 * inclination (midpoints of equal steps in its sine). Five azimuths and five rolls give the exact mean: the derivatives
 * of the angles hold no more than twice either angle, their squares no more than four times.
 */
export function attitudesEverywhere(): [azimuth: number, inclination: number, roll: number][] {
  const top = Math.sin((70 * Math.PI) / 180);
  const steps = (n: number) => Array.from({ length: n }, (_, i) => (i + 0.5) / n);
  return steps(8).flatMap((s) =>
    steps(5).flatMap((a) =>
      steps(5).map((r): [number, number, number] => [
        2 * Math.PI * a,
        Math.asin(top * (2 * s - 1)),
        2 * Math.PI * r,
      ]),
    ),
  );
}

/** The same as rotations; made when they are first asked for, as a page that only lists boards never does. */
const everywhere = (): readonly Mat3[] =>
  (rotationsEverywhere ??= attitudesEverywhere().map((angles) => attitude(...angles)));
let rotationsEverywhere: readonly Mat3[] | undefined;

/** Standard errors at one attitude, as the coefficients' covariance has them (a reading's own noise comes on top). */
export function standardErrors(
  { theta, covariance }: Pick<Uncertainty, 'theta' | 'covariance'>,
  azimuth: number,
  inclination: number,
  roll: number,
): AngleErrors {
  const rows = derivatives(theta)(attitude(azimuth, inclination, roll));
  return {
    azimuth: rowError(rows.azimuth, covariance),
    inclination: rowError(rows.inclination, covariance),
  };
}

/** Standard error of what has this row of derivatives by θ. */
function rowError(row: Float64Array, covariance: readonly number[]): number {
  let variance = 0;
  for (let i = 0; i < row.length; i++) {
    let sum = 0;
    for (let c = 0; c < row.length; c++) sum += covariance[i * row.length + c] * row[c];
    variance += sum * row[i];
  }
  return Math.sqrt(Math.max(0, variance));
}

/** One angle at one attitude, as a part of a weighted sum. Radians. */
export interface AngleTerm {
  angle: 'azimuth' | 'inclination';
  weight: number;
  azimuth: number;
  inclination: number;
  roll: number;
}

/**
 * Standard error of a weighted sum of angles, azimuths being times the cosine of inclination, as the coefficients'
 * covariance has it: see {@link sumCovariance}.
 */
export const sumError = (
  uncertainty: Pick<Uncertainty, 'theta' | 'covariance'>,
  terms: readonly AngleTerm[],
): number => Math.sqrt(Math.max(0, sumCovariance(uncertainty, [terms])[0]![0]!));

/**
 * Covariance matrix of several such sums, row by row. Errors at different attitudes come from the same coefficients, so they
 * go together: what is alike in two of them is gone from their difference. ISO/IEC Guide 98-3 (GUM), 5.2.2, equation (13).
 */
export function sumCovariance(
  { theta, covariance }: Pick<Uncertainty, 'theta' | 'covariance'>,
  sums: readonly (readonly AngleTerm[])[],
): number[][] {
  const width = theta.length;
  const rowsAt = derivatives(theta);
  const rows = sums.map((terms) => {
    const sum = new Float64Array(width);
    for (const { angle, weight, azimuth, inclination, roll } of terms) {
      const row = rowsAt(attitude(azimuth, inclination, roll))[angle];
      for (let i = 0; i < width; i++) sum[i] += weight * row[i];
    }
    return sum;
  });
  const times = (a: Float64Array, b: Float64Array) => {
    let total = 0;
    for (let i = 0; i < width; i++) {
      for (let c = 0; c < width; c++) total += a[i] * covariance[i * width + c] * b[c];
    }
    return total;
  };
  return rows.map((a) => rows.map((b) => times(a, b)));
}

/** The same of azimuth × cos inclination alone, for many attitudes (body to world): not finite where azimuth has no meaning. */
export function azimuthErrors({
  theta,
  covariance,
}: Pick<Uncertainty, 'theta' | 'covariance'>): (R: Mat3) => number {
  const rowsAt = derivatives(theta);
  return (R) => rowError(rowsAt(R).azimuth, covariance);
}

/**
 * Derivatives by θ of azimuth × cos inclination and of inclination, as a function of the attitude R, body to world (each
 * call fills the same two rows).
 *
 * By the calibrated vectors, at unit g and b: β = asin(−gₓ), g of unit length, so that dβ = −(dgₓ − gₓ g·dg) / cos β.
 * With e = g × b and n = b − g (g·b), α = atan2(eₓ, nₓ) and dα = (nₓ deₓ − eₓ dnₓ) / (eₓ² + nₓ²), where
 * deₓ = (dg × b + g × db)ₓ and dnₓ = dbₓ − gₓ g·db − dgₓ g·b − gₓ dg·b, dg across g.
 *
 * By θ, with counts held: F g changes as F dg = −dF g − (1 + 2 q s) do + s² dq, and H b as H db = −dH b − dp.
 */
function derivatives(
  theta: readonly number[],
): (R: Mat3) => { azimuth: Float64Array; inclination: Float64Array } {
  const width = theta.length;
  const matrix = (from: number) =>
    [0, 4, 8].flatMap((i) => theta.slice(from + i, from + i + 3)) as unknown as Mat3;
  const F = matrix(0);
  const A = inverse(F);
  const B = inverse(matrix(12));
  const cosDip = Math.cos(theta[DIP]);
  const sinDip = Math.sin(theta[DIP]);
  const rows = { azimuth: new Float64Array(width), inclination: new Float64Array(width) };

  /** From the derivative v by a calibrated vector u to that by its sensor's part of θ, from `at` on: −(Tᵀ v) ⊗ (u, 1). */
  const fill = (
    row: Float64Array,
    at: number,
    T: Mat3,
    u: Vec3,
    v0: number,
    v1: number,
    v2: number,
  ) => {
    for (let i = 0; i < 3; i++) {
      const w = T[i] * v0 + T[3 + i] * v1 + T[6 + i] * v2;
      row[at + 4 * i] = -w * u[0];
      row[at + 4 * i + 1] = -w * u[1];
      row[at + 4 * i + 2] = -w * u[2];
      row[at + 4 * i + 3] = -w;
    }
  };
  /** What curvature changes in that of the accelerometer. */
  const bend = (row: Float64Array, g: Vec3) => {
    for (let i = 0; i < 3; i++) {
      const w = -row[4 * i + 3];
      const t = F[3 * i] * g[0] + F[3 * i + 1] * g[1] + F[3 * i + 2] * g[2];
      const root = Math.sqrt(1 + 4 * theta[DIP + 1 + i] * t);
      row[4 * i + 3] = -w * root;
      row[DIP + 1 + i] = w * ((2 * t) / (1 + root)) ** 2;
    }
  };
  return (R) => {
    const g: Vec3 = [R[6], R[7], R[8]];
    const b: Vec3 = [
      cosDip * R[0] + sinDip * R[6],
      cosDip * R[1] + sinDip * R[7],
      cosDip * R[2] + sinDip * R[8],
    ];
    const cosine = Math.sqrt(g[1] * g[1] + g[2] * g[2]);
    const ex = g[1] * b[2] - g[2] * b[1];
    const nx = b[0] - g[0] * sinDip;
    const k = cosine / (ex * ex + nx * nx);
    const n = k * nx;
    const e = k * ex;
    const eg = e * g[0];
    const v0 = e * sinDip + eg * b[0];
    const v1 = n * b[2] + eg * b[1];
    const v2 = eg * b[2] - n * b[1];
    const along = v0 * g[0] + v1 * g[1] + v2 * g[2];
    fill(rows.azimuth, 0, A, g, v0 - along * g[0], v1 - along * g[1], v2 - along * g[2]);
    fill(rows.azimuth, 12, B, b, eg * g[0] - e, eg * g[1] - n * g[2], eg * g[2] + n * g[1]);
    const slope = g[0] / cosine;
    fill(rows.inclination, 0, A, g, -cosine, slope * g[1], slope * g[2]);
    if (width > DIP + 1) {
      bend(rows.azimuth, g);
      bend(rows.inclination, g);
    }
    return rows;
  };
}
