/** What the fit is given: plain readings. Angles in radians, sensor values in raw counts. */

export type Vec3 = readonly [number, number, number];

/** Where the instrument was to point: whatever of it is known. Radians, world and body axes as in geometry.ts. */
export interface Aim {
  azimuth?: number;
  inclination?: number;
  roll?: number;
}

export interface Reading {
  /** Unique among the readings of one fit. */
  id: string;
  /** Readings with the same value here were taken along one fixed line; absent for a free attitude. */
  sighting?: string;
  /** Accelerometer, raw counts along the chip's own axes. */
  acc: Vec3;
  /** Magnetometer, raw counts along the chip's own axes. */
  mag: Vec3;
  /** The aim the plan asked for. */
  aim?: Aim;
}

/** Which chip axis lies along body x, y and z, and whether its counts grow (+) or fall (-) with it: `+y-x+z`. */
export type Mounting = string;
