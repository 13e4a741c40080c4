import { DIP, type Observations } from './calibration-problem.ts';
import { attitude, cross, inverse, length, plus, rotate, unit, type Mat3 } from './geometry.ts';
import type { Coefficients } from './model.ts';
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
    theta.set([...F.slice(3 * i, 3 * i + 3), first.o[i]], 4 * i);
    theta.set([...H.slice(3 * i, 3 * i + 3), first.p[i]], 12 + 4 * i);
    if (bowed) theta[DIP + 1 + i] = first.q[i];
  }
  theta[DIP] = dip;
  const attitudes = new Float64Array(readings.length * 9);
  readings.forEach(({ acc, mag }, j) => {
    const s: Vec3 = [acc[0] - first.o[0], acc[1] - first.o[1], acc[2] - first.o[2]];
    const bent = bowed
      ? plus(s, [0, 1, 2].map((i) => first.q[i] * s[i] ** 2) as unknown as Vec3)
      : s;
    const g = rotate(first.A, bent);
    const b = rotate(first.B, [mag[0] - first.p[0], mag[1] - first.p[1], mag[2] - first.p[2]]);
    const east = cross(g, b);
    // a reading whose two vectors are parallel has no attitude; the solver finds one from any start
    const R = length(east) < 1e-6 ? attitude(0, 0, 0) : facing(unit(g), unit(east));
    for (let i = 0; i < 9; i++) attitudes[j * 9 + i] = R[i];
  });
  return { theta, attitudes };
}

/** Body to world, from the directions of down and east in the body. */
function facing(down: Vec3, east: Vec3): Mat3 {
  const north = cross(east, down);
  return [...north, ...east, ...down];
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
  const vector = (from: number): Vec3 => [theta[from], theta[from + 4], theta[from + 8]];
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
  const index: number[] = [];
  const sizes = new Map<string, number>();
  readings.forEach(({ sighting }, i) => {
    if (!used[i]) return;
    index.push(i);
    if (sighting !== undefined) sizes.set(sighting, (sizes.get(sighting) ?? 0) + 1);
  });
  const count = index.length;
  const acc = new Float64Array(3 * count);
  const mag = new Float64Array(3 * count);
  const sightings = new Int32Array(count);
  const numbers = new Map<string, number>();
  index.forEach((i, j) => {
    const reading = readings[i];
    for (let c = 0; c < 3; c++) {
      acc[3 * j + c] = reading.acc[c];
      mag[3 * j + c] = reading.mag[c];
    }
    const name = reading.sighting;
    if (name === undefined || !sightFound || sizes.get(name)! < 2) {
      sightings[j] = -1;
      return;
    }
    if (!numbers.has(name)) numbers.set(name, numbers.size);
    sightings[j] = numbers.get(name)!;
  });
  return { index, count, acc, mag, sighting: sightings, sightings: numbers.size };
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
  // a body vector v becomes T v, so that F becomes F Tᵀ and each attitude R Tᵀ: rows turn alike
  const next = { theta: theta.slice(), attitudes: attitudes.slice() };
  for (let row = 0; row < DIP; row += 4) turnRow(next.theta, row, 1, angle);
  for (let row = 0; row < attitudes.length; row += 3) turnRow(next.attitudes, row, 1, angle);
  return next;
}

/** The covariance of θ so turned. */
export function covarianceTurned(covariance: Float64Array, angle: number): Float64Array {
  const next = covariance.slice();
  const width = Math.sqrt(next.length);
  for (let i = 0; i < width; i++) {
    for (let row = 0; row < DIP; row += 4) turnRow(next, i * width + row, 1, angle);
  }
  for (let i = 0; i < width; i++) {
    for (let row = 0; row < DIP; row += 4) turnRow(next, i + row * width, width, angle);
  }
  return next;
}

/** Turns the body vector whose x, y and z stand in v from `at` on, every `stride`. */
function turnRow(v: Float64Array, at: number, stride: number, angle: number): void {
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  const y = v[at + stride];
  const z = v[at + 2 * stride];
  v[at + stride] = c * y + s * z;
  v[at + 2 * stride] = c * z - s * y;
}
