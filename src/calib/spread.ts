import { angleBetween, length, plus, times } from './geometry.ts';
import type { Vec3 } from './reading.ts';

/** Statistics of directions on the sphere. R. A. Fisher (1953), Dispersion on a sphere, Proc. R. Soc. A 217. */
export interface DirectionStatistics {
  n: number;
  /** Mean direction, unit length. */
  mean: Vec3;
  /** Length of the sum of the unit vectors. */
  resultant: number;
  /** √(Σθ²/(n−1)), θ the angle to the mean direction, radians. Absent for n < 2. */
  spread?: number;
  /** Fisher's precision, (n−1)/(n−R). Absent for n < 2. */
  precision?: number;
  /** Half-angle of the cone that holds the true mean with 95 % probability, radians. Absent for n < 2. */
  confidence95?: number;
}

/** @returns undefined where there is no direction, or the directions cancel and have no mean */
export function directionStatistics(directions: readonly Vec3[]): DirectionStatistics | undefined {
  const n = directions.length;
  const sum = directions.reduce<Vec3>(plus, [0, 0, 0]);
  const resultant = length(sum);
  if (n === 0 || !(resultant > 1e-12 * n)) return undefined;
  const mean = times(sum, 1 / resultant);
  if (n < 2) return { n, mean, resultant };
  const squares = directions.reduce((total, d) => total + angleBetween(d, mean) ** 2, 0);
  const cosine = 1 - ((n - resultant) / resultant) * (20 ** (1 / (n - 1)) - 1);
  return {
    n,
    mean,
    resultant,
    spread: Math.sqrt(squares / (n - 1)),
    precision: (n - 1) / (n - resultant),
    confidence95: Math.acos(Math.max(-1, cosine)),
  };
}
