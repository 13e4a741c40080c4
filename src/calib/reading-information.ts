import { CalibrationProblem, type NoiseScales } from './calibration-problem.ts';
import type { Mat3 } from './geometry.ts';

/**
 * What a reading at a given attitude tells about the forward parameters θ, before it is taken.
 *
 * The Jacobian of calibration-problem.ts depends on θ and the attitude but not on the counts, so what a reading will
 * tell is known beforehand. Of its six sensor residuals, with derivatives J by θ and D by its own attitude, an orthogonal
 * Q with Qᵀ D = (U over 0) makes
 *
 * - three that no attitude changes (lengths of the two vectors and the angle between them): N = the lower half of Qᵀ J,
 *   of unit variance;
 * - three that give the attitude, hence where the sight points: K θ, K = D_aim U⁻¹ (upper half of Qᵀ J) in radians along
 *   the tangent axes of the sighting, with covariance S = σ_aim² I + D_aim U⁻¹ U⁻ᵀ D_aimᵀ. The sighting's unknown direction τ is
 *   subtracted from it.
 *
 * Readings of one sighting share τ. To eliminate it is to compare each new K with the mean of those before it, weighted
 * by S⁻¹: a sighting of weight W = Σ S⁻¹ and mean K̄ = W⁻¹ Σ S⁻¹ K, joined by a reading, adds the rows K − K̄ with
 * covariance W⁻¹ + S. (The recursive form of weighted least squares; the sum over a sighting is that of the Schur
 * complement.) So the first reading of a sighting adds three rows, each further one five, and the covariance of θ changes
 * by that rank.
 */
export interface Told {
  /** Per reading five rows as wide as θ: three of N, two of K. */
  rows: Float64Array;
  /** Per reading the covariance S of its direction: xx, xy, yy, radians squared. */
  scatter: Float64Array;
}

/** Rows per reading. */
export const OWN = 3;
export const ROWS = 5;

/** Symmetric 2×2 matrix: xx, xy, yy. */
export type Sym2 = readonly [number, number, number];

export const inverseOf = ([xx, xy, yy]: Sym2): Sym2 => {
  const determinant = xx * yy - xy * xy;
  return [yy / determinant, -xy / determinant, xx / determinant];
};

export const scatterOf = ({ scatter }: Told, reading: number): Sym2 => [
  scatter[3 * reading]!,
  scatter[3 * reading + 1]!,
  scatter[3 * reading + 2]!,
];

/**
 * @param theta forward parameters, 25 or 28
 * @param lines body-to-world attitudes of the readings along each line
 * @returns for each line what its readings tell, in order
 */
export function tell(
  theta: readonly number[],
  noise: NoiseScales,
  lines: readonly (readonly Mat3[])[],
): Told[] {
  const attitudes = Float64Array.from(lines.flatMap((line) => line.flat()));
  const count = attitudes.length / 9;
  const problem = new CalibrationProblem(
    {
      count,
      acc: new Float64Array(3 * count),
      mag: new Float64Array(3 * count),
      sighting: Int32Array.from(lines.flatMap((line, k) => line.map(() => k))),
      sightings: lines.length,
    },
    Float64Array.from(theta),
    attitudes,
  );
  problem.noise = noise;
  let reading = 0;
  return lines.map((line) => {
    const told = {
      rows: new Float64Array(line.length * ROWS * theta.length),
      scatter: new Float64Array(line.length * 3),
    };
    line.forEach((_, j) => reduce(problem.jacobianOf(reading++).jacobian, theta.length, told, j));
    return told;
  });
}

/** Turns one reading's 8×(width+5) Jacobian (θ, δ, τ) into its rows and scatter. Overwrites the Jacobian. */
function reduce(J: Float64Array, width: number, { rows, scatter }: Told, reading: number): void {
  const wide = width + 5;
  const byDelta = (i: number, k: number) => J[i * wide + width + k]!;
  const v = new Float64Array(6);
  // Householder reflections make the sensors' part of D upper triangular
  for (let k = 0; k < 3; k++) {
    let squares = 0;
    for (let i = k; i < 6; i++) squares += byDelta(i, k) ** 2;
    const corner = byDelta(k, k) > 0 ? -Math.sqrt(squares) : Math.sqrt(squares);
    for (let i = k; i < 6; i++) v[i] = byDelta(i, k);
    v[k]! -= corner;
    const half = squares - corner * byDelta(k, k); // vᵀv / 2
    for (let c = 0; c < width + 3; c++) {
      let along = 0;
      for (let i = k; i < 6; i++) along += v[i]! * J[i * wide + c]!;
      for (let i = k; i < 6; i++) J[i * wide + c]! -= (along / half) * v[i]!;
    }
  }
  const base = reading * ROWS * width;
  for (let i = 0; i < OWN; i++) {
    rows.set(J.subarray((3 + i) * wide, (3 + i) * wide + width), base + i * width);
  }
  // D_aim U⁻¹, over the derivative by τ so that it is in radians
  const turns = [6, 7].map((row) => {
    const unit = J[row * wide + width + 3 + (row - 6)]!;
    const b0 = byDelta(row, 0) / unit / byDelta(0, 0);
    const b1 = (byDelta(row, 1) / unit - b0 * byDelta(0, 1)) / byDelta(1, 1);
    const b2 = (byDelta(row, 2) / unit - b0 * byDelta(0, 2) - b1 * byDelta(1, 2)) / byDelta(2, 2);
    const at = base + (OWN + row - 6) * width;
    for (let c = 0; c < width; c++) {
      rows[at + c] = b0 * J[c]! + b1 * J[wide + c]! + b2 * J[2 * wide + c]!;
    }
    return { b: [b0, b1, b2] as const, aim: 1 / unit ** 2 };
  });
  const product = (s: number, t: number) =>
    turns[s]!.b.reduce((sum, b, i) => sum + b * turns[t]!.b[i]!, 0);
  scatter.set(
    [turns[0]!.aim + product(0, 0), product(0, 1), turns[1]!.aim + product(1, 1)],
    reading * 3,
  );
}

/** What the readings taken along one line say together of its direction: the weight W and the mean K̄. */
export class Joined {
  count = 0;
  /** K̄, two rows as wide as θ. */
  readonly mean: Float64Array;
  #weight: Sym2 = [0, 0, 0];

  constructor(width: number) {
    this.mean = new Float64Array(2 * width);
  }

  /** W⁻¹, radians squared; only where the line has a reading. */
  get scatter(): Sym2 {
    return inverseOf(this.#weight);
  }

  /** The rows of unit variance that a reading would add: three for the first of a line, five for any other. */
  addition(told: Told, reading: number): Float64Array[] {
    const { mean } = this;
    const width = mean.length / 2;
    const base = reading * ROWS * width;
    const row = (i: number) => told.rows.subarray(base + i * width, base + (i + 1) * width);
    const added = [row(0), row(1), row(2)];
    if (this.count === 0) return added;
    const [sxx, sxy, syy] = this.scatter;
    const [xx, xy, yy] = scatterOf(told, reading);
    // the Cholesky factor of W⁻¹ + S makes them of unit variance
    const l00 = Math.sqrt(sxx + xx);
    const l10 = (sxy + xy) / l00;
    const l11 = Math.sqrt(syy + yy - l10 * l10);
    const [x, y] = [row(3).slice(), row(4).slice()];
    for (let c = 0; c < width; c++) {
      x[c] = (x[c]! - mean[c]!) / l00;
      y[c] = (y[c]! - mean[width + c]! - l10 * x[c]!) / l11;
    }
    return [...added, x, y];
  }

  /** Joins a reading; returns its {@link addition}. */
  join(told: Told, reading: number): Float64Array[] {
    const added = this.addition(told, reading);
    const { mean } = this;
    const width = mean.length / 2;
    const at = (reading * ROWS + OWN) * width;
    const [wxx, wxy, wyy] = this.#weight;
    const [oxx, oxy, oyy] = inverseOf(scatterOf(told, reading));
    this.#weight = [wxx + oxx, wxy + oxy, wyy + oyy];
    const [vxx, vxy, vyy] = this.scatter;
    for (let c = 0; c < width; c++) {
      const dx = told.rows[at + c]! - mean[c]!;
      const dy = told.rows[at + width + c]! - mean[width + c]!;
      const [px, py] = [oxx * dx + oxy * dy, oxy * dx + oyy * dy];
      mean[c]! += vxx * px + vxy * py;
      mean[width + c]! += vxy * px + vyy * py;
    }
    this.count += 1;
    return added;
  }
}

/** Lessens a covariance by rows of unit variance, one by one: C ← C − C x xᵀ C / (1 + xᵀ C x) (Sherman and Morrison). */
export function lessen(C: Float64Array, rows: readonly Float64Array[]): void {
  for (const x of rows) {
    const width = x.length;
    const y = new Float64Array(width);
    let size = 1;
    for (let i = 0; i < width; i++) {
      let sum = 0;
      for (let c = 0; c < width; c++) sum += C[i * width + c]! * x[c]!;
      y[i] = sum;
      size += sum * x[i]!;
    }
    for (let i = 0; i < width; i++) {
      const k = y[i]! / size;
      for (let c = 0; c < width; c++) C[i * width + c]! -= k * y[c]!;
    }
  }
}

/** Y S Yᵀ of rows Y and a symmetric S. */
export function gram(rows: Float64Array, S: Float64Array, width: number): Float64Array {
  const n = rows.length / width;
  const out = new Float64Array(n * n);
  const product = new Float64Array(width);
  for (let i = 0; i < n; i++) {
    for (let c = 0; c < width; c++) {
      let sum = 0;
      for (let k = 0; k < width; k++) sum += S[c * width + k]! * rows[i * width + k]!;
      product[c] = sum;
    }
    for (let j = 0; j <= i; j++) {
      let sum = 0;
      for (let k = 0; k < width; k++) sum += product[k]! * rows[j * width + k]!;
      out[i * n + j] = sum;
      out[j * n + i] = sum;
    }
  }
  return out;
}

/** tr(P⁻¹ T), P symmetric and positive definite, T symmetric; both n × n, both overwritten. */
export function traceOfQuotient(P: Float64Array, T: Float64Array, n: number): number {
  for (let j = 0; j < n; j++) {
    for (let i = j; i < n; i++) {
      let sum = P[i * n + j]!;
      for (let k = 0; k < j; k++) sum -= P[i * n + k]! * P[j * n + k]!;
      P[i * n + j] = i === j ? Math.sqrt(sum) : sum / P[j * n + j]!;
    }
  }
  // L⁻¹ T, then the diagonal of (L⁻¹ T) L⁻ᵀ
  let trace = 0;
  for (let i = 0; i < n; i++) {
    for (let c = 0; c < n; c++) {
      let sum = T[i * n + c]!;
      for (let k = 0; k < i; k++) sum -= P[i * n + k]! * T[k * n + c]!;
      T[i * n + c] = sum / P[i * n + i]!;
    }
  }
  for (let i = 0; i < n; i++) {
    for (let c = 0; c <= i; c++) {
      let sum = T[i * n + c]!;
      for (let k = 0; k < c; k++) sum -= P[c * n + k]! * T[i * n + k]!;
      T[i * n + c] = sum / P[c * n + c]!;
    }
    trace += T[i * n + i]!;
  }
  return trace;
}
