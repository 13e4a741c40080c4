import { attitude, dot, radians, rotate, type Mat3 } from '../../calib/geometry.ts';
import type { Vec3 } from '../../calib/reading.ts';
import type { AssemblyPose } from '../../records/entries.ts';
import { POSE } from './poses.ts';

/**
 * How a board in a pose looks to somebody who stands south of it, a little to the left and above: a box with its nose, drawn
 * by parallel projection. Points are in a square from −100 to 100, y downwards.
 */

export type Point = readonly [number, number];

export interface PosePicture {
  /** Sides that are seen, the farther first. */
  sides: readonly { name: Side; corners: readonly Point[]; middle: Point }[];
  /** From the middle of the nose outward along the sight. */
  sight: readonly [Point, Point];
  /** The nose points away from who looks, so that the sight is drawn before the box. */
  isAway: boolean;
  /** The table, and the line to the north on it. */
  table: readonly Point[];
  north: readonly [Point, Point];
}

export type Side = 'nose' | 'tail' | 'right' | 'left' | 'top' | 'bottom';

/** Half the length, breadth and height of the box. */
const SIZE: Vec3 = [48, 26, 13];
/** How far to the left, and above, they stand who look: degrees. */
const ASIDE = 38;
const ABOVE = 26;

const SIDES: readonly { name: Side; axis: 0 | 1 | 2; sign: 1 | -1 }[] = [
  { name: 'nose', axis: 0, sign: 1 },
  { name: 'tail', axis: 0, sign: -1 },
  { name: 'right', axis: 1, sign: 1 },
  { name: 'left', axis: 1, sign: -1 },
  { name: 'bottom', axis: 2, sign: 1 },
  { name: 'top', axis: 2, sign: -1 },
];

const [sa, ca] = [Math.sin(radians(ASIDE)), Math.cos(radians(ASIDE))];
const [se, ce] = [Math.sin(radians(ABOVE)), Math.cos(radians(ABOVE))];
/** In the world (north, east, down): to the right on the picture, down on it, and away from who looks. */
const ACROSS: Vec3 = [sa, ca, 0];
const DOWNWARD: Vec3 = [-ca * se, sa * se, ce];
const AWAY: Vec3 = [ca * ce, -sa * ce, se];

const seen = (world: Vec3): Point => [dot(ACROSS, world), dot(DOWNWARD, world)];

export function posePicture(pose: AssemblyPose): PosePicture {
  const { azimuth, inclination, roll } = POSE[pose];
  const turned: Mat3 = attitude(radians(azimuth), radians(inclination), radians(roll));
  const at = (body: Vec3): Vec3 => rotate(turned, body);
  // it lies on the table, whichever side is down
  const deep = Math.max(...corners().map((corner) => at(corner)[2]));
  const placed = (body: Vec3): Point => {
    const [n, e, d] = at(body);
    return seen([n, e, d - deep + LOW]);
  };
  const sides = SIDES.map(({ name, axis, sign }) => {
    const normal = [0, 0, 0].map((_, i) => (i === axis ? sign : 0)) as unknown as Vec3;
    const middle = normal.map((value, i) => value * SIZE[i]!) as unknown as Vec3;
    return {
      name,
      towards: -dot(AWAY, at(normal)),
      corners: cornersOf(axis, sign).map(placed),
      middle: placed(middle),
    };
  }).filter(({ towards }) => towards > 1e-9);
  const nose: Vec3 = [SIZE[0], 0, 0];
  const tip: Vec3 = [SIZE[0] + 34, 0, 0];
  const isUnder = at([1, 0, 0])[2] > 0.5; // the table hides a sight that points into it
  return {
    sides: sides.map(({ name, corners: those, middle }) => ({ name, corners: those, middle })),
    sight: isUnder ? [placed([-SIZE[0], 0, 0]), placed([0, 0, 0])] : [placed(nose), placed(tip)],
    isAway: dot(AWAY, at([1, 0, 0])) > 0 && !isUnder,
    table: [
      [-70, -70],
      [70, -70],
      [70, 70],
      [-70, 70],
    ].map(([n, e]) => seen([n!, e!, LOW])),
    north: [seen([-10, -90, LOW]), seen([35, -90, LOW])],
  };
}

/** Where the table is, below the middle of the picture. */
const LOW = 38;

const corners = (): Vec3[] => [...cornersOf(0, 1), ...cornersOf(0, -1)];

/** The corners of one side, round it. */
function cornersOf(axis: 0 | 1 | 2, sign: 1 | -1): Vec3[] {
  const [a, b] = [(axis + 1) % 3, (axis + 2) % 3] as [number, number];
  return [
    [1, 1],
    [1, -1],
    [-1, -1],
    [-1, 1],
  ].map(([p, q]) => {
    const corner = [0, 0, 0];
    corner[axis] = sign * SIZE[axis];
    corner[a] = p! * SIZE[a]!;
    corner[b] = q! * SIZE[b]!;
    return corner as unknown as Vec3;
  });
}
