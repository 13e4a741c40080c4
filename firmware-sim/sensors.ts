import type { Random } from './random.ts';
import { dot, inBody, type Rotation, rotationAbout, type Triple } from './world.ts';

/**
 * The two chips: what becomes of a direction in the body before it is counts. In units of the chip's scale:
 *
 *   v   the vector in the body (down, or the field)
 *   c   v along the chip's own axes, by its mounting
 *   t   gains · turned · c      gains and cross-axis effects, the chip soldered a little askew
 *   s   what gives t = s + q s² (curvature), by the root that is good at q = 0, and a cubic part that no model has
 *   u   offset + s, drifting with temperature
 */
export interface Chip {
  mounting: Mounting;
  /** Counts in 1 g, or in a field of nominal strength, as declared. */
  scale: number;
  offset: Triple;
  response: Rotation;
  curvature: Triple;
  /** Of 1 g cubed; zero in an ordinary chip. */
  cubic: number;
  /** What the offset gains for each degree above {@link REFERENCE_TEMPERATURE}. */
  drift: Triple;
}

/** A chip axis (0, 1, 2) and a sign for each of body x, y, z. */
export type Mounting = readonly { axis: 0 | 1 | 2; sign: 1 | -1 }[];

/** Degrees Celsius at which the offsets are what they are. */
export const REFERENCE_TEMPERATURE = 20;

/** The counts at which a chip's converter ends, on either side. */
export const CONVERTER_END = 32767;

/** How many samples make a reading: with 25, a mean of whole counts has two decimals and no more. */
export const SAMPLES = 25;

/**
 * Reads `+y-x+z`: chip axis y lies along body x, chip axis x against body y, chip axis z along body z. "Along" is
 * where the counts grow as that body axis turns down (accelerometer) or along the field (magnetometer).
 *
 * @throws RangeError if it is not three signed axes, each once
 */
export function parseMounting(text: string): Mounting {
  const axes = /^([+-][xyz]){3}$/.test(text) ? text.match(/../g)! : [];
  const mounting = axes.map((part) => ({
    axis: 'xyz'.indexOf(part[1]!) as 0 | 1 | 2,
    sign: part[0] === '+' ? (1 as const) : (-1 as const),
  }));
  if (new Set(mounting.map(({ axis }) => axis)).size !== 3) {
    throw new RangeError(`A mounting names each of x, y, z once with its sign, not “${text}”.`);
  }
  return mounting;
}

/** A chip with no faults at all. */
export function perfectChip(mounting: string, scale: number): Chip {
  return {
    mounting: parseMounting(mounting),
    scale,
    offset: [0, 0, 0],
    response: rotationAbout([0, 0, 0]),
    curvature: [0, 0, 0],
    cubic: 0,
    drift: [0, 0, 0],
  };
}

/** How far the chips of an ordinary board are off. Each is drawn evenly up to the figure, on either side. */
export interface Tolerances {
  /** Of 1 g, or of the nominal field. */
  offset: number;
  /** Of the gain along an axis. */
  gain: number;
  /** What an axis takes in of another. */
  cross: number;
  /** Degrees by which the chip sits askew about each axis. */
  askew: number;
  /** Offset per degree Celsius. */
  drift: number;
}

/**
 * An ordinary chip, as one buys and solders it: drawn within `tolerances`.
 *
 * @param curvature size of the curvature: each axis gets 0.6 to 1 of it, either way
 */
export function drawChip(
  random: Random,
  mounting: string,
  scale: number,
  tolerances: Tolerances,
  curvature: number,
): Chip {
  const drawn = (most: number): Triple => [
    random.between(-most, most),
    random.between(-most, most),
    random.between(-most, most),
  ];
  const offset = drawn(tolerances.offset);
  const gains = drawn(tolerances.gain);
  const askew = rotationAbout(drawn(tolerances.askew));
  const mixing = [0, 1, 2].map((row) => {
    const cross = drawn(tolerances.cross);
    return cross.map((value, column) => (row === column ? 1 + gains[row]! : value));
  }) as unknown as Rotation;
  const drift = drawn(tolerances.drift);
  const bend = (): number => curvature * random.between(0.6, 1) * (random.below(2) ? 1 : -1);
  return {
    ...perfectChip(mounting, scale),
    offset,
    response: mixing.map((row) => inBody(askew, row)) as unknown as Rotation,
    curvature: [bend(), bend(), bend()],
    drift,
  };
}

/** Counts, neither rounded nor cut off, that a chip gives for a vector in the body. */
export function exactCounts(chip: Chip, body: Triple, temperature: number): Triple {
  const own = [0, 0, 0];
  chip.mounting.forEach(({ axis, sign }, bodyAxis) => (own[axis] = sign * body[bodyAxis]!));
  const warmth = temperature - REFERENCE_TEMPERATURE;
  const along = (axis: 0 | 1 | 2): number => {
    const t = dot(chip.response[axis], own as unknown as Triple);
    const bent = (2 * t) / (1 + Math.sqrt(1 + 4 * chip.curvature[axis] * t));
    const s = bent + chip.cubic * bent ** 3;
    return chip.scale * (chip.offset[axis] + chip.drift[axis] * warmth + s);
  };
  return [along(0), along(1), along(2)];
}

/** What a chip gives for one reading: counts, averaged over its samples, and their scatter. */
export interface Averaged {
  mean: Triple;
  scatter: Triple;
  /** A sample was at the end of the converter. */
  saturated: boolean;
}

/**
 * Samples exact counts as a converter does (noise, whole numbers, an end on either side) and averages.
 *
 * @param exact the exact counts of each of the {@link SAMPLES}
 * @param noise standard deviation of the average, counts
 * @param told what a faulty chip tells in place of a whole count on an axis (0, 1, 2)
 */
export function sampleAndAverage(
  exact: readonly Triple[],
  noise: number,
  random: Random,
  told: (whole: number, axis: number) => number = (whole) => whole,
): Averaged {
  const each = noise * Math.sqrt(exact.length);
  let saturated = false;
  const samples = exact.map((counts) =>
    counts.map((count, axis) => {
      const whole = told(Math.round(count + each * random.normal()), axis);
      if (Math.abs(whole) < CONVERTER_END) return whole;
      saturated = true;
      return Math.sign(whole) * CONVERTER_END;
    }),
  );
  const over = (axis: number) => {
    const values = samples.map((sample) => sample[axis]!);
    const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
    const squares = values.reduce((sum, value) => sum + (value - mean) ** 2, 0);
    return { mean, scatter: Math.sqrt(squares / (values.length - 1)) };
  };
  const axes = [over(0), over(1), over(2)] as const;
  return {
    mean: [axes[0].mean, axes[1].mean, axes[2].mean],
    scatter: [axes[0].scatter, axes[1].scatter, axes[2].scatter],
    saturated,
  };
}
