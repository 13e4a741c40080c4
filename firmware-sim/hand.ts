import type { Attitude } from '../src/protocol/simulator.ts';
import type { Random } from './random.ts';
import { attitudeRotation, type Rotation, type Triple, turnInBody } from './world.ts';

export interface Steadiness {
  /** Error of each aim, up-down and sideways alike: standard deviation, degrees. */
  aim: number;
  /** Error of the roll: standard deviation, degrees. */
  roll: number;
  /** How fast the instrument still turns about each axis while it is read: standard deviation, degrees a second. */
  tremor: number;
}

/**
 * The hand that holds the instrument. Bringing it to an aim draws the errors; from then on it holds still, but for
 * the tremor. Each error comes from its own stream, drawn whether it counts or not.
 */
export class Hand {
  #rotation: Rotation = attitudeRotation({ azimuth: 0, inclination: 0, roll: 0 });
  #rate: Triple = [0, 0, 0];

  constructor(private readonly streams: { aim: Random; roll: Random; tremor: Random }) {}

  hold(aim: Attitude, steadiness: Steadiness): void {
    const { aim: aimStream, roll, tremor } = this.streams;
    const rolled = attitudeRotation({ ...aim, roll: aim.roll + steadiness.roll * roll.normal() });
    const up = steadiness.aim * aimStream.normal();
    const aside = steadiness.aim * aimStream.normal();
    this.#rotation = turnInBody(rolled, [0, up, aside]);
    const rate = (): number => steadiness.tremor * tremor.normal();
    this.#rate = [rate(), rate(), rate()];
  }

  /** The attitude, body to world, `ms` milliseconds after the middle of a reading (before it, if negative). */
  rotationAt(ms: number): Rotation {
    const seconds = ms / 1000;
    const [x, y, z] = this.#rate;
    if (x === 0 && y === 0 && z === 0) return this.#rotation;
    return turnInBody(this.#rotation, [x * seconds, y * seconds, z * seconds]);
  }
}
