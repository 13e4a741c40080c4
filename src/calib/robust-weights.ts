/**
 * Robust weights for residuals u over their own standard deviation.
 *
 * - The first answer: Huber's weights min(1, k/|u|), k = 1.345 (95 % efficient where noise is normal). Huber 1981, Robust
 *   statistics, chapters 4 and 7. The sum they minimise is convex: the answer does not hang on where one begins.
 * - The last: Hampel's in three parts, 1 up to a, a/|u| up to b, then falling straight in |u| w to nothing at c; with
 *   a, b, c = 2, 4, 8. Hampel, Ronchetti, Rousseeuw and Stahel 1986, Robust statistics, section 2.6; those constants are
 *   customary (statsmodels and MASS have them as defaults). Nearly all noise has weight one; a gross error has none.
 * - The scale: first the median of |u| over 0.6745; then by Huber's second proposal, mean of min(u²/s², a²) as it is for
 *   normal noise (Huber 1981, section 6.4, there with k = a), over what lies within b.
 */

const [A, B, C] = [2, 4, 8];

export const huberWeight = (u: number): number => 1.345 / Math.max(1.345, Math.abs(u));

export function hampelWeight(u: number): number {
  const size = Math.abs(u);
  if (size <= A) return 1;
  if (size <= B) return A / size;
  return size < C ? (A * (C - size)) / ((C - B) * size) : 0;
}

/** Whether a residual counts for the scale. */
export const countsForScale = (u: number): boolean => Math.abs(u) <= B;

const density = (z: number) => Math.exp(-z * z * 0.5) / Math.sqrt(2 * Math.PI);
/** Probability that a normal number is larger than 2. */
const TAIL = 0.022750131948179;
const WITHIN = 1 - 2 * TAIL;
/** Means for normal z: of z² and z⁴ within a, of min(z², a²) and of its square. */
const SQUARE = WITHIN - 2 * A * density(A);
const FOURTH = 3 * WITHIN - 2 * (A ** 3 + 3 * A) * density(A);
const CLIPPED = SQUARE + 2 * TAIL * A ** 2;
const CLIPPED_SQUARED = FOURTH + 2 * TAIL * A ** 4;
/** Mean of Hampel's weight: ∫ a/z over the tail by E(1/z | z > 2) = 0.42876. */
const WEIGHT = WITHIN + 2 * TAIL * A * 0.42876;

/**
 * Degrees of freedom of a variance found by the second proposal, over those of the plain one: 2 over the variance of
 * log s², Huber 1981, section 6.4 (linearised); 0.885.
 */
export const SCALE_EFFICIENCY = (2 * SQUARE ** 2) / (CLIPPED_SQUARED - CLIPPED ** 2);

/**
 * Variance of the answer over s² N⁻¹, N the normal matrix with robust weights, for normal noise: E w E ψ² / (E ψ′)², Huber
 * 1981, section 7.6; 1.0035.
 */
export const VARIANCE_FACTOR = (WEIGHT * CLIPPED) / WITHIN ** 2;

/** Scale of residuals by their median: good to begin with, whatever up to half of them are. */
export function medianScale(u: readonly number[]): number {
  const sorted = u.map(Math.abs).sort((a, b) => a - b);
  const n = sorted.length;
  return n === 0 ? 0 : (sorted[(n - 1) >> 1] + sorted[n >> 1]) / 2 / 0.674489750196;
}

/**
 * Scale by Huber's second proposal.
 *
 * @param parts redundancy of each residual: by so much it counts
 * @param from where to begin; residuals beyond 4 times that do not count
 */
export function scaleOf(u: readonly number[], parts: readonly number[], from: number): number {
  const counted = u.flatMap((value, j) => (countsForScale(value / from) ? [j] : []));
  const wanted = CLIPPED * counted.reduce((sum, j) => sum + parts[j], 0);
  if (!(wanted > 0)) return from;
  let s = from;
  for (let round = 0; round < 60; round++) {
    const found = counted.reduce((sum, j) => sum + parts[j] * Math.min((u[j] / s) ** 2, A * A), 0);
    const next = s * Math.sqrt(found / wanted);
    const settled = Math.abs(next - s) <= 1e-10 * s;
    s = next;
    if (settled || s === 0) break;
  }
  return s;
}
