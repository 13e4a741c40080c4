import { DIP, type Observations } from './calibration-problem.ts';
import { attitude, cross, inverse, unit, type Mat3 } from './geometry.ts';
import { applyCoefficients, type Coefficients } from './model.ts';
import type { Reading, Vec3 } from './reading.ts';

/** A point of the calibration problem, and its way from and to readings and coefficients. */

export interface State {
  theta: Float64Array;
  attitudes: Float64Array;
}

export interface Data extends Observations {
  /** Index of each observation in the readings given. */
  index: number[];
}

/**
 * Forward parameters and one attitude per reading, from coefficients.
 *
 * @param readings counts already divided by the scales
 * @param first scales are not used; curvature only in a bowed model
 */
export function stateFrom(
  readings: readonly Pick<Reading, 'acc' | 'mag'>[],
  first: Coefficients,
  dip: number,
): State {
  const bowed = first.model === 'bowed';
  const theta = new Float64Array(bowed ? DIP + 4 : DIP + 1);
  const [F, H] = [inverse(first.A), inverse(first.B)];
  for (let i = 0; i < 3; i++) {
    theta.set([...F.slice(3 * i, 3 * i + 3), first.o[i]!], 4 * i);
    theta.set([...H.slice(3 * i, 3 * i + 3), first.p[i]!], 12 + 4 * i);
    if (bowed) theta[DIP + 1 + i] = first.q[i]!;
  }
  theta[DIP] = dip;
  const unscaled = { ...first, accScale: 1, magScale: 1 };
  const attitudes = new Float64Array(readings.length * 9);
  readings.forEach(({ acc, mag }, j) => {
    const { g, b } = applyCoefficients(unscaled, acc, mag);
    const east = cross(g, b);
    // a reading whose two vectors are parallel has no attitude; the solver finds one from any start
    if (Math.hypot(...east) < 1e-6) {
      attitudes.set(attitude(0, 0, 0), j * 9);
      return;
    }
    const [down, e] = [unit(g), unit(east)];
    attitudes.set([...cross(e, down), ...e, ...down], j * 9);
  });
  return { theta, attitudes };
}

/** Counts over scale. */
export const inScale = <R extends Pick<Reading, 'acc' | 'mag'>>(
  readings: readonly R[],
  scales: { acc: number; mag: number },
): R[] => {
  const over = (v: Vec3, scale: number): Vec3 => [v[0] / scale, v[1] / scale, v[2] / scale];
  return readings.map((reading) => ({
    ...reading,
    acc: over(reading.acc, scales.acc),
    mag: over(reading.mag, scales.mag),
  }));
};

/** The coefficients that undo forward parameters. */
export function coefficientsOf(
  theta: Float64Array,
  scales: { acc: number; mag: number },
): Coefficients {
  const matrix = (from: number) =>
    inverse(
      [0, 4, 8].flatMap((i) => [...theta.subarray(from + i, from + i + 3)]) as unknown as Mat3,
    );
  const vector = (from: number): Vec3 => [theta[from]!, theta[from + 4]!, theta[from + 8]!];
  const bowed = theta.length > DIP + 1;
  return {
    model: bowed ? 'bowed' : 'straight',
    accScale: scales.acc,
    magScale: scales.mag,
    o: vector(3),
    A: matrix(0),
    p: vector(15),
    B: matrix(12),
    q: bowed ? ([...theta.subarray(DIP + 1)] as unknown as Vec3) : [0, 0, 0],
  };
}

/** The used readings as the problem wants them; a sighting needs two of them to say anything. */
export function observe(
  readings: readonly Reading[],
  used: readonly boolean[],
  sightFound: boolean,
): Data {
  const index = readings.flatMap((_, i) => (used[i] ? [i] : []));
  const sizes = new Map<string, number>();
  for (const i of index) {
    const { sighting } = readings[i]!;
    if (sighting !== undefined) sizes.set(sighting, (sizes.get(sighting) ?? 0) + 1);
  }
  const numbers = new Map<string, number>();
  const numberOf = (sighting: string | undefined) => {
    if (sighting === undefined || !sightFound || sizes.get(sighting)! < 2) return -1;
    if (!numbers.has(sighting)) numbers.set(sighting, numbers.size);
    return numbers.get(sighting)!;
  };
  return {
    index,
    count: index.length,
    acc: Float64Array.from(index.flatMap((i) => [...readings[i]!.acc])),
    mag: Float64Array.from(index.flatMap((i) => [...readings[i]!.mag])),
    sighting: Int32Array.from(index.map((i) => numberOf(readings[i]!.sighting))),
    sightings: numbers.size,
  };
}

/** The state less one observation. */
export function without({ theta, attitudes }: State, j: number): State {
  const left = new Float64Array(attitudes.length - 9);
  left.set(attitudes.subarray(0, j * 9));
  left.set(attitudes.subarray(j * 9 + 9), j * 9);
  return { theta, attitudes: left };
}

/** The same answer with every roll greater by `angle`. */
export function turnedAboutSight({ theta, attitudes }: State, angle: number): State {
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  // a body vector v becomes T v, so that F becomes F Tᵀ and each attitude R Tᵀ: rows turn alike
  const turnRow = (v: Float64Array, at: number) => {
    const [y, z] = [v[at + 1]!, v[at + 2]!];
    v[at + 1] = c * y + s * z;
    v[at + 2] = c * z - s * y;
  };
  const next = { theta: theta.slice(), attitudes: attitudes.slice() };
  for (let row = 0; row < DIP; row += 4) turnRow(next.theta, row);
  for (let row = 0; row < attitudes.length; row += 3) turnRow(next.attitudes, row);
  return next;
}
