import {
  attitude,
  determinant,
  inverse,
  length,
  multiply,
  plus,
  radians,
  rotate,
  times,
  transpose,
  type Mat3,
} from '../../calib/geometry.ts';
import { allMountings, mountingMatrix } from '../../calib/model.ts';
import type { Mounting, Vec3 } from '../../calib/reading.ts';
import type { AssemblyPose } from '../../records/entries.ts';
import { POSE } from './poses.ts';

/**
 * How a chip sits on its board, from its mean counts in poses that are known to some ten or twenty degrees. A chip axis can
 * lie along a body axis in 48 ways only, so this is no fit of angles: each way is tried with the scale, the offset and (for
 * the field) the direction that suit it best, and the one that leaves least stands. Vectors in units of the chip's declared scale.
 */

/** Mean of a chip in one pose. */
export interface PoseMean {
  pose: AssemblyPose;
  mean: Vec3;
}

export interface Sitting {
  mounting: Mounting;
  /** Length of what it measures, in units of its declared scale. */
  scale: number;
  /** In chip axes, units of its declared scale. */
  offset: Vec3;
  /** What it leaves in each pose, as a part of `scale`; and root mean square of all. */
  left: ReadonlyMap<AssemblyPose, number>;
  rms: number;
  /** The next best way of another kind leaves so much, of `scale`. */
  next: number;
}

export interface FieldSitting extends Sitting {
  /** The field in the world as the person faced it: x along the sight at rest, y to the right, z down; of length one. */
  field: Vec3;
  /** Which way it counts was told by the dip, and not by where the sight pointed. */
  byDip: boolean;
}

/** World to body. */
const toBody = (pose: AssemblyPose): Mat3 => {
  const { azimuth, inclination, roll } = POSE[pose];
  return transpose(attitude(radians(azimuth), radians(inclination), radians(roll)));
};
const WORLD_DOWN: Vec3 = [0, 0, 1];

/** Down in the body in that pose. */
export const downIn = (pose: AssemblyPose): Vec3 => rotate(toBody(pose), WORLD_DOWN);

/** How the accelerometer sits: it measures down, which every pose names. Undefined with too few poses. */
export function accelerometerSits(means: readonly PoseMean[]): Sitting | undefined {
  return sits(means, (pose) => {
    const [x, y, z] = downIn(pose);
    return [x, 0, 0, y, 0, 0, z, 0, 0];
  });
}

/**
 * How the magnetometer sits. The field in the world is not known, so a chip that counts against it on all axes at once looks
 * like one in the opposite field. Of two such ways the one is taken whose field points down or up as it does here, where
 * that is known and the field is not level; else by which it has a part towards north, where the sight points at rest.
 */
export function magnetometerSits(
  means: readonly PoseMean[],
  dipSign?: 1 | -1,
): FieldSitting | undefined {
  const found = sits(means, toBody);
  if (!found) return undefined;
  const { field } = found;
  const byDip = dipSign !== undefined && Math.abs(field[2]) > STEEP;
  const isRight = byDip ? field[2] * dipSign > 0 : field[0] >= 0;
  if (isRight) return { ...found, field, byDip };
  return { ...found, mounting: opposite(found.mounting), field: times(field, -1), byDip };
}
/** The upright part of a field, of the whole, whose sign is sure: turns by hand and an offset blur it. */
const STEEP = 0.3;

/** The same chip, counting the other way on every axis. */
export const opposite = (mounting: Mounting): Mounting =>
  mounting.replaceAll(/[+-]/g, (sign) => (sign === '+' ? '-' : '+'));

/** Poses fewer than these do not tell the 48 ways apart. */
const LEAST = 5;
const MOUNTINGS = allMountings.map((mounting) => ({ mounting, matrix: mountingMatrix(mounting)! }));

/**
 * For every mounting the least squares of mean = chip axes of (design(pose) · x) + offset over x and offset, in units of
 * the chip's scale.
 */
function sits(
  means: readonly PoseMean[],
  design: (pose: AssemblyPose) => Mat3,
): (Sitting & { field: Vec3 }) | undefined {
  if (means.length < LEAST) return undefined;
  const n = means.length;
  const designs = means.map(({ pose }) => design(pose));
  const middle = scaled(sum(designs), 1 / n);
  const centred = designs.map((each) => sum([each, scaled(middle, -1)]));
  const normal = sum(centred.map((each) => multiply(transpose(each), each)));
  // where only one number is sought, what it does not touch is left at nothing
  const solved = inverse(isSingle(normal) ? sum([normal, ONLY_FIRST]) : normal);
  const tried = MOUNTINGS.map(({ mounting, matrix }) => {
    const bodies = means.map(({ mean }) => rotate(matrix, mean));
    const centre = times(bodies.reduce(plus), 1 / n);
    const right = centred
      .map((each, i) => rotate(transpose(each), minus(bodies[i]!, centre)))
      .reduce(plus);
    const x = rotate(solved, right);
    const residuals = centred.map((each, i) => minus(minus(bodies[i]!, centre), rotate(each, x)));
    const squares = residuals.reduce((total, each) => total + length(each) ** 2, 0);
    return { mounting, matrix, x, residuals, squares, centre };
  }).filter(({ x }) => !isSingle(normal) || x[0] > 0);
  const [best, ...others] = tried.sort((a, b) => a.squares - b.squares);
  if (!best) return undefined;
  const second = others.find(
    ({ mounting }) => isSingle(normal) || mounting !== opposite(best.mounting),
  );
  const scale = length(best.x);
  const rms = (squares: number) => Math.sqrt(squares / n) / scale;
  const offset = minus(best.centre, rotate(middle, best.x));
  return {
    mounting: best.mounting,
    scale,
    offset: rotate(transpose(best.matrix), offset),
    left: new Map(means.map(({ pose }, i) => [pose, length(best.residuals[i]!) / scale] as const)),
    rms: rms(best.squares),
    next: rms(second?.squares ?? Infinity),
    field: times(best.x, 1 / scale),
  };
}

const ONLY_FIRST: Mat3 = [0, 0, 0, 0, 1, 0, 0, 0, 1];
const isSingle = (normal: Mat3): boolean => normal[4] === 0 && normal[8] === 0;
const minus = (a: Vec3, b: Vec3): Vec3 => plus(a, times(b, -1));
const sum = (all: readonly Mat3[]): Mat3 =>
  all.reduce((a, b) => a.map((value, i) => value + b[i]!) as unknown as Mat3);
const scaled = (m: Mat3, k: number): Mat3 => m.map((value) => value * k) as unknown as Mat3;

/** How a chip sits otherwise than declared, in the body's axes. */
export type Otherwise =
  | { how: 'as declared' }
  /** `about`: the body axis it is turned about, 0 for the sight; absent where it is none of the three. */
  | { how: 'turned'; by: 90 | 120 | 180; about?: 0 | 1 | 2; matrix: Mat3 }
  | { how: 'reversed'; axis: number; matrix: Mat3 }
  | { how: 'swapped'; axes: readonly [number, number]; matrix: Mat3 }
  | { how: 'mirrored'; matrix: Mat3 };

/** What was found against what is declared; `axis` and `axes` are the chip's own (0, 1, 2). */
export function against(declared: Mounting, found: Mounting): Otherwise {
  const [from, to] = [mountingMatrix(declared), mountingMatrix(found)];
  if (!from || !to) throw new RangeError(`“${declared}” or “${found}” is no mounting`);
  const matrix = multiply(to, transpose(from));
  const inChip = multiply(transpose(from), to);
  const trace = Math.round(matrix[0] + matrix[4] + matrix[8]);
  if (determinant(matrix) > 0) {
    if (trace === 3) return { how: 'as declared' };
    const by = trace === 1 ? 90 : trace === 0 ? 120 : 180;
    const about = ([0, 1, 2] as const).find((i) => matrix[4 * i] === 1);
    return { how: 'turned', by, matrix, ...(about !== undefined && { about }) };
  }
  const diagonal = [inChip[0], inChip[4], inChip[8]];
  if (diagonal.every((value) => value !== 0)) {
    const minus = diagonal.flatMap((value, axis) => (value < 0 ? [axis] : []));
    return minus.length === 1
      ? { how: 'reversed', axis: minus[0]!, matrix }
      : { how: 'mirrored', matrix };
  }
  const isPlain = inChip.every((value) => value >= 0);
  const moved = diagonal.flatMap((value, axis) => (value === 0 ? [axis] : []));
  return isPlain && moved.length === 2
    ? { how: 'swapped', axes: [moved[0]!, moved[1]!], matrix }
    : { how: 'mirrored', matrix };
}
