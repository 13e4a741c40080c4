/**
 * Symmetric systems in typed arrays, row by row, nothing allocated: the arithmetic under the calibration problem. (A
 * matrix library allocates at every step, which here costs several times the arithmetic itself.)
 */

/** Subtracts x xᵀ + y yᵀ from the upper triangle of S; the two rows stand in X from `x` and from `y` on. */
export function subtractSquares(
  S: Float64Array,
  X: Float64Array,
  x: number,
  y: number,
  width: number,
): void {
  for (let i = 0; i < width; i++) {
    const xi = X[x + i];
    const yi = X[y + i];
    const s = i * width;
    for (let c = i; c < width; c++) S[s + c] -= xi * X[x + c] + yi * X[y + c];
  }
}

/** Factors S = LLᵀ: reads the upper triangle, writes L into the lower one; false where S is not positive definite. */
export function cholesky(S: Float64Array, n: number): boolean {
  for (let j = 0; j < n; j++) {
    for (let i = j; i < n; i++) {
      let sum = S[j * n + i];
      for (let k = 0; k < j; k++) sum -= S[i * n + k] * S[j * n + k];
      if (i === j) {
        // what is left of a diagonal after elimination must stand above its own rounding
        if (!(sum > S[j * n + j] * 1e-13)) return false;
        S[j * n + j] = Math.sqrt(sum);
      } else {
        S[i * n + j] = sum / S[j * n + j];
      }
    }
  }
  return true;
}

/** x ← L⁻¹ x */
export function substituteLower(L: Float64Array, x: Float64Array, n: number): void {
  for (let i = 0; i < n; i++) {
    let sum = x[i];
    for (let k = 0; k < i; k++) sum -= L[i * n + k] * x[k];
    x[i] = sum / L[i * n + i];
  }
}

/** x ← L⁻ᵀ x */
export function substituteUpper(L: Float64Array, x: Float64Array, n: number): void {
  for (let i = n - 1; i >= 0; i--) {
    let sum = x[i];
    for (let k = i + 1; k < n; k++) sum -= L[k * n + i] * x[k];
    x[i] = sum / L[i * n + i];
  }
}

/** Each of the rows x of X becomes L⁻¹ x, all together so that L is read once. */
export function forwardRows(L: Float64Array, X: Float64Array, rows: number, n: number): void {
  for (let i = 0; i < n; i++) {
    const diagonal = L[i * n + i];
    for (let row = 0; row < rows; row++) {
      const at = row * n;
      let sum = X[at + i];
      for (let k = 0; k < i; k++) sum -= L[i * n + k] * X[at + k];
      X[at + i] = sum / diagonal;
    }
  }
}

/** (L Lᵀ)⁻¹ = L⁻ᵀ L⁻¹, whole. */
export function inverseOfFactored(L: Float64Array, n: number): Float64Array {
  // row i of M holds column i of L⁻¹, which begins at i
  const M = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    M[i * n + i] = 1 / L[i * n + i];
    for (let row = i + 1; row < n; row++) {
      let sum = 0;
      for (let k = i; k < row; k++) sum -= L[row * n + k] * M[i * n + k];
      M[i * n + row] = sum / L[row * n + row];
    }
  }
  const inverse = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let c = i; c < n; c++) {
      let sum = 0;
      for (let k = c; k < n; k++) sum += M[i * n + k] * M[c * n + k];
      inverse[i * n + c] = sum;
      inverse[c * n + i] = sum;
    }
  }
  return inverse;
}
