/**
 * What a simulated board offers beside its byte link: a hand that holds it, knobs, and the truth. None of this
 * exists on a real board; nothing that talks to a board may need it. Degrees throughout.
 */

type Triple = readonly [number, number, number];

export interface Attitude {
  azimuth: number;
  inclination: number;
  roll: number;
}

/** What the hand is told: an attitude, and how far it is to what is aimed at, metres, where a range depends on it. */
export interface HeldAim extends Attitude {
  distance?: number;
}

/** Faults of the link: the chance of each per byte, and how long a chunk is held back. Zero is a clean link. */
export interface LinkFaultRates {
  lose: number;
  double: number;
  flip: number;
  /** The longest a chunk waits, milliseconds; each waits a random part of it. */
  delayMs: number;
}

/** What can be wrong with a simulated board from the soldering on, one thing at a time, in words for a person to choose by. */
export const BOARD_FAULTS = {
  none: 'Nothing',
  'acc-silent': 'The accelerometer does not answer',
  'mag-silent': 'The magnetometer does not answer',
  'acc-stuck': 'An axis of the accelerometer is stuck',
  'mag-stuck': 'An axis of the magnetometer is stuck',
  'acc-clipped': 'An axis of the accelerometer ends too early',
  'mag-clipped': 'An axis of the magnetometer ends too early',
  'mag-full': 'The magnetometer is driven to the end of its range',
  'acc-noisy': 'An axis of the accelerometer has far too much noise',
  'mag-noisy': 'An axis of the magnetometer has far too much noise',
  'acc-quiet': 'The accelerometer is filtered far too much',
  'mag-quiet': 'The magnetometer gives the same sample again and again',
  'acc-swapped': 'Two axes of the accelerometer are exchanged',
  'mag-swapped': 'Two axes of the magnetometer are exchanged',
  'acc-reversed': 'An axis of the accelerometer is reversed',
  'mag-reversed': 'An axis of the magnetometer is reversed',
  'acc-mirrored': 'The accelerometer is of opposite handedness',
  'mag-mirrored': 'The magnetometer is of opposite handedness',
  'acc-turned': 'The accelerometer is soldered on a quarter turn round',
  'mag-turned': 'The magnetometer is soldered on half a turn round',
  'acc-offset': 'The accelerometer has a large offset',
  'mag-offset': 'A battery sits beside the magnetometer',
  'acc-lag': 'The accelerometer comes behind',
  'mag-lag': 'The magnetometer comes behind',
  'acc-scale': 'The accelerometer counts half of what it should',
  'mag-scale': 'The magnetometer counts four times what it should',
  'supply-low': 'The supply is too low',
  'supply-wrong': 'The supply is told as 0 V',
  'temperature-0': 'The temperature is told as 0 °C, always',
  'temperature-85': 'The temperature is told as 85 °C, always',
  'temperature-40-below': 'The temperature is told as −40 °C, always',
} as const;
export type BoardFault = keyof typeof BOARD_FAULTS;

export const isBoardFault = (name: string): name is BoardFault => Object.hasOwn(BOARD_FAULTS, name);

export interface SimulatorSettings {
  /** The same seed and the same bytes in give the same bytes out. */
  seed: number;
  /** Noise of an averaged reading per axis: thousandths of gravity, and percent of the field. */
  accNoise: number;
  magNoise: number;
  /** How well the hand aims, and how well it turns to the wanted roll: standard deviations, degrees. */
  aim: number;
  rollAim: number;
  /** How the chips sit, as `+y-x+z`. Changing it makes another board: generation 0, empty memory. */
  accMounting: string;
  magMounting: string;
  /** Curvature of the accelerometer (relative, at 1 g); zero for a straight board. */
  curvature: number;
  /** Dip of the field, degrees, down positive. */
  dip: number;
  /** A steel object near the board: peak disturbance, percent of the field; zero is a clean site. */
  disturbance: number;
  faults: LinkFaultRates;
  /** What is wrong with the board itself; nothing where it is absent. */
  boardFault?: BoardFault;
  /** A range module is built in; absent is no. Changing it makes another board, too. */
  hasRange?: boolean;
}

/** What the board would read with no noise at a known attitude. */
export interface TrueReading extends Attitude {
  acc: Triple;
  mag: Triple;
}

export interface SimulatorControl {
  /** The hand brings the instrument to an aim, with its own error, and holds it there. */
  hold(aim: HeldAim): Promise<void>;
  /** The person goes that many metres to one side of where the steel, if any, was met first, holding on as before. */
  walk(metres: number): Promise<void>;
  /** Presses the trigger on the board. */
  press(): Promise<void>;
  settings(): Promise<SimulatorSettings>;
  adjust(change: Partial<SimulatorSettings>): Promise<void>;
  /** Noise-free counts at attitudes spread evenly over directions and rolls, with those attitudes. */
  truth(count: number): Promise<readonly TrueReading[]>;
}
