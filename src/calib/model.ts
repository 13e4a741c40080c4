import {
  angles,
  dipOf,
  inverse,
  length,
  rotate,
  sightDirection,
  type Angles,
  type Mat3,
} from './geometry.ts';
import type { Mounting, Reading, Vec3 } from './reading.ts';

export type { Mat3 } from './geometry.ts';

/**
 * What a board applies to raw counts c, with u = c / scale:
 *
 *   s = u_acc − o     g = A (s + q∘s∘s)     b = B (u_mag − p)
 *
 * g is the direction down, b that of the field, in body axes, each of length one where all is well.
 */
export interface Coefficients {
  model: 'straight' | 'bowed';
  /** Counts that make u = 1. */
  accScale: number;
  magScale: number;
  o: Vec3;
  A: Mat3;
  p: Vec3;
  B: Mat3;
  /** Curvature; all zero in a straight model. */
  q: Vec3;
}

/** A reading seen through coefficients: calibrated vectors, angles (radians), lengths, dip. */
export interface Applied extends Angles {
  g: Vec3;
  b: Vec3;
  gravity: number;
  field: number;
  dip?: number;
}

/** Applies coefficients to raw counts. */
export function applyCoefficients(c: Coefficients, acc: Vec3, mag: Vec3): Applied {
  const s = acc.map((count, i) => count / c.accScale - c.o[i]!);
  const g = rotate(c.A, s.map((x, i) => x + c.q[i]! * x * x) as unknown as Vec3);
  const b = rotate(c.B, mag.map((count, i) => count / c.magScale - c.p[i]!) as unknown as Vec3);
  const dip = dipOf(g, b);
  return {
    g,
    b,
    gravity: length(g),
    field: length(b),
    ...(dip === undefined ? {} : { dip }),
    ...angles(g, b),
  };
}

/** Where a reading's sight points in the world (north, east, down), seen through coefficients. */
export function sightOf(
  { acc, mag }: Pick<Reading, 'acc' | 'mag'>,
  coefficients: Coefficients,
): Vec3 | undefined {
  const { g, b } = applyCoefficients(coefficients, acc, mag);
  return sightDirection(g, b);
}

/**
 * The inverse of t = s + q s²: s = 2t / (1 + √(1 + 4 q t)), good at q = 0 too.
 *
 * @returns undefined where the root is negative: no count of this chip means that t.
 */
export function straighten(t: number, q: number): number | undefined {
  const root = 1 + 4 * q * t;
  return root < 0 ? undefined : (2 * t) / (1 + Math.sqrt(root));
}

/**
 * Counts, not rounded, that read as the given vectors of down and field: the inverse of {@link applyCoefficients}.
 *
 * @returns undefined where the curvature leaves no such counts, or a matrix has no inverse
 */
export function countsReading(
  c: Coefficients,
  g: Vec3,
  b: Vec3,
): { acc: Vec3; mag: Vec3 } | undefined {
  const straight = rotate(inverse(c.A), g).map((t, i) => straighten(t, c.q[i]!));
  if (straight.some((s) => s === undefined)) return undefined;
  const u = rotate(inverse(c.B), b);
  const acc = straight.map((s, i) => (s! + c.o[i]!) * c.accScale) as unknown as Vec3;
  const mag = u.map((t, i) => (t + c.p[i]!) * c.magScale) as unknown as Vec3;
  return [...acc, ...mag].every(Number.isFinite) ? { acc, mag } : undefined;
}

/** The numbers of a set in the order in which boards and files keep them: scales, o, A, p, B and, if bowed, q. */
export function coefficientValues(c: Coefficients): number[] {
  const straight = [c.accScale, c.magScale, ...c.o, ...c.A, ...c.p, ...c.B];
  return c.model === 'bowed' ? [...straight, ...c.q] : straight;
}

/** The set that {@link coefficientValues} wrote: 26 values for a straight model, 29 for a bowed one. */
export function coefficientsFrom(
  model: 'straight' | 'bowed',
  values: readonly number[],
): Coefficients {
  const expected = model === 'bowed' ? 29 : 26;
  if (values.length !== expected) {
    throw new RangeError(`a ${model} set has ${expected} values, not ${values.length}`);
  }
  const vec = (from: number) => values.slice(from, from + 3) as unknown as Vec3;
  const mat = (from: number) => values.slice(from, from + 9) as unknown as Mat3;
  return {
    model,
    accScale: values[0]!,
    magScale: values[1]!,
    o: vec(2),
    A: mat(5),
    p: vec(14),
    B: mat(17),
    q: model === 'bowed' ? vec(26) : [0, 0, 0],
  };
}

/** Every number rounded to IEEE-754 binary32, as a board stores it: what is judged is what the board will do. */
export const asStored = (c: Coefficients): Coefficients =>
  coefficientsFrom(c.model, coefficientValues(c).map(Math.fround));

/**
 * The signed permutation that a mounting declares: row b has ±1 at the chip axis that lies along body axis b, so that
 * body vector = matrix × chip vector.
 *
 * @returns undefined where the text is not three different axes with signs, such as `+y-x+z`.
 */
export function mountingMatrix(mounting: Mounting): Mat3 | undefined {
  const parts = /^([+-][xyz])([+-][xyz])([+-][xyz])$/.exec(mounting);
  if (!parts || new Set(parts.slice(1).map((part) => part[1])).size !== 3) return undefined;
  const rows = parts.slice(1).flatMap((part) => {
    const row = [0, 0, 0];
    row['xyz'.indexOf(part[1]!)] = part[0] === '-' ? -1 : 1;
    return row;
  });
  return rows as unknown as Mat3;
}

/** All 48 ways a chip may sit: 24 turned and 24 mirrored axis orders. */
export const allMountings: readonly Mounting[] = ['xyz', 'xzy', 'yxz', 'yzx', 'zxy', 'zyx'].flatMap(
  (order) =>
    [0, 1, 2, 3, 4, 5, 6, 7].map((signs) =>
      [...order].map((axis, i) => (signs & (1 << i) ? '-' : '+') + axis).join(''),
    ),
);
