import type { Attitude } from '../src/protocol/simulator.ts';
import type { Random } from './random.ts';

/**
 * The place where the instrument is held: gravity, field, a steel object. World axes: x to magnetic north, y east,
 * z down. Body axes: x along the sight, y right, z down when held upright. These physics are the simulator's own
 * and share nothing with the mathematics that they put to the test.
 */

export type Triple = readonly [number, number, number];

/** Body to world, row by row: its columns are the body's axes seen in the world. */
export type Rotation = readonly [Triple, Triple, Triple];

const RADIAN = Math.PI / 180;

/** Sine and cosine of degrees, exact at whole quarter turns. */
function sinCos(degrees: number): [number, number] {
  if (degrees % 90 === 0) {
    const quarter = (((degrees / 90) % 4) + 4) % 4;
    return [[0, 1, 0, -1][quarter]!, [1, 0, -1, 0][quarter]!];
  }
  return [Math.sin(degrees * RADIAN), Math.cos(degrees * RADIAN)];
}

/**
 * The rotation, body to world, of an instrument aimed at `azimuth` (clockwise from magnetic north), tipped up by
 * `inclination` and turned about the sight by `roll` (clockwise as seen by the person aiming); degrees.
 * The columns are written out from the picture: where the sight points, and then where right and down are.
 */
export function attitudeRotation({ azimuth, inclination, roll }: Attitude): Rotation {
  const [sinA, cosA] = sinCos(azimuth);
  const [sinI, cosI] = sinCos(inclination);
  const [sinR, cosR] = sinCos(roll);
  const sight: Triple = [cosI * cosA, cosI * sinA, -sinI];
  // Unrolled, right is level, and down leans towards where the sight came from.
  const right: Triple = [-sinA, cosA, 0];
  const down: Triple = [sinI * cosA, sinI * sinA, cosI];
  const y = combine(cosR, right, sinR, down);
  const z = combine(cosR, down, -sinR, right);
  return [
    [sight[0], y[0], z[0]],
    [sight[1], y[1], z[1]],
    [sight[2], y[2], z[2]],
  ];
}

function combine(a: number, u: Triple, b: number, v: Triple): Triple {
  return [a * u[0] + b * v[0], a * u[1] + b * v[1], a * u[2] + b * v[2]];
}

export function dot(u: Triple, v: Triple): number {
  return u[0] * v[0] + u[1] * v[1] + u[2] * v[2];
}

/** The rotation by a small turn about each body axis (degrees), applied in the body before `rotation`. */
export function turnInBody(rotation: Rotation, turn: Triple): Rotation {
  const small = rotationAbout(turn);
  const column = (j: number): Triple => [small[0][j]!, small[1][j]!, small[2][j]!];
  const row = (r: Triple): Triple => [dot(r, column(0)), dot(r, column(1)), dot(r, column(2))];
  return [row(rotation[0]), row(rotation[1]), row(rotation[2])];
}

/** Rodrigues' formula for a turn given as axis times angle, degrees. */
export function rotationAbout(turn: Triple): Rotation {
  const angle = Math.hypot(...turn);
  if (angle === 0) {
    return [
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
    ];
  }
  const [x, y, z] = [turn[0] / angle, turn[1] / angle, turn[2] / angle];
  const [s, c] = sinCos(angle);
  const t = 1 - c;
  return [
    [c + t * x * x, t * x * y - s * z, t * x * z + s * y],
    [t * x * y + s * z, c + t * y * y, t * y * z - s * x],
    [t * x * z - s * y, t * y * z + s * x, c + t * z * z],
  ];
}

/** A world vector as the body sees it. */
export function inBody(rotation: Rotation, v: Triple): Triple {
  const axis = (j: number): Triple => [rotation[0][j]!, rotation[1][j]!, rotation[2][j]!];
  return [dot(axis(0), v), dot(axis(1), v), dot(axis(2), v)];
}

/** Where the sight points, in the world. */
export function sightOf(rotation: Rotation): Triple {
  return [rotation[0][0], rotation[1][0], rotation[2][0]];
}

export const DOWN: Triple = [0, 0, 1];

/** How far in front of the person the instrument is held, and how far off the steel stands; metres. */
const ARM = 0.35;
const STEEL = 0.9;

export interface Field {
  /** Degrees, down positive. */
  dip: number;
  /** Strength, of the nominal one. */
  strength: number;
  /** The most that the steel adds, as a part of the nominal strength; zero on a clean site. */
  disturbance: number;
}

/** The field without the steel, in nominal strengths. */
export function cleanField({ dip, strength }: Field): Triple {
  const [sin, cos] = sinCos(dip);
  return [strength * cos, 0, strength * sin];
}

/** Where the steel stands, seen from the person: not far above or below eye level. */
export function drawSteel(random: Random): Triple {
  const [sinA, cosA] = sinCos(random.between(0, 360));
  const [sinI, cosI] = sinCos(random.between(-30, 30));
  return [cosI * cosA, cosI * sinA, -sinI];
}

/**
 * The field where the instrument is, in nominal strengths. It is held at arm's length in the direction of the sight, so
 * it comes nearer to the steel or farther from it with every aim. The steel is a dipole pointing at the person
 * (B = m (3 (a·r)r − a)/d³, any textbook of magnetism), scaled so that the disturbance reaches its peak when the
 * sight points straight at it.
 *
 * @param aside how far the person has walked, level and square to where the steel stood, metres: never nearer to
 * it than where its peak is
 */
export function fieldAt(field: Field, steel: Triple, sight: Triple, aside = 0): Triple {
  const clean = cleanField(field);
  if (field.disturbance === 0) return clean;
  const across = Math.hypot(steel[0], steel[1]);
  const side: Triple = [-steel[1] / across, steel[0] / across, 0];
  const away = combine(1, combine(ARM, sight, -STEEL, steel), aside, side);
  const distance = Math.hypot(...away);
  const along = dot(steel, away) / distance;
  const moment = (field.disturbance * (STEEL - ARM) ** 3) / 2;
  const disturbed = combine((3 * along) / distance, away, -1, steel);
  return combine(1, clean, moment / distance ** 3, disturbed);
}
