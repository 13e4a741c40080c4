import type { LeastSquaresProblem } from './solver.ts';

/**
 * A small least-squares problem with a dense Jacobian, for fits with a handful of unknowns and no structure to use.
 *
 * The damped step comes from a QR factorisation (Householder) of the Jacobian with √λ·D below it, D the norms of its
 * columns, so that the condition number is not squared. Golub and Van Loan, Matrix Computations, section 5.2.
 */
export class DenseProblem implements LeastSquaresProblem {
  /** The current point. */
  readonly x: Float64Array;
  readonly #step: Float64Array;
  readonly #tried: Float64Array;
  readonly #residuals: Float64Array;
  readonly #jacobian: Float64Array;
  // room for the factorisation
  readonly #a: Float64Array;
  readonly #b: Float64Array;
  #linearised = false;

  /**
   * @param start first guess of the n unknowns
   * @param count number of residuals, m
   * @param evaluate writes the m residuals at x and, where given room, the m×n Jacobian (row by row)
   */
  constructor(
    start: ArrayLike<number>,
    private readonly count: number,
    private readonly evaluate: (
      x: Float64Array,
      residuals: Float64Array,
      jacobian?: Float64Array,
    ) => void,
  ) {
    this.x = Float64Array.from(start);
    this.#step = new Float64Array(this.x.length);
    this.#tried = new Float64Array(this.x.length);
    this.#residuals = new Float64Array(count);
    this.#jacobian = new Float64Array(count * this.x.length);
    this.#a = new Float64Array((count + this.x.length) * this.x.length);
    this.#b = new Float64Array(count + this.x.length);
  }

  cost(): number {
    this.evaluate(this.x, this.#residuals);
    return halfSquares(this.#residuals);
  }

  solve(lambda: number): number {
    const m = this.count;
    const n = this.x.length;
    if (!this.#linearised) {
      this.evaluate(this.x, this.#residuals, this.#jacobian);
      this.#linearised = true;
    }
    const [a, b] = [this.#a, this.#b];
    a.fill(0, m * n);
    a.set(this.#jacobian);
    b.fill(0, m);
    for (let i = 0; i < m; i++) b[i] = -this.#residuals[i];
    const damping = new Float64Array(n);
    for (let j = 0; j < n; j++) {
      let square = 0;
      for (let i = 0; i < m; i++) square += a[i * n + j] ** 2;
      a[(m + j) * n + j] = Math.sqrt(lambda * square);
      damping[j] = lambda * square;
    }
    if (!solveLeastSquares(a, b, m + n, n, this.#step)) return NaN;

    // ½|r|² − ½|r + J s|² for the damped step s, without the difference (Moré 1978, The Levenberg–Marquardt algorithm)
    let predicted = 0;
    for (let i = 0; i < m; i++) {
      let row = 0;
      for (let j = 0; j < n; j++) row += this.#jacobian[i * n + j] * this.#step[j];
      predicted += (row * row) / 2;
    }
    for (let j = 0; j < n; j++) predicted += damping[j] * this.#step[j] ** 2;
    return predicted;
  }

  trial(): number {
    for (let j = 0; j < this.x.length; j++) this.#tried[j] = this.x[j] + this.#step[j];
    // the right side of the step is spent; its room serves for the residuals
    this.evaluate(this.#tried, this.#b);
    return halfSquares(this.#b.subarray(0, this.count));
  }

  accept(): void {
    this.x.set(this.#tried);
    this.#linearised = false;
  }
}

function halfSquares(values: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < values.length; i++) sum += values[i] * values[i];
  return sum / 2;
}

/** Minimises |a x − b| for an m×n matrix (both are overwritten); false where a column depends on the others. */
function solveLeastSquares(
  a: Float64Array,
  b: Float64Array,
  m: number,
  n: number,
  x: Float64Array,
): boolean {
  for (let k = 0; k < n; k++) {
    let square = 0;
    for (let i = k; i < m; i++) square += a[i * n + k] * a[i * n + k];
    const norm = Math.sqrt(square);
    if (!(norm > 0)) return false;
    const head = a[k * n + k];
    const alpha = head > 0 ? -norm : norm;
    const beta = 1 / (alpha * (alpha - head));
    a[k * n + k] = head - alpha;
    for (let j = k + 1; j < n; j++) {
      let sum = 0;
      for (let i = k; i < m; i++) sum += a[i * n + k] * a[i * n + j];
      sum *= beta;
      for (let i = k; i < m; i++) a[i * n + j] -= sum * a[i * n + k];
    }
    let sum = 0;
    for (let i = k; i < m; i++) sum += a[i * n + k] * b[i];
    sum *= beta;
    for (let i = k; i < m; i++) b[i] -= sum * a[i * n + k];
    x[k] = alpha; // the diagonal of R, kept here until it is needed
  }
  for (let k = n - 1; k >= 0; k--) {
    let sum = b[k];
    for (let j = k + 1; j < n; j++) sum -= a[k * n + j] * x[j];
    x[k] = sum / x[k];
  }
  return x.every(Number.isFinite);
}
