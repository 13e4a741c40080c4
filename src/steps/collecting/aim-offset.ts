import {
  angleBetween,
  attitude,
  column,
  degrees,
  direction,
  multiply,
  radians,
  rotate,
  transpose,
  turn,
} from '../../calib/geometry.ts';
import type { Vec3 } from '../../calib/reading.ts';
import type { AttitudeNow } from './attitude-now.ts';

/** How far the aim now is from the aim wanted, and which way to go. Degrees. */

export interface Wanted {
  azimuth: number;
  inclination: number;
  roll: number;
  /** The line itself, a unit vector of the world, where the angles of a vertical one only say how roll is counted. */
  line?: Vec3;
}

export interface AimOffset {
  /** Which way is to be turned: `right` to the right or, along a vertical line seen from above or below, to the east. */
  right?: number;
  /** How far up; along a vertical line and near it, towards the top of the picture, which {@link topOf} names. */
  up?: number;
  /** Clockwise about the sight, as the person aiming sees it, from −180 to 180. */
  roll?: number;
  /** Angle between the two lines. */
  apart?: number;
  /** Whether `right` and `up` are compass directions. */
  byCompass: boolean;
}

/** Steeper lines have no left and right that a person could name. */
const STEEP = 85;
/** How near a vertical line the way to it is told by the compass; farther off it is up or down. */
const NEAR_VERTICAL = 20;

/** Which compass direction is up in the picture of a vertical line, as the plan counts rolls there. */
export const topOf = ({ inclination }: Pick<Wanted, 'inclination'>): 'south' | 'north' =>
  inclination > 0 ? 'south' : 'north';

/** The way from the aim now to the aim wanted; what cannot be told of it is absent. */
export function offsetTo(wanted: Wanted, now: AttitudeNow): AimOffset {
  const isSteep = Math.abs(wanted.inclination) > STEEP;
  const line = wanted.line ?? direction(radians(wanted.azimuth), radians(wanted.inclination));
  const { rotation } = now;
  const apart = rotation && degrees(angleBetween(column(rotation, 0), line));
  const up = now.inclination === undefined ? undefined : wanted.inclination - now.inclination;
  const common = { ...(apart !== undefined && { apart }) };
  if (!isSteep) {
    const right = now.azimuth === undefined ? undefined : turned(now.azimuth, wanted.azimuth);
    const roll = now.roll === undefined ? undefined : turned(now.roll, wanted.roll);
    return {
      ...common,
      ...(right !== undefined && { right }),
      ...(up !== undefined && { up }),
      ...(roll !== undefined && { roll }),
      byCompass: false,
    };
  }
  if (!rotation || apart === undefined || apart > NEAR_VERTICAL) {
    return { ...common, ...(up !== undefined && { up }), byCompass: false };
  }
  const frame = attitude(radians(wanted.azimuth), radians(wanted.inclination), 0);
  const [, y, z] = rotate(transpose(frame), column(rotation, 0));
  const [, yWanted, zWanted] = rotate(transpose(frame), line);
  const held = attitude(radians(wanted.azimuth), radians(wanted.inclination), radians(wanted.roll));
  const rest = multiply(transpose(held), rotation);
  // the turn about the sight that is left once the sight is brought onto the line
  const twist = Math.atan2(rest[7] - rest[5], rest[4] + rest[8]);
  return {
    ...common,
    right: degrees(Math.asin(yWanted) - Math.asin(y)),
    up: degrees(Math.asin(z) - Math.asin(zWanted)),
    roll: -degrees(twist),
    byCompass: true,
  };
}

const turned = (from: number, to: number): number => degrees(turn(radians(from), radians(to)));

/** How near the aim must be to count as the one wanted. */
export interface Near {
  /** Angle between the lines, at most. */
  line: number;
  /** Of the roll, at most. */
  roll: number;
}

export const isAt = ({ apart, roll }: AimOffset, near: Near): boolean =>
  apart !== undefined && apart <= near.line && roll !== undefined && Math.abs(roll) <= near.roll;
