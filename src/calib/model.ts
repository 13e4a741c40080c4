import type { Vec3 } from './reading.ts';

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

/**
 * What a board applies to raw counts c, with u = c / scale:
 *
 *   s = u_acc − o     g = A (s + q∘s∘s)     b = B (u_mag − p)
 *
 * g is the direction down, b that of the field, in body axes, each of length one where all is well.
 */
export interface Coefficients {
  model: 'straight' | 'bowed';
  accScale: number;
  magScale: number;
  o: Vec3;
  A: Mat3;
  p: Vec3;
  B: Mat3;
  /** Curvature; all zero in a straight model. */
  q: Vec3;
}
