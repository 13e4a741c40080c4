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
  /** Redundancy: how many residuals more than unknowns, for the width of intervals. */
  freedom: number;
  /** Forward parameters θ as in calibration-problem.ts, and their covariance (row by row). */
  theta: readonly number[];
  covariance: readonly number[];
}

export interface AngleErrors {
  /** Of azimuth × cos inclination. */
  azimuth: number;
  inclination: number;
}

/** Builds an {@link Uncertainty}. @param covariance width × width, of θ */
export function uncertaintyFrom(
  theta: readonly number[],
  covariance: readonly number[],
  freedom: number,
): Uncertainty {
  const at = errorsBy(theta, covariance);
  const all = attitudesEverywhere();
  let [azimuth, inclination] = [0, 0];
  for (const [a, i, r] of all) {
    const errors = at(a, i, r);
    azimuth += errors.azimuth ** 2;
    inclination += errors.inclination ** 2;
  }
  return {
    azimuth: Math.sqrt(azimuth / all.length),
    inclination: Math.sqrt(inclination / all.length),
    freedom,
    theta,
    covariance,
  };
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
  return errorsBy(theta, covariance)(azimuth, inclination, roll);
}

/** Half-width of the interval that holds the truth with 95 % probability, from a standard error. */
export const interval95 = (standardError: number, freedom: number): number =>
  standardError * studentQuantile(0.975, Math.max(1, freedom));

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
 * The standard errors as a function of attitude. A derivative by the calibrated vectors becomes one by θ, with counts
 * held: F g changes as F dg = −dF g − (1 + 2 q s) do + s² dq, and H b as H db = −dH b − dp.
 */
function errorsBy(
  theta: readonly number[],
  covariance: readonly number[],
): (azimuth: number, inclination: number, roll: number) => AngleErrors {
  const width = theta.length;
  const bowed = width > DIP + 1;
  const C = Float64Array.from(covariance);
  const matrix = (from: number) =>
    [0, 4, 8].flatMap((i) => theta.slice(from + i, from + i + 3)) as unknown as Mat3;
  const F = matrix(0);
  const transposedA = transpose(inverse(F));
  const transposedB = transpose(inverse(matrix(12)));
  const row = new Float64Array(width);

  const size = (g: Vec3, b: Vec3, ofG: Vec3, ofB: Vec3): number => {
    const t = rotate(F, g);
    const wAcc = rotate(transposedA, ofG);
    const wMag = rotate(transposedB, ofB);
    for (let i = 0; i < 3; i++) {
      const q = bowed ? theta[DIP + 1 + i]! : 0;
      const root = Math.sqrt(1 + 4 * q * t[i]!);
      const s = (2 * t[i]!) / (1 + root);
      for (let c = 0; c < 3; c++) {
        row[4 * i + c] = -wAcc[i]! * g[c]!;
        row[12 + 4 * i + c] = -wMag[i]! * b[c]!;
      }
      row[4 * i + 3] = -wAcc[i]! * root;
      row[12 + 4 * i + 3] = -wMag[i]!;
      if (bowed) row[DIP + 1 + i] = wAcc[i]! * s * s;
    }
    let variance = 0;
    for (let i = 0; i < width; i++) {
      let sum = 0;
      for (let c = 0; c < width; c++) sum += C[i * width + c]! * row[c]!;
      variance += sum * row[i]!;
    }
    return Math.sqrt(Math.max(0, variance));
  };
  return (azimuth, inclination, roll) => {
    const { g, b } = bodyVectors(azimuth, inclination, roll, theta[DIP]!);
    const by = angleGradients(g, b);
    return {
      azimuth: size(g, b, by.azimuth.g, by.azimuth.b),
      inclination: size(g, b, by.inclination.g, [0, 0, 0]),
    };
  };
}
