import type { Observations } from './residuals.ts';

/** Attitudes of readings and frames of sightings in typed arrays, nine numbers each, and how a step moves them. */

/** Frames of the sightings (rows d, P₀, P₁), each along the mean of its readings' sights. */
export function meanDirections(data: Observations, attitudes: Float64Array): Float64Array {
  const frames = new Float64Array(data.sightings * 9);
  for (let j = 0; j < data.count; j++) {
    const k = data.sighting[j]!;
    if (k < 0) continue;
    for (let c = 0; c < 3; c++) {
      frames[k * 9 + c] = frames[k * 9 + c]! + attitudes[j * 9 + 3 * c]!;
    }
  }
  for (let k = 0; k < data.sightings; k++) {
    const d = frames.subarray(k * 9, k * 9 + 3);
    const norm = Math.hypot(d[0]!, d[1]!, d[2]!) || 1;
    const [x, y, z] = [d[0]! / norm, d[1]! / norm, d[2]! / norm];
    // any axis not along d starts the tangent plane
    const [ax, ay, az] = Math.abs(z) < 0.9 ? [0, 0, 1] : [1, 0, 0];
    const along = ax * x + ay * y + az * z;
    const [px, py, pz] = [ax - along * x, ay - along * y, az - along * z];
    const p = Math.hypot(px, py, pz);
    const [p0, p1, p2] = [px / p, py / p, pz / p];
    frames.set([x, y, z, p0, p1, p2, y * p2 - z * p1, z * p0 - x * p2, x * p1 - y * p0], k * 9);
  }
  return frames;
}

/** Attitude j of `to` becomes that of `from`, turned in the body: R exp([δ]×). */
export function turnAttitude(
  from: Float64Array,
  to: Float64Array,
  j: number,
  d0: number,
  d1: number,
  d2: number,
): void {
  turnRows(from, to, j * 9, d0, d1, d2);
}

/** Frame k of `to` becomes that of `from`, its direction d moved towards d + τ₀P₀ + τ₁P₁ and the axes with it. */
export function turnFrame(
  from: Float64Array,
  to: Float64Array,
  k: number,
  t0: number,
  t1: number,
): void {
  const f = k * 9;
  // that rotation turns about d × Pτ = τ₀ P₁ − τ₁ P₀; the rows are the vectors that it turns, hence the other sign
  turnRows(
    from,
    to,
    f,
    t1 * from[f + 3] - t0 * from[f + 6],
    t1 * from[f + 4] - t0 * from[f + 7],
    t1 * from[f + 5] - t0 * from[f + 8],
  );
}

/** Three rows r from `at` on become r exp([v]×) = r + s r×v + c (r×v)×v (Rodrigues' formula). */
function turnRows(
  from: Float64Array,
  to: Float64Array,
  at: number,
  x: number,
  y: number,
  z: number,
): void {
  const angle2 = x * x + y * y + z * z;
  const angle = Math.sqrt(angle2);
  // sin(a)/a and (1 − cos a)/a², by series where division would lose digits
  const s = angle < 1e-4 ? 1 - angle2 / 6 : Math.sin(angle) / angle;
  const c = angle < 1e-4 ? 0.5 - angle2 / 24 : (1 - Math.cos(angle)) / angle2;
  for (let row = at; row < at + 9; row += 3) {
    const r0 = from[row];
    const r1 = from[row + 1];
    const r2 = from[row + 2];
    const p0 = r1 * z - r2 * y;
    const p1 = r2 * x - r0 * z;
    const p2 = r0 * y - r1 * x;
    to[row] = r0 + s * p0 + c * (p1 * z - p2 * y);
    to[row + 1] = r1 + s * p1 + c * (p2 * x - p0 * z);
    to[row + 2] = r2 + s * p2 + c * (p0 * y - p1 * x);
  }
}
