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
  /** Width × rank, row by row. */
  readonly #seen: Float64Array;
  /** Width × undetermined. */
  readonly #unseen: Matrix;
  readonly #start: Float64Array;
  /** Rows × rank: A E. */
  readonly #design: Float64Array;

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
    const conditionRows = dense(
      conditions.map(({ terms }) => terms),
      unknowns,
    );
    const held = split(conditionRows);
    const start = Matrix.zeros(unknowns, 1);
    if (conditions.length > 0) {
      // x₀ = Cᵀ(CCᵀ)⁺c, by the eigenvectors of CᵀC
      const c = Matrix.columnVector(conditions.map(({ value }) => value));
      const along = held.seen.transpose().mmul(conditionRows.transpose()).mmul(c);
      held.values.forEach((value, i) => along.set(i, 0, along.get(i, 0) / value));
      start.add(held.seen.mmul(along));
      const off = Matrix.sub(conditionRows.mmul(start), c);
      if (off.norm() > 1e-9 * Math.max(1, c.norm())) {
        throw new RangeError('the conditions contradict each other');
      }
    }
    const A = dense(rows, unknowns);
    const parts = split(A.mmul(held.unseen));
    const E = held.unseen.mmul(parts.seen);
    this.#unseen = held.unseen.mmul(parts.unseen);
    this.#start = Float64Array.from(start.to1DArray());
    this.#seen = Float64Array.from(E.to1DArray());
    this.#design = Float64Array.from(A.mmul(E).to1DArray());
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
    const { rank: r, rows } = this;
    const B = this.#design;
    const N = new Float64Array(r * r);
    const y = new Float64Array(r);
    const reduced = values.map(
      (value, j) => value - rows[j].reduce((sum, [i, k]) => sum + k * this.#start[i], 0),
    );
    for (let j = 0; j < rows.length; j++) {
      const at = j * r;
      for (let a = 0; a < r; a++) {
        const k = weights[j] * B[at + a];
        if (k === 0) continue;
        y[a] += k * reduced[j];
        for (let b = a; b < r; b++) N[a * r + b] += k * B[at + b];
      }
    }
    if (!cholesky(N, r)) return undefined;
    const Q = inverseOfFactored(N, r);
    const determined = new Float64Array(r);
    for (let a = 0; a < r; a++) {
      for (let b = 0; b < r; b++) determined[a] += Q[a * r + b] * y[b];
    }
    const x = this.#start.map((start, i) => {
      let sum = start;
      for (let a = 0; a < r; a++) sum += this.#seen[i * r + a] * determined[a];
      return sum;
    });
    return new Adjusted(this, x, Q, B, this.#seen, values, weights);
  }
}

/** A solved adjustment. Where not all is determined, `x` is one of the solutions. */
export class Adjusted {
  constructor(
    private readonly design: AdjustmentDesign,
    readonly x: Float64Array,
    private readonly Q: Float64Array,
    private readonly B: Float64Array,
    private readonly seen: Float64Array,
    values: readonly number[],
    private readonly weights: ArrayLike<number>,
  ) {
    this.residuals = values.map((value, j) => value - this.valueOf(design.rows[j]));
  }

  /** Observed less adjusted. */
  readonly residuals: readonly number[];

  /** Sum of squares of the residuals, weighted: vᵀPv. */
  get squares(): number {
    return this.residuals.reduce((sum, v, j) => sum + this.weights[j] * v * v, 0);
  }

  valueOf(terms: Terms): number {
    return terms.reduce((sum, [i, k]) => sum + k * this.x[i], 0);
  }

  /** Variance of a function of the unknowns, where weights are inverse variances; undefined where it is not determined. */
  varianceOf(terms: Terms): number | undefined {
    if (!this.design.determines(terms)) return undefined;
    const f = this.along(terms);
    return quadratic(this.Q, f, f);
  }

  /** Variance of an adjusted observation. */
  varianceOfRow(j: number): number {
    const r = this.design.rank;
    const row = this.B.subarray(j * r, (j + 1) * r);
    return quadratic(this.Q, row, row);
  }

  /** Splits the variance of a determined function of the unknowns by observations: how much each adds to it. */
  sharesOf(terms: Terms): Float64Array {
    const r = this.design.rank;
    const response = product(this.Q, this.along(terms));
    return Float64Array.from(this.design.rows, (_, j) => {
      let sum = 0;
      for (let a = 0; a < r; a++) sum += this.B[j * r + a] * response[a];
      return this.weights[j] * sum * sum;
    });
  }

  /** Covariance of all unknowns; undefined where any is not determined. */
  covariance(): number[][] | undefined {
    const n = this.design.unknowns;
    if (this.design.undetermined > 0) return undefined;
    const rows = Array.from({ length: n }, (_, i) => this.along([[i, 1]]));
    return rows.map((a) => {
      const half = product(this.Q, a);
      return rows.map((b) => b.reduce((sum, value, k) => sum + value * half[k], 0));
    });
  }

  /** Eᵀf */
  private along(terms: Terms): Float64Array {
    const r = this.design.rank;
    const f = new Float64Array(r);
    for (const [i, k] of terms) {
      for (let a = 0; a < r; a++) f[a] += k * this.seen[i * r + a];
    }
    return f;
  }
}

function product(Q: Float64Array, f: Float64Array): Float64Array {
  const r = f.length;
  const out = new Float64Array(r);
  for (let a = 0; a < r; a++) {
    for (let b = 0; b < r; b++) out[a] += Q[a * r + b] * f[b];
  }
  return out;
}

const quadratic = (Q: Float64Array, f: Float64Array, g: Float64Array): number =>
  product(Q, g).reduce((sum, value, a) => sum + f[a] * value, 0);

function dense(rows: readonly Terms[], width: number): Matrix {
  const matrix = Matrix.zeros(rows.length, width);
  rows.forEach((terms, j) => {
    for (const [i, k] of terms) matrix.set(j, i, matrix.get(j, i) + k);
  });
  return matrix;
}

/** The directions that M sees and those it does not, as orthonormal columns; and the eigenvalues of the first. */
function split(M: Matrix): { seen: Matrix; unseen: Matrix; values: number[] } {
  const n = M.columns;
  if (n === 0) return { seen: Matrix.zeros(0, 0), unseen: Matrix.zeros(0, 0), values: [] };
  if (M.rows === 0) return { seen: Matrix.zeros(n, 0), unseen: Matrix.eye(n), values: [] };
  const squares = M.transpose().mmul(M);
  const { realEigenvalues: values, eigenvectorMatrix } = new EigenvalueDecomposition(squares, {
    assumeSymmetric: true,
  });
  const most = Math.max(...values);
  const all = Array.from({ length: n }, (_, i) => i);
  const pick = (columns: number[]) =>
    columns.length === 0 ? Matrix.zeros(n, 0) : eigenvectorMatrix.subMatrixColumn(columns);
  const isSeen = (i: number) => most > 0 && values[i] > NOTHING * most;
  const seen = all.filter(isSeen);
  return {
    seen: pick(seen),
    unseen: pick(all.filter((i) => !isSeen(i))),
    values: seen.map((i) => values[i]),
  };
}
