import type { Attitude } from '../src/protocol/simulator.ts';

/** Elevation of a cube's corner, in degrees to as many places as the app keeps. */
const CORNER = 35.26439;

/** Along the six faces and eight corners of a cube, as the app orders them; azimuth and inclination, degrees. */
const LINES = [
  [0, 0],
  [315, -CORNER],
  [0, -90],
  [45, -CORNER],
  [135, -CORNER],
  [225, -CORNER],
  [270, 0],
  [315, CORNER],
  [0, 90],
  [225, CORNER],
  [180, 0],
  [135, CORNER],
  [90, 0],
  [45, CORNER],
] as const;

/** The customary plan's aims in the order in which they are asked for, as whoever stands at a board knows them. */
export const CUSTOMARY_AIMS: readonly Attitude[] = LINES.flatMap(([azimuth, inclination]) =>
  [0, 90, 180, 270].map((roll) => ({ azimuth, inclination, roll })),
);
