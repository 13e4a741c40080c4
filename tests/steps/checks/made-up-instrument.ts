import { randomStream, type Random } from '../../../firmware-sim/random.ts';
import {
  attitudeRotation,
  cleanField,
  DOWN,
  inBody,
  turnInBody,
  type Triple,
} from '../../../firmware-sim/world.ts';
import type { Uncertainty } from '../../../src/calib/covariance.ts';
import type { BoardReading } from '../../../src/protocol/board.ts';
import type { Attitude } from '../../../src/protocol/simulator.ts';
import type { CheckTerms, ToleranceChoice } from '../../../src/records/entries.ts';
import { placesOf, type CheckPlace } from '../../../src/steps/checks/check-places.ts';
import { verdictOf, type Begun } from '../../../src/steps/checks/verdict.ts';
import { setCrc } from '../../../src/protocol/messages.ts';

const SCALE = 1000;
export const DIP = 65;

/** Forward parameters of chips that sit as the body does and err in nothing. */
const THETA = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0].concat(
  (DIP * Math.PI) / 180,
);

/** Standard error of each of them but the dip. */
const ERROR = 0.001;

/** A board that runs the coefficients of perfect chips, and the covariance that goes with them. */
export const SET = {
  model: 'straight' as const,
  values: [SCALE, SCALE, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1],
};

export const UNCERTAINTY: Uncertainty = {
  azimuth: 0,
  inclination: 0,
  freedom: { azimuth: Infinity, inclination: Infinity },
  theta: THETA,
  covariance: THETA.flatMap((_, i) => THETA.map((__, k) => (i === k && i < 24 ? ERROR ** 2 : 0))),
};

/**
 * An instrument whose chips are what its coefficients say but for errors drawn from that covariance, or exactly so; held by
 * a hand that errs each time. Its physics are the simulator's, not those of the arithmetic under test.
 */
export class MadeUpInstrument {
  readonly #random: Random;
  readonly #theta: readonly number[];
  #number = 0;

  constructor(
    seed: number,
    { errs = true }: { errs?: boolean } = {},
    /** Standard deviation of the aim, degrees; of both chips' noise, parts of 1 g and of the field. */
    private readonly noise = { aim: 0.1, chip: 0.001 },
  ) {
    this.#random = randomStream(seed, 'made-up instrument');
    const draw = () => (errs ? ERROR * this.#random.normal() : 0);
    this.#theta = THETA.slice(0, 24).map((value) => value + draw());
  }

  /** @param iron added to the field, in the body */
  read(aim: Attitude, iron: Triple = [0, 0, 0]): BoardReading {
    const random = this.#random;
    const shake = () => this.noise.aim * random.normal();
    const rotation = turnInBody(attitudeRotation(aim), [0, shake(), shake()]);
    const chip = (from: number, vector: Triple): Triple => {
      const row = (i: number) => {
        const at = from + 4 * i;
        const [a, b, c, o] = this.#theta.slice(at, at + 4);
        const value = a! * vector[0] + b! * vector[1] + c! * vector[2] + o!;
        return SCALE * (value + this.noise.chip * random.normal());
      };
      return [row(0), row(1), row(2)];
    };
    const field = inBody(rotation, cleanField({ dip: DIP, strength: 1, disturbance: 0 }));
    const ironed: Triple = [field[0] + iron[0], field[1] + iron[1], field[2] + iron[2]];
    return {
      reading: ++this.#number,
      generation: 1,
      acc: chip(0, inBody(rotation, DOWN)),
      mag: chip(12, ironed),
    };
  }

  /** All readings of a check, aimed at its places as `aim` says. */
  readAll(
    terms: CheckTerms,
    aim: (place: CheckPlace) => Attitude = ({ aim }) => aim,
    iron: (place: CheckPlace) => Triple = () => [0, 0, 0],
  ): Map<string, BoardReading> {
    return new Map(
      placesOf(terms).map((place) => [place.place, this.read(aim(place), iron(place))]),
    );
  }
}

export const begunWith = (
  terms: CheckTerms,
  tolerance: ToleranceChoice = { degrees: 1 },
): Begun => ({ id: 'a check', terms, tolerance, generation: 1, set: SET, crc: setCrc(SET) });

/** What a check comes to on an instrument. */
export const verdictWith = (
  terms: CheckTerms,
  readings: ReadonlyMap<string, BoardReading>,
  calibration: Uncertainty | 'not known' = UNCERTAINTY,
  tolerance?: ToleranceChoice,
) =>
  verdictOf(
    begunWith(terms, tolerance),
    readings,
    calibration === 'not known' ? undefined : calibration,
  );
