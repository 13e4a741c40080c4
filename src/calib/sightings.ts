import {
  angleBetween,
  cross,
  dot,
  plus,
  rotate,
  times,
  transpose,
  multiply,
  unit,
} from './geometry.ts';
import type { Mat3 } from './geometry.ts';
import type { Vec3 } from './reading.ts';

/** Sightings found, not asked for: from the order of the readings and their attitudes, with no mounting assumed. */

/** Turns smaller than this say too little of their axis: 3 − trace of the rotation, for 20°. */
const LEAST_TURN = 2 * (1 - Math.cos(Math.PI / 9));
/** Axes this close count as one, and sights this close as one line: far over any aim, far under any re-aiming. */
const SAME = (5 * Math.PI) / 180;
/** Part of the turns that must share an axis, and their least number, before it is taken for the sight. */
const SUPPORT = 0.25;
const FEWEST = 5;
/** Axes that may stand for election; more would cost time and change nothing. */
const MOST_CANDIDATES = 200;

/**
 * Between two readings of one sighting the body turns about the sight and about nothing else, so the axis of most turns
 * from a reading to the next is the sight. Consecutive readings whose sight points the same way are one sighting,
 * however many there are; a line taken up again later is a new one.
 *
 * @param down unit vectors, one per reading in the order taken, in any frame fixed to the body, mirrored or not
 * @param fields the field in the same frame, or its opposite
 * @returns the axis in that frame (up to sign) and each reading's number of sighting, −1 for a reading alone; undefined
 * where no axis stands out
 */
export function findSightings(
  down: readonly Vec3[],
  fields: readonly Vec3[],
): { axis: Vec3; sighting: number[] } | undefined {
  const attitudes = down.map((g, j): Mat3 => {
    const east = unit(cross(g, fields[j]!));
    return [...cross(east, g), ...east, ...g] as unknown as Mat3;
  });
  const axes: Vec3[] = [];
  for (let j = 1; j < attitudes.length; j++) {
    const axis = axisOf(multiply(transpose(attitudes[j - 1]!), attitudes[j]!));
    if (axis) axes.push(axis);
  }
  const axis = commonest(axes);
  if (!axis) return undefined;

  const sighting: number[] = [];
  let number = 0;
  let sum: Vec3 | undefined;
  attitudes.forEach((attitude, j) => {
    const sight = rotate(attitude, axis);
    if (sum && angleBetween(sight, sum) < SAME) {
      sum = plus(sum, sight);
    } else {
      if (j > 0) number += 1;
      sum = sight;
    }
    sighting.push(number);
  });
  const sizes = new Map<number, number>();
  for (const k of sighting) sizes.set(k, (sizes.get(k) ?? 0) + 1);
  return { axis, sighting: sighting.map((k) => (sizes.get(k)! > 1 ? k : -1)) };
}

/** Axis of a rotation C, up to sign: C + Cᵀ + (1 − tr C) 1 = (3 − tr C) a aᵀ. Undefined for a small turn. */
function axisOf(C: Mat3): Vec3 | undefined {
  const trace = C[0] + C[4] + C[8];
  if (!(3 - trace > LEAST_TURN)) return undefined;
  const square = (i: number, c: number) =>
    C[i * 3 + c]! + C[c * 3 + i]! + (i === c ? 1 - trace : 0);
  const i = [0, 1, 2].reduce((a, b) => (square(b, b) > square(a, a) ? b : a));
  return unit([square(0, i), square(1, i), square(2, i)]);
}

/** The axis that most others share, up to sign, as the mean of those that do. */
function commonest(axes: readonly Vec3[]): Vec3 | undefined {
  const near = Math.cos(SAME);
  const sharing = (axis: Vec3) => axes.filter((other) => Math.abs(dot(axis, other)) > near);
  const stride = Math.max(1, Math.ceil(axes.length / MOST_CANDIDATES));
  let best: Vec3[] = [];
  for (let i = 0; i < axes.length; i += stride) {
    const shared = sharing(axes[i]!);
    if (shared.length > best.length) best = shared;
  }
  if (best.length < Math.max(FEWEST, SUPPORT * axes.length)) return undefined;
  const first = best[0]!;
  return unit(
    best.reduce<Vec3>(
      (sum, axis) => plus(sum, times(axis, Math.sign(dot(axis, first)))),
      [0, 0, 0],
    ),
  );
}
