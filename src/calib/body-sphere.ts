import { azimuthErrors, type Uncertainty } from './covariance.ts';
import { DIP } from './calibration-problem.ts';
import { cross, plus, times, unit, type Mat3 } from './geometry.ts';
import type { Vec3 } from './reading.ts';

/**
 * The sphere of directions in the body, and how uncertain azimuth is where down, or the field, has each of them. Body
 * axes as in geometry.ts.
 */

/** Whose direction in the body is meant. */
export type Sensed = 'down' | 'field';

/**
 * One of the cells that share the sphere equally: a part of a ring, in the half about the sight's direction or in that
 * about its opposite. Rings count from the middle of the half; parts clockwise from the top as the person aiming sees it.
 */
export interface Cell {
  half: 'front' | 'back';
  ring: number;
  part: number;
  /** How many parts its ring has. */
  parts: number;
  /** Direction of its middle, unit length. */
  middle: Vec3;
}

/** Rings of a half. */
export const RINGS = 6;

/**
 * All cells, front half first. On Lambert's equal-area net of a half (radius r = √(1 − |x|)) rings are of equal width,
 * so that ring k has an area as 2k + 1, and so many fourfold parts.
 */
export function bodyCells(): Cell[] {
  return (['front', 'back'] as const).flatMap((half) =>
    Array.from({ length: RINGS }, (_, ring) => {
      const parts = 4 * (2 * ring + 1);
      const ahead = 1 - ((ring + 0.5) / RINGS) ** 2;
      const across = Math.sqrt(1 - ahead * ahead);
      return Array.from({ length: parts }, (_, part): Cell => {
        const around = (2 * Math.PI * (part + 0.5)) / parts;
        const x = half === 'front' ? ahead : -ahead;
        const middle: Vec3 = [x, across * Math.sin(around), -across * Math.cos(around)];
        return { half, ring, part, parts, middle };
      });
    }).flat(),
  );
}

/** The mean square hardly changes beyond: the derivatives of azimuth hold no more than twice the angle of turning. */
const TURNS = 8;

/**
 * Standard error of azimuth × cos inclination where down, or the field, lies along each of some directions in the body:
 * root mean square over all ways to turn about it, as the coefficients' covariance has it. Radians.
 *
 * @returns for each direction; not finite where azimuth has no meaning there
 */
export function azimuthErrorAlong(
  uncertainty: Pick<Uncertainty, 'theta' | 'covariance'>,
  which: Sensed,
  directions: readonly Vec3[],
): number[] {
  const dip = uncertainty.theta[DIP]!;
  const errorAt = azimuthErrors(uncertainty);
  return directions.map((direction) => {
    let squares = 0;
    for (let i = 0; i < TURNS; i++) {
      squares += errorAt(held(which, direction, dip, (2 * Math.PI * (i + 0.5)) / TURNS)) ** 2;
    }
    return Math.sqrt(squares / TURNS);
  });
}

/** A body-to-world attitude in which down, or the field, lies along a direction in the body; `turned` about it. */
export function held(which: Sensed, along: Vec3, dip: number, turned: number): Mat3 {
  // an axis that is far from it, to begin turning from
  const far: Vec3 = Math.abs(along[0]) < 0.7 ? [1, 0, 0] : [0, 1, 0];
  const u = unit(cross(along, far));
  const v = cross(along, u);
  const across = plus(times(u, Math.cos(turned)), times(v, Math.sin(turned)));
  // down and field are a right angle less the dip apart
  const other = plus(times(along, Math.sin(dip)), times(across, Math.cos(dip)));
  const [g, b] = which === 'down' ? [along, other] : [other, along];
  const east = unit(cross(g, b));
  return [...cross(east, g), ...east, ...g];
}
