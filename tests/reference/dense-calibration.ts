import { levenbergMarquardt } from 'ml-levenberg-marquardt';
import { Matrix, inverse } from 'ml-matrix';

/**
 * The estimate of a calibration, written a second time in the plainest way, as a check on the first: every unknown in
 * one dense system, derivatives by finite differences, solved by a general-purpose library. It shares no code with the
 * project; the model is that of an instrument whose board applies g = A (u_acc − o), b = B (u_mag − p).
 *
 * World axes: x to magnetic north, y east, z down. Body axes: x along the sight, y right, z down.
 */

type Vector = readonly number[];
/** Row by row. */
type Square = readonly Vector[];

export interface SeenReading {
  /** Counts over scale. */
  acc: Vector;
  mag: Vector;
  /** Name of the line it was taken along; absent for a free attitude. */
  sighting?: string;
}

export interface Solution {
  A: Square;
  o: Vector;
  B: Square;
  p: Vector;
  dip: number;
  /** Standard errors of what no turn of the body changes. */
  standardErrors: { o: Vector; p: Vector; dip: number };
}

/** Central differences: truncation some 1e-10, rounding some 1e-11 of a derivative. */
const DIFFERENCE = 1e-5;
/** Enough for both data sets: each step of the slower one comes nearer by a factor of five. */
const STEPS = 14;

/**
 * Maximum likelihood, with the noise known.
 *
 * Unknown: A, o, B, p, the dip; each reading's attitude, by a rotation vector in the body; each sighting's direction, by
 * two numbers in the plane across its start. Residuals: counts less the model's, and the part of each reading's sight
 * across its sighting's direction. What is open is held: the first reading's turn about the sight, or, where there are no
 * sightings, its whole attitude.
 *
 * @param mountings which way the chips sit, as `+x-y-z`, for the start
 * @param noise standard deviations: counts over scale, and radians
 */
export function solveDensely(
  readings: readonly SeenReading[],
  mountings: { acc: string; mag: string },
  noise: { acc: number; mag: number; aim: number },
): Solution {
  const acc = roughStart(
    readings.map((reading) => reading.acc),
    mountings.acc,
  );
  const mag = roughStart(
    readings.map((reading) => reading.mag),
    mountings.mag,
  );
  const seen = readings.map((reading) => ({
    down: unit(times(acc.gain, minus(reading.acc, acc.offset))),
    field: unit(times(mag.gain, minus(reading.mag, mag.offset))),
  }));
  const startAttitudes = seen.map(({ down, field }) => attitudeOf(down, field));
  const dips = seen.map(({ down, field }) => Math.asin(dot(down, field)));
  const names = [...new Set(readings.flatMap(({ sighting }) => sighting ?? []))];
  const startSights = names.map((name) =>
    unit(
      readings
        .map((reading, i) =>
          reading.sighting === name ? column(startAttitudes[i]!, 0) : [0, 0, 0],
        )
        .reduce(plus),
    ),
  );

  const start = [
    ...acc.gain.flat(),
    ...acc.offset,
    ...mag.gain.flat(),
    ...mag.offset,
    dips.reduce((sum, dip) => sum + dip) / dips.length,
    ...readings.flatMap(() => [0, 0, 0]),
    ...names.flatMap(() => [0, 0]),
  ];
  const BOARD = 25;
  const held = names.length > 0 ? [BOARD] : [BOARD, BOARD + 1, BOARD + 2];
  const free = start.map((_, i) => i).filter((i) => !held.includes(i));

  const residuals = (x: Vector): number[] => {
    const { A, o, B, p, dip } = boardFrom(x);
    const [F, H] = [inverted(A), inverted(B)];
    const field = [Math.cos(dip), 0, Math.sin(dip)];
    return readings.flatMap((reading, i) => {
      const at = BOARD + 3 * i;
      const toWorld = product(startAttitudes[i]!, turn(x.slice(at, at + 3)));
      const toBody = transposed(toWorld);
      const ofAcc = minus(reading.acc, plus(times(F, times(toBody, [0, 0, 1])), o));
      const ofMag = minus(reading.mag, plus(times(H, times(toBody, field)), p));
      const all = [...ofAcc.map((r) => r / noise.acc), ...ofMag.map((r) => r / noise.mag)];
      if (reading.sighting === undefined) return all;
      const k = names.indexOf(reading.sighting);
      const [u, v] = x.slice(BOARD + 3 * readings.length + 2 * k) as [number, number];
      const [across, upright] = plane(startSights[k]!);
      const line = unit(startSights[k]!.map((d, c) => d + u * across[c]! + v * upright[c]!));
      return [...all, ...cross(line, column(toWorld, 0)).map((r) => r / noise.aim)];
    });
  };

  const whole = (values: Vector) => {
    const x = start.slice();
    free.forEach((place, i) => (x[place] = values[i]!));
    return x;
  };
  const rows = residuals(start).length;
  const { parameterValues } = levenbergMarquardt(
    { x: Array.from({ length: rows }, (_, i) => i), y: new Array<number>(rows).fill(0) },
    (values) => {
      const all = residuals(whole(values));
      return (row) => all[row]!;
    },
    {
      initialValues: free.map((place) => start[place]!),
      damping: 1e-3,
      gradientDifference: DIFFERENCE,
      centralDifference: true,
      maxIterations: STEPS,
      errorTolerance: 1e-30,
    },
  );

  const x = whole(parameterValues);
  const errors = standardErrors(free, x, residuals);
  return {
    ...boardFrom(x),
    standardErrors: { o: errors.slice(9, 12), p: errors.slice(21, 24), dip: errors[24]! },
  };
}

function boardFrom(x: Vector): { A: Square; o: Vector; B: Square; p: Vector; dip: number } {
  const square = (from: number) => [0, 3, 6].map((row) => x.slice(from + row, from + row + 3));
  return { A: square(0), o: x.slice(9, 12), B: square(12), p: x.slice(21, 24), dip: x[24]! };
}

/** Offset and gain from the least and the greatest count along each chip axis. */
function roughStart(counts: readonly Vector[], mounting: string): { gain: Square; offset: Vector } {
  const ends = [0, 1, 2].map((c) => {
    const along = counts.map((count) => count[c]!);
    return { least: Math.min(...along), most: Math.max(...along) };
  });
  const gain = mounting.match(/[+-][xyz]/g)!.map((axis) => {
    const c = 'xyz'.indexOf(axis[1]!);
    const size = 2 / (ends[c]!.most - ends[c]!.least);
    return [0, 1, 2].map((i) => (i === c ? (axis[0] === '-' ? -size : size) : 0));
  });
  return { gain, offset: ends.map(({ least, most }) => (least + most) / 2) };
}

/** Body to world from the directions of down and field in the body: its rows are north, east and down, seen from the body. */
function attitudeOf(down: Vector, field: Vector): Square {
  const east = unit(cross(down, field));
  return [cross(east, down), east, down];
}

/** Roots of the diagonal of (JᵀJ)⁻¹, in the order of the unknowns; NaN for those held. */
function standardErrors(
  free: readonly number[],
  x: Vector,
  residuals: (x: Vector) => number[],
): number[] {
  const columns = free.map((place) => {
    const at = (step: number) =>
      residuals(x.map((value, i) => (i === place ? value + step : value)));
    const [up, down] = [at(DIFFERENCE), at(-DIFFERENCE)];
    return up.map((r, i) => (r - down[i]!) / (2 * DIFFERENCE));
  });
  const transpose = new Matrix(columns);
  const covariance = inverse(transpose.mmul(transpose.transpose()));
  const errors = x.map(() => NaN);
  free.forEach((place, i) => (errors[place] = Math.sqrt(covariance.get(i, i))));
  return errors;
}

/** Rotation by a rotation vector, after Rodrigues. */
function turn(vector: Vector): Square {
  const angle = Math.hypot(...vector);
  if (angle === 0) return [[1, 0, 0], [0, 1, 0], [0, 0, 1]]; // prettier-ignore
  const [x, y, z] = vector.map((value) => value / angle) as [number, number, number];
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  const k = 1 - c;
  return [
    [c + k * x * x, k * x * y - s * z, k * x * z + s * y],
    [k * x * y + s * z, c + k * y * y, k * y * z - s * x],
    [k * x * z - s * y, k * y * z + s * x, c + k * z * z],
  ];
}

/** Two directions square to a unit vector and to each other. */
function plane(direction: Vector): [Vector, Vector] {
  const across = unit(cross(direction, Math.abs(direction[2]!) < 0.9 ? [0, 0, 1] : [1, 0, 0]));
  return [across, cross(direction, across)];
}

const dot = (a: Vector, b: Vector) => a.reduce((sum, value, i) => sum + value * b[i]!, 0);
const plus = (a: Vector, b: Vector) => a.map((value, i) => value + b[i]!);
const minus = (a: Vector, b: Vector) => a.map((value, i) => value - b[i]!);
const unit = (a: Vector) => a.map((value) => value / Math.hypot(...a));
const cross = ([a, b, c]: Vector, [x, y, z]: Vector) => [
  b! * z! - c! * y!,
  c! * x! - a! * z!,
  a! * y! - b! * x!,
];
const column = (m: Square, c: number) => m.map((row) => row[c]!);
const transposed = (m: Square) => [0, 1, 2].map((c) => column(m, c));
const times = (m: Square, v: Vector) => m.map((row) => dot(row, v));
const product = (m: Square, n: Square) =>
  m.map((row) => [0, 1, 2].map((c) => dot(row, column(n, c))));
const inverted = (m: Square): Square => inverse(new Matrix(m.map((row) => [...row]))).to2DArray();
