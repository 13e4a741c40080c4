import { column, inverse, length, times, transpose, unit, type Mat3 } from './geometry.ts';
import type { Vec3 } from './reading.ts';

/** How a chip sits in its housing: the rotation in what it does to vectors. Right-handed, radians. */

/**
 * The rotation R (with a mirror where D has one) of D = S R, S symmetric and positive definite, by R ← (R + R⁻ᵀ)/2, which
 * converges quadratically: Higham (1986), Computing the polar decomposition with applications, SIAM J. Sci. Stat.
 * Comput. 7. D must have an inverse.
 */
export function orthogonalPart(D: Mat3): Mat3 {
  let R = D;
  for (let round = 0; round < 100; round++) {
    const other = transpose(inverse(R));
    const next = R.map((value, i) => (value + other[i]!) / 2) as unknown as Mat3;
    const moved = Math.hypot(...next.map((value, i) => value - R[i]!));
    R = next;
    if (moved < 1e-15) break;
  }
  return R;
}

/**
 * The angle of the part of a rotation that turns about the sight, when the rest turns about an axis across it; zero
 * where the sight is turned end for end and there is no telling.
 */
export function turnAboutSight(R: Mat3): number {
  const [sine, cosine] = [R[7] - R[5], R[4] + R[8]];
  return Math.hypot(sine, cosine) < 1e-12 ? 0 : Math.atan2(sine, cosine);
}

export function aboutSight(angle: number): Mat3 {
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  return [1, 0, 0, 0, c, -s, 0, s, c];
}

/** How a chip turned in the housing (rotation vector) when the vectors that it shows turned by R: the other way. */
export function housingTurn(R: Mat3): Vec3 {
  const v: Vec3 = [(R[5] - R[7]) / 2, (R[6] - R[2]) / 2, (R[1] - R[3]) / 2];
  const sine = length(v);
  const cosine = (R[0] + R[4] + R[8] - 1) / 2;
  const angle = Math.atan2(sine, cosine);
  if (sine > 1e-6 || cosine > 0) return times(v, sine === 0 ? 1 : angle / sine);
  // half a turn: R + 1 = 2 a aᵀ, a the axis
  const columns = ([0, 1, 2] as const).map((i) => {
    const c = column(R, i);
    return [c[0] + +(i === 0), c[1] + +(i === 1), c[2] + +(i === 2)] as const;
  });
  return times(unit(columns.reduce((a, b) => (length(b) > length(a) ? b : a))), angle);
}
