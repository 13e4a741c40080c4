/**
 * Quantiles of the distributions that intervals and tests need. Formula numbers are those of the NIST Digital Library
 * of Mathematical Functions (DLMF).
 */

/** Logarithm of Γ(x), x > 0, by Lanczos's approximation with g = 7 and nine terms; relative error about 1e-15. */
function logGamma(x: number): number {
  const c = [
    0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313,
    -176.61502916214059, 12.507343278686905, -0.13857109526572012, 9.9843695780195716e-6,
    1.5056327351493116e-7,
  ];
  if (x < 0.5) return Math.log(Math.PI / Math.sin(Math.PI * x)) - logGamma(1 - x);
  const t = x + 6.5;
  const sum = c.reduce((total, value, i) => total + (i === 0 ? value : value / (x - 1 + i)), 0);
  return 0.5 * Math.log(2 * Math.PI) + (x - 0.5) * Math.log(t) - t + Math.log(sum);
}

/** Evaluates a continued fraction 1/(1+ a₁/(1+ a₂/(1+ …))) from its terms, after Lentz. */
function continuedFraction(term: (k: number) => number): number {
  const tiny = 1e-300;
  let [value, c, d] = [1, 1, 0];
  for (let k = 1; k < 1000; k++) {
    const a = term(k);
    d = 1 / (1 + a * d || tiny);
    c = 1 + a / c || tiny;
    const change = c * d;
    value *= change;
    if (Math.abs(change - 1) < 1e-15) break;
  }
  return 1 / value;
}

/** Probability that χ² with `freedom` degrees is at most x: the lower regularised incomplete gamma function. */
export function chiSquareProbability(x: number, freedom: number): number {
  if (x <= 0) return 0;
  const a = freedom / 2;
  const z = x / 2;
  const front = Math.exp(a * Math.log(z) - z - logGamma(a));
  if (z < a + 1) {
    // DLMF 8.11.4
    let [term, sum] = [1 / a, 1 / a];
    for (let k = 1; k < 10_000 && term > sum * 1e-17; k++) {
      term *= z / (a + k);
      sum += term;
    }
    return front * sum;
  }
  // DLMF 8.9.2
  const upper = (front / z) * continuedFraction((k) => (k % 2 === 1 ? (k + 1) / 2 - a : k / 2) / z);
  return 1 - upper;
}

/** Regularised incomplete beta function I_x(a, b): DLMF 8.17.22. */
function beta(x: number, a: number, b: number): number {
  if (x <= 0) return 0;
  if (x >= 1) return 1;
  if (x > (a + 1) / (a + b + 2)) return 1 - beta(1 - x, b, a);
  const front = Math.exp(
    a * Math.log(x) + b * Math.log1p(-x) + logGamma(a + b) - logGamma(a) - logGamma(b),
  );
  const fraction = continuedFraction((k) => {
    const m = Math.floor(k / 2);
    return k % 2 === 0
      ? (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m))
      : (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
  });
  return (front / a) * fraction;
}

/** Probability that Student's t with `freedom` degrees is at most t. DLMF 8.17 (by way of the beta function). */
export function studentProbability(t: number, freedom: number): number {
  const tail = beta(freedom / (freedom + t * t), freedom / 2, 0.5) / 2;
  return t < 0 ? tail : 1 - tail;
}

/** Probability that Fisher's F with k and `freedom` degrees of freedom exceeds a value. DLMF 8.17 (by way of the beta function). */
export const fisherTail = (value: number, k: number, freedom: number): number =>
  beta(freedom / (freedom + k * Math.max(0, value)), freedom / 2, k / 2);

/** The x at which a rising probability reaches p, by halving: slow, and sure. */
function invert(probability: (x: number) => number, p: number, low: number, high: number): number {
  while (probability(high) < p) high *= 2;
  for (let i = 0; i < 200 && high - low > 1e-14 * Math.abs(high); i++) {
    const middle = (low + high) / 2;
    if (probability(middle) < p) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** Quantile of χ², 0 < p < 1. */
export const chiSquareQuantile = (p: number, freedom: number): number =>
  invert((x) => chiSquareProbability(x, freedom), p, 0, freedom + 1);

/** Quantile of Student's t, 0 < p < 1. */
export const studentQuantile = (p: number, freedom: number): number =>
  p < 0.5
    ? -studentQuantile(1 - p, freedom)
    : invert((t) => studentProbability(t, freedom), p, 0, 1);

/** Half-width of the interval that holds the truth with 95 % probability, from a standard error. */
export const interval95 = (standardError: number, freedom: number): number =>
  standardError * studentQuantile(0.975, Math.min(1e6, Math.max(1, freedom)));
