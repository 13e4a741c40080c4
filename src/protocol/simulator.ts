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

/** Faults of the link: the chance of each per byte, and how long a chunk is held back. Zero is a clean link. */
export interface LinkFaultRates {
  lose: number;
  double: number;
  flip: number;
  /** The longest a chunk waits, milliseconds; each waits a random part of it. */
  delayMs: number;
}

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
}

/** What the board would read with no noise at a known attitude. */
export interface TrueReading extends Attitude {
  acc: Triple;
  mag: Triple;
}

export interface SimulatorControl {
  /** The hand brings the instrument to an aim, with its own error, and holds it there. */
  hold(aim: Attitude): Promise<void>;
  /** The person goes that many metres to one side of where the steel, if any, was met first, holding on as before. */
  walk(metres: number): Promise<void>;
  /** Presses the trigger on the board. */
  press(): Promise<void>;
  settings(): Promise<SimulatorSettings>;
  adjust(change: Partial<SimulatorSettings>): Promise<void>;
  /** Noise-free counts at attitudes spread evenly over directions and rolls, with those attitudes. */
  truth(count: number): Promise<readonly TrueReading[]>;
}
