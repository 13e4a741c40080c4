import type { Vec3 } from './reading.ts';

/**
 * Attitudes, directions and the angles a surveyor reads. Radians throughout.
 *
 * World axes: x to magnetic north, y east, z down. Body axes: x along the sight, y to the right, z down when held
 * upright. Azimuth α clockwise from north in [0, 2π), inclination β up positive in [−π/2, π/2], roll γ clockwise as
 * seen by the person aiming, in [0, 2π). Body to world: R = Rz(α) Ry(β) Rx(γ).
 */

/** 3×3 matrix, row by row. */
export type Mat3 = readonly [
  number,
  number,
  number,
  number,
  number,
  number,
  number,
  number,
  number,
];

export const dot = (a: Vec3, b: Vec3): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a: Vec3, b: Vec3): Vec3 => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
export const length = (a: Vec3): number => {
  const square = dot(a, a);
  // Math.hypot is several times slower, and needed only where squares leave the range of numbers
  return square > 1e-290 && square < 1e290 ? Math.sqrt(square) : Math.hypot(a[0], a[1], a[2]);
};
export const times = (a: Vec3, k: number): Vec3 => [a[0] * k, a[1] * k, a[2] * k];
export const plus = (a: Vec3, b: Vec3): Vec3 => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const unit = (a: Vec3): Vec3 => times(a, 1 / length(a));

export const rotate = (m: Mat3, v: Vec3): Vec3 => [
  m[0] * v[0] + m[1] * v[1] + m[2] * v[2],
  m[3] * v[0] + m[4] * v[1] + m[5] * v[2],
  m[6] * v[0] + m[7] * v[1] + m[8] * v[2],
];
export const transpose = (m: Mat3): Mat3 => [m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8]];
export const multiply = (a: Mat3, b: Mat3): Mat3 => {
  const [x, y, z] = [rotate(a, column(b, 0)), rotate(a, column(b, 1)), rotate(a, column(b, 2))];
  return [x[0], y[0], z[0], x[1], y[1], z[1], x[2], y[2], z[2]];
};
export const column = (m: Mat3, i: 0 | 1 | 2): Vec3 => [m[i], m[i + 3]!, m[i + 6]!];
export const determinant = (m: Mat3): number =>
  dot([m[0], m[1], m[2]], cross([m[3], m[4], m[5]], [m[6], m[7], m[8]]));

/** Inverse of a 3×3 matrix, by cofactors; entries are not finite where there is none. */
export function inverse(m: Mat3): Mat3 {
  const rows: Vec3[] = [
    [m[0], m[1], m[2]],
    [m[3], m[4], m[5]],
    [m[6], m[7], m[8]],
  ];
  const k = 1 / determinant(m);
  const [a, b, c] = [
    times(cross(rows[1]!, rows[2]!), k),
    times(cross(rows[2]!, rows[0]!), k),
    times(cross(rows[0]!, rows[1]!), k),
  ];
  return [a[0], b[0], c[0], a[1], b[1], c[1], a[2], b[2], c[2]];
}

const TURN = 2 * Math.PI;

/** The same angle in [0, 2π). */
export function wrap(angle: number): number {
  const turned = angle - TURN * Math.floor(angle / TURN);
  return turned < TURN ? turned : 0; // a tiny negative angle rounds up to a whole turn
}

/** Difference of two angles, in [−π, π). */
export const turn = (from: number, to: number): number => wrap(to - from + Math.PI) - Math.PI;

export const radians = (degrees: number): number => (degrees * Math.PI) / 180;
export const degrees = (radians: number): number => (radians * 180) / Math.PI;

/** Body-to-world rotation R = Rz(α) Ry(β) Rx(γ). */
export function attitude(azimuth: number, inclination: number, roll: number): Mat3 {
  const [ca, sa] = [Math.cos(azimuth), Math.sin(azimuth)];
  const [cb, sb] = [Math.cos(inclination), Math.sin(inclination)];
  const [cg, sg] = [Math.cos(roll), Math.sin(roll)];
  return [
    ca * cb,
    ca * sb * sg - sa * cg,
    ca * sb * cg + sa * sg,
    sa * cb,
    sa * sb * sg + ca * cg,
    sa * sb * cg - ca * sg,
    -sb,
    cb * sg,
    cb * cg,
  ];
}

/** The field's direction in the world at a dip, down positive. */
export const fieldDirection = (dip: number): Vec3 => [Math.cos(dip), 0, Math.sin(dip)];

/** Directions of down (g) and of the field (b) in the body, unit length, at an attitude and a dip. */
export function bodyVectors(
  azimuth: number,
  inclination: number,
  roll: number,
  dip: number,
): { g: Vec3; b: Vec3 } {
  const toBody = transpose(attitude(azimuth, inclination, roll));
  return { g: column(toBody, 2), b: rotate(toBody, fieldDirection(dip)) };
}

/** Why an angle has no meaning. */
export type NoAngle = 'not_finite' | 'zero_vector' | 'vertical_sight' | 'vertical_field';

/** The angles that have a meaning, and, where one is absent, the reason. Radians. */
export interface Angles {
  azimuth?: number;
  inclination?: number;
  roll?: number;
  reason?: NoAngle;
}

const finite = (v: Vec3): boolean =>
  Number.isFinite(v[0]) && Number.isFinite(v[1]) && Number.isFinite(v[2]);

/** Length under which a vector has no direction: one over it would leave the range of numbers. */
const SHORTEST = 1e-300;
const isZero = (v: Vec3): boolean => length(v) < SHORTEST;

/** Sine of the angle below which two directions count as parallel: far under any sensor, far over rounding. */
const PARALLEL = 1e-9;

/**
 * East and north in the body, from the directions of down and field; or why there are none.
 *
 * e = g × b, n = e × g, both of unit length.
 */
function horizontal(g: Vec3, b: Vec3): { down: Vec3; east: Vec3; north: Vec3 } | NoAngle {
  if (!finite(g) || !finite(b)) return 'not_finite';
  if (isZero(g) || isZero(b)) return 'zero_vector';
  const down = unit(g);
  const east = cross(down, unit(b));
  if (length(east) < PARALLEL) return 'vertical_field';
  const e = unit(east);
  return { down, east: e, north: cross(e, down) };
}

/**
 * Azimuth, inclination and roll from the directions of down (g) and field (b) in the body, of any length.
 *
 * β = asin(−gₓ), α = atan2(eₓ, nₓ), γ = atan2(g_y, g_z).
 */
export function angles(g: Vec3, b: Vec3): Angles {
  if (!finite(g) || !finite(b)) return { reason: 'not_finite' };
  if (isZero(g)) return { reason: 'zero_vector' };
  const down = unit(g);
  const level = Math.sqrt(down[1] * down[1] + down[2] * down[2]);
  // asin is flat near ±1; atan2 with the level part keeps its digits there
  const inclination = Math.atan2(-down[0], level);
  if (level < PARALLEL) return { inclination, reason: 'vertical_sight' };
  const roll = wrap(Math.atan2(down[1], down[2]));
  const axes = horizontal(g, b);
  if (typeof axes === 'string') return { inclination, roll, reason: axes };
  return { azimuth: wrap(Math.atan2(axes.east[0], axes.north[0])), inclination, roll };
}

/** The sight's direction in the world (north, east, down) as a unit vector: has a meaning for vertical sights too. */
export function sightDirection(g: Vec3, b: Vec3): Vec3 | undefined {
  const axes = horizontal(g, b);
  return typeof axes === 'string' ? undefined : [axes.north[0], axes.east[0], axes.down[0]];
}

/** Unit vector (north, east, down) towards an azimuth and inclination. */
export const direction = (azimuth: number, inclination: number): Vec3 => [
  Math.cos(azimuth) * Math.cos(inclination),
  Math.sin(azimuth) * Math.cos(inclination),
  -Math.sin(inclination),
];

/** Angle between two vectors, in [0, π], accurate for small and for nearly straight angles. */
export const angleBetween = (a: Vec3, b: Vec3): number =>
  Math.atan2(length(cross(a, b)), dot(a, b));

/** Dip of the field (down positive) as the two vectors show it: the angle between them, from the horizontal. */
export function dipOf(g: Vec3, b: Vec3): number | undefined {
  if (!finite(g) || !finite(b) || isZero(g) || isZero(b)) return undefined;
  return Math.PI / 2 - angleBetween(g, b);
}
