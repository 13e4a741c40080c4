import { EigenvalueDecomposition, Matrix } from 'ml-matrix';
import { cholesky, inverseOfFactored } from './cholesky.ts';

/**
 * Weighted linear least squares for nets of observations, where the observations need not determine every unknown:
 * what they do not determine is worked out from the null space of the normal matrix, once for all weights.
 *
 * Observations l = A x + noise and exact conditions C x = c. All solutions of the conditions are x₀ + Z z, the columns of
 * Z a basis of the null space of C; of those directions the observations see E = Z V₁ and do not see G = Z V₀, V₁ and V₀
 * the eigenvectors of ZᵀAᵀAZ with eigenvalues above nothing, and of nothing. So x = x₀ + E y (+ any G g): the y are
 * always determined, and a function fᵀx of the unknowns is exactly where Gᵀf = 0. Meissl 1982, Least squares adjustment,
 * and Koch 1999, Parameter estimation and hypothesis testing in linear models, section 3.3 (estimable functions).
 */

/** A linear function of the unknowns: which, and by what factor. */
export type Terms = readonly (readonly [unknown: number, factor: number])[];

/** Eigenvalues under this part of the largest are none: those of a net's design are of order one. */
const NOTHING = 1e-10;

export class AdjustmentDesign {
  /** How many directions the unknowns can move in without a change to any observation or condition. */
  readonly undetermined: number;
  /** Number of determined directions. */
  readonly rank: number;
  /** E: unknowns × rank, row by row. */
  readonly #seen: Float64Array;
  /** G: unknowns × undetermined. */
  readonly #unseen: Matrix;
  readonly #start: Float64Array;

  /**
   * @param unknowns how many there are
   * @param rows one per observation
   * @throws RangeError where the conditions contradict each other
   */
  constructor(
    readonly unknowns: number,
    readonly rows: readonly Terms[],
    conditions: readonly { terms: Terms; value: number }[] = [],
  ) {
    const held = split(
      normal(
        unknowns,
        conditions.map(({ terms }) => terms),
      ),
    );
    const start = Matrix.zeros(unknowns, 1);
    if (conditions.length > 0) {
      // x₀ = (CᵀC)⁺ Cᵀc, by the eigenvectors of CᵀC
      const right = Matrix.zeros(unknowns, 1);
      for (const { terms, value } of conditions) {
        for (const [i, k] of terms) right.set(i, 0, right.get(i, 0) + k * value);
      }
      const along = held.seen.transpose().mmul(right);
      held.values.forEach((value, i) => along.set(i, 0, along.get(i, 0) / value));
      start.add(held.seen.mmul(along));
    }
    this.#start = Float64Array.from(start.to1DArray());
    const most = Math.max(1, ...conditions.map(({ value }) => Math.abs(value)));
    if (
      conditions.some(({ terms, value }) => Math.abs(sum(terms, this.#start) - value) > 1e-9 * most)
    ) {
      throw new RangeError('the conditions contradict each other');
    }
    const all = normal(unknowns, rows);
    const parts = split(held.unseen.transpose().mmul(all).mmul(held.unseen));
    const E = held.unseen.mmul(parts.seen);
    this.#unseen = held.unseen.mmul(parts.unseen);
    this.#seen = Float64Array.from(E.to1DArray());
    this.rank = E.columns;
    this.undetermined = this.#unseen.columns;
  }

  /** What moves of one unknown when all move as no observation sees; all noughts where it is determined by itself. */
  unseen(unknown: number): number[] {
    return this.#unseen.getRow(unknown);
  }

  /** Whether a function of the unknowns has one value only. */
  determines(terms: Terms): boolean {
    for (let g = 0; g < this.undetermined; g++) {
      const moved = terms.reduce((sum, [i, k]) => sum + k * this.#unseen.get(i, g), 0);
      if (Math.abs(moved) > 1e-7) return false;
    }
    return true;
  }

  /**
   * @param values of the observations
   * @param weights above nothing: one over the variance, times the robust weight where there is one
   * @returns undefined where weights are so far apart that the system cannot be solved
   */
  solve(values: readonly number[], weights: ArrayLike<number>): Adjusted | undefined {
    const { rank: r, rows, unknowns: n } = this;
    // rows name few unknowns each: the normal matrix is gathered in those, then turned into the seen directions
    const whole = new Float64Array(n * n);
    const right = new Float64Array(n);
    rows.forEach((terms, j) => {
      const value = values[j] - sum(terms, this.#start);
      for (const [i, k] of terms) {
        right[i] += weights[j] * k * value;
        for (const [c, l] of terms) whole[i * n + c] += weights[j] * k * l;
      }
    });
    const E = this.#seen;
    const half = new Float64Array(n * r);
    const N = new Float64Array(r * r);
    const y = new Float64Array(r);
    for (let i = 0; i < n; i++) {
      for (let c = 0; c < n; c++) {
        const k = whole[i * n + c];
        if (k === 0) continue;
        for (let a = 0; a < r; a++) half[i * r + a] += k * E[c * r + a];
      }
      for (let a = 0; a < r; a++) {
        const k = E[i * r + a];
        y[a] += k * right[i];
        for (let b = a; b < r; b++) N[a * r + b] += k * half[i * r + b];
      }
    }
    if (!cholesky(N, r)) return undefined;
    const Q = inverseOfFactored(N, r);
    // E Q Eᵀ: the covariance of whatever is determined
    const turned = new Float64Array(n * r);
    const spread = new Float64Array(n * n);
    for (let i = 0; i < n; i++) {
      for (let b = 0; b < r; b++) {
        const k = E[i * r + b];
        for (let a = 0; a < r; a++) turned[i * r + a] += k * Q[b * r + a];
      }
    }
    for (let i = 0; i < n; i++) {
      for (let c = 0; c <= i; c++) {
        let total = 0;
        for (let a = 0; a < r; a++) total += turned[i * r + a] * E[c * r + a];
        spread[i * n + c] = total;
        spread[c * n + i] = total;
      }
    }
    const x = this.#start.map((start, i) => {
      let total = start;
      for (let a = 0; a < r; a++) total += turned[i * r + a] * y[a];
      return total;
    });
    return new Adjusted(this, x, spread, values, weights);
  }
}

/** A solved adjustment. Where not all is determined, `x` is one of the solutions. */
export class Adjusted {
  constructor(
    private readonly design: AdjustmentDesign,
    readonly x: Float64Array,
    /** E Q Eᵀ: unknowns × unknowns. */
    private readonly spread: Float64Array,
    values: readonly number[],
    private readonly weights: ArrayLike<number>,
  ) {
    this.residuals = values.map((value, j) => value - sum(design.rows[j], x));
  }

  /** Observed less adjusted. */
  readonly residuals: readonly number[];

  /** Sum of squares of the residuals, weighted: vᵀPv. */
  get squares(): number {
    return this.residuals.reduce((total, v, j) => total + this.weights[j] * v * v, 0);
  }

  valueOf(terms: Terms): number {
    return sum(terms, this.x);
  }

  /** Variance of a function of the unknowns, where weights are inverse variances; undefined where it is not determined. */
  varianceOf(terms: Terms): number | undefined {
    return this.design.determines(terms) ? this.#variance(terms) : undefined;
  }

  /** Variance of each adjusted observation. */
  rowVariances(): number[] {
    return this.design.rows.map((terms) => this.#variance(terms));
  }

  /** Splits the variance of a determined function of the unknowns by observations: how much each adds to it. */
  sharesOf(terms: Terms): Float64Array {
    const n = this.design.unknowns;
    const response = new Float64Array(n);
    for (const [i, k] of terms) {
      for (let c = 0; c < n; c++) response[c] += k * this.spread[i * n + c];
    }
    return Float64Array.from(
      this.design.rows,
      (row, j) => this.weights[j] * sum(row, response) ** 2,
    );
  }

  /** Covariance of all unknowns; undefined where any is not determined. */
  covariance(): number[][] | undefined {
    const n = this.design.unknowns;
    if (this.design.undetermined > 0) return undefined;
    return Array.from({ length: n }, (_, i) => [...this.spread.subarray(i * n, (i + 1) * n)]);
  }

  #variance(terms: Terms): number {
    const n = this.design.unknowns;
    let total = 0;
    for (const [i, k] of terms) {
      for (const [c, l] of terms) total += k * l * this.spread[i * n + c];
    }
    return total;
  }
}

function sum(terms: Terms, x: ArrayLike<number>): number {
  let total = 0;
  for (const [i, k] of terms) total += k * x[i];
  return total;
}

/** AᵀA, A's rows given by their terms. */
function normal(unknowns: number, rows: readonly Terms[]): Matrix {
  const matrix = Matrix.zeros(unknowns, unknowns);
  for (const terms of rows) {
    for (const [i, k] of terms) {
      for (const [c, l] of terms) matrix.set(i, c, matrix.get(i, c) + k * l);
    }
  }
  return matrix;
}

/** The directions that MᵀM sees and those it does not, as orthonormal columns; and the eigenvalues of the first. */
function split(squares: Matrix): { seen: Matrix; unseen: Matrix; values: number[] } {
  const n = squares.columns;
  if (n === 0) return { seen: Matrix.zeros(0, 0), unseen: Matrix.zeros(0, 0), values: [] };
  const { realEigenvalues: values, eigenvectorMatrix } = new EigenvalueDecomposition(squares, {
    assumeSymmetric: true,
  });
  const most = Math.max(...values);
  const isSeen = (i: number) => most > 0 && values[i] > NOTHING * most;
  const all = Array.from({ length: n }, (_, i) => i);
  const pick = (columns: number[]) =>
    columns.length === 0 ? Matrix.zeros(n, 0) : eigenvectorMatrix.subMatrixColumn(columns);
  const seen = all.filter(isSeen);
  return {
    seen: pick(seen),
    unseen: pick(all.filter((i) => !isSeen(i))),
    values: seen.map((i) => values[i]),
  };
}
