import { DIP } from './calibration-problem.ts';
import { bodyVectors, cross, dot, inverse, rotate, transpose, type Mat3 } from './geometry.ts';
import type { Vec3 } from './reading.ts';
import { studentQuantile } from './quantiles.ts';

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
    const response = product(product(covariance, squares[angle], width), covariance, width);
    const scatter = shares(response).reduce(
      (sum, { part, redundancy }) => sum + part ** 2 / Math.max(1, redundancy),
      0,
    );
    return { error: Math.sqrt(Math.max(0, variance)), freedom: variance ** 2 / scatter };
  });
  return {
    azimuth: figures[0]!.error,
    inclination: figures[1]!.error,
    freedom: { azimuth: figures[0]!.freedom, inclination: figures[1]!.freedom },
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
  const size = theta.length ** 2;
  const squares = { azimuth: new Float64Array(size), inclination: new Float64Array(size) };
  const rowsAt = derivatives(theta);
  const all = attitudesEverywhere();
  for (const [a, i, r] of all) {
    const rows = rowsAt(a, i, r);
    addSquare(squares.azimuth, rows.azimuth, 1 / all.length);
    addSquare(squares.inclination, rows.inclination, 1 / all.length);
  }
  return squares;
}

/** Adds weight × v vᵀ. */
function addSquare(m: Float64Array, v: Float64Array, weight: number): void {
  const n = v.length;
  for (let i = 0; i < n; i++) {
    const vi = weight * v[i]!;
    if (vi === 0) continue;
    for (let c = 0; c < n; c++) m[i * n + c] = m[i * n + c]! + vi * v[c]!;
  }
}

/** tr(M C) of two symmetric matrices. */
export function traceOf(M: Float64Array, C: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < M.length; i++) sum += M[i]! * C[i]!;
  return sum;
}

function product(a: Float64Array, b: Float64Array, n: number): Float64Array {
  const m = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < n; k++) {
      const aik = a[i * n + k]!;
      if (aik === 0) continue;
      for (let c = 0; c < n; c++) m[i * n + c] = m[i * n + c]! + aik * b[k * n + c]!;
    }
  }
  return m;
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

/** Standard errors at one attitude, as the coefficients' covariance has them (a reading's own noise comes on top). */
export function standardErrors(
  { theta, covariance }: Pick<Uncertainty, 'theta' | 'covariance'>,
  azimuth: number,
  inclination: number,
  roll: number,
): AngleErrors {
  const rows = derivatives(theta)(azimuth, inclination, roll);
  const size = (row: Float64Array) => {
    let variance = 0;
    for (let i = 0; i < row.length; i++) {
      let sum = 0;
      for (let c = 0; c < row.length; c++) sum += covariance[i * row.length + c]! * row[c]!;
      variance += sum * row[i]!;
    }
    return Math.sqrt(Math.max(0, variance));
  };
  return { azimuth: size(rows.azimuth), inclination: size(rows.inclination) };
}

/** Half-width of the interval that holds the truth with 95 % probability, from a standard error. */
export const interval95 = (standardError: number, freedom: number): number =>
  standardError * studentQuantile(0.975, Math.min(1e6, Math.max(1, freedom)));

/**
 * Derivatives of azimuth × cos β and of inclination by the calibrated vectors, at unit g and b.
 *
 * β = asin(−gₓ), g of unit length: dβ = −(dgₓ − gₓ g·dg) / cos β. With e = g × b and n = b − g (g·b),
 * α = atan2(eₓ, nₓ) and dα = (nₓ deₓ − eₓ dnₓ) / (eₓ² + nₓ²).
 */
function angleGradients(
  g: Vec3,
  b: Vec3,
): { azimuth: { g: Vec3; b: Vec3 }; inclination: { g: Vec3 } } {
  const cosine = Math.hypot(g[1], g[2]);
  const gb = dot(g, b);
  const ex = g[1] * b[2] - g[2] * b[1];
  const nx = b[0] - g[0] * gb;
  const k = cosine / (ex * ex + nx * nx);
  const axes: Vec3[] = [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
  ];
  const byG = axes.map((axis) => {
    const along = dot(axis, g);
    const d = axis.map((value, i) => value - along * g[i]!) as unknown as Vec3;
    const dex = cross(d, b)[0];
    const dnx = -d[0] * gb - g[0] * dot(d, b);
    return { azimuth: k * (nx * dex - ex * dnx), inclination: -d[0] / cosine };
  });
  const byB = axes.map((axis) => {
    const dex = cross(g, axis)[0];
    const dnx = axis[0] - g[0] * dot(g, axis);
    return k * (nx * dex - ex * dnx);
  });
  return {
    azimuth: {
      g: byG.map((d) => d.azimuth) as unknown as Vec3,
      b: byB as unknown as Vec3,
    },
    inclination: { g: byG.map((d) => d.inclination) as unknown as Vec3 },
  };
}

/**
 * Derivatives by θ of azimuth × cos inclination and of inclination, as a function of attitude (each call fills the same
 * two rows). A derivative by the calibrated vectors becomes one by θ, with counts held: F g changes as
 * F dg = −dF g − (1 + 2 q s) do + s² dq, and H b as H db = −dH b − dp.
 */
function derivatives(
  theta: readonly number[],
): (
  azimuth: number,
  inclination: number,
  roll: number,
) => { azimuth: Float64Array; inclination: Float64Array } {
  const width = theta.length;
  const bowed = width > DIP + 1;
  const matrix = (from: number) =>
    [0, 4, 8].flatMap((i) => theta.slice(from + i, from + i + 3)) as unknown as Mat3;
  const F = matrix(0);
  const transposedA = transpose(inverse(F));
  const transposedB = transpose(inverse(matrix(12)));
  const rows = { azimuth: new Float64Array(width), inclination: new Float64Array(width) };

  const fill = (row: Float64Array, g: Vec3, b: Vec3, ofG: Vec3, ofB: Vec3): void => {
    const wAcc = rotate(transposedA, ofG);
    const wMag = rotate(transposedB, ofB);
    const t = bowed ? rotate(F, g) : undefined;
    for (let i = 0; i < 3; i++) {
      let root = 1;
      if (t) {
        const q = theta[DIP + 1 + i]!;
        root = Math.sqrt(1 + 4 * q * t[i]!);
        row[DIP + 1 + i] = wAcc[i]! * ((2 * t[i]!) / (1 + root)) ** 2;
      }
      for (let c = 0; c < 3; c++) {
        row[4 * i + c] = -wAcc[i]! * g[c]!;
        row[12 + 4 * i + c] = -wMag[i]! * b[c]!;
      }
      row[4 * i + 3] = -wAcc[i]! * root;
      row[12 + 4 * i + 3] = -wMag[i]!;
    }
  };
  return (azimuth, inclination, roll) => {
    const { g, b } = bodyVectors(azimuth, inclination, roll, theta[DIP]!);
    const by = angleGradients(g, b);
    fill(rows.azimuth, g, b, by.azimuth.g, by.azimuth.b);
    fill(rows.inclination, g, b, by.inclination.g, [0, 0, 0]);
    return rows;
  };
}
