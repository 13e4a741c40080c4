/**
 * Symmetric systems in typed arrays, row by row, nothing allocated: the arithmetic under the calibration problem. (A
 * matrix library allocates at every step, which here costs several times the arithmetic itself.)
 */

/** Subtracts XᵀX from the upper triangle of S; X has `rows` rows of `width`, from `base` on. */
export function subtractSquares(
  S: Float64Array,
  X: Float64Array,
  base: number,
  rows: number,
  width: number,
): void {
  for (let row = 0; row < rows; row++) {
    const at = base + row * width;
    for (let i = 0; i < width; i++) {
      const xi = X[at + i]!;
      if (xi === 0) continue;
      const s = i * width;
      for (let c = i; c < width; c++) S[s + c] = S[s + c]! - xi * X[at + c]!;
    }
  }
}

/** Factors S = LLᵀ: reads the upper triangle, writes L into the lower one; false where S is not positive definite. */
export function cholesky(S: Float64Array, n: number): boolean {
  for (let j = 0; j < n; j++) {
    for (let i = j; i < n; i++) {
      let sum = S[j * n + i]!;
      for (let k = 0; k < j; k++) sum -= S[i * n + k]! * S[j * n + k]!;
      if (i === j) {
        // what is left of a diagonal after elimination must stand above its own rounding
        if (!(sum > S[j * n + j]! * 1e-13)) return false;
        S[j * n + j] = Math.sqrt(sum);
      } else {
        S[i * n + j] = sum / S[j * n + j]!;
      }
    }
  }
  return true;
}

/** x ← L⁻¹ x */
export function substituteLower(L: Float64Array, x: Float64Array, n: number): void {
  for (let i = 0; i < n; i++) {
    let sum = x[i]!;
    for (let k = 0; k < i; k++) sum -= L[i * n + k]! * x[k]!;
    x[i] = sum / L[i * n + i]!;
  }
}

/** x ← L⁻ᵀ x */
export function substituteUpper(L: Float64Array, x: Float64Array, n: number): void {
  for (let i = n - 1; i >= 0; i--) {
    let sum = x[i]!;
    for (let k = i + 1; k < n; k++) sum -= L[k * n + i]! * x[k]!;
    x[i] = sum / L[i * n + i]!;
  }
}

/** Each of the rows x of X becomes L⁻¹ x, all together so that L is read once. */
export function forwardRows(L: Float64Array, X: Float64Array, rows: number, n: number): void {
  for (let i = 0; i < n; i++) {
    const diagonal = L[i * n + i]!;
    for (let row = 0; row < rows; row++) {
      const at = row * n;
      let sum = X[at + i]!;
      for (let k = 0; k < i; k++) sum -= L[i * n + k]! * X[at + k]!;
      X[at + i] = sum / diagonal;
    }
  }
}
