import type { Reading } from '../../calib/reading.ts';
import type { Plan, PlannedSighting } from '../../records/entries.ts';
import { messageOf } from '../bench-words.ts';
import type { CalibrationState, KeptReading } from '../calibration-state.ts';
import type { Desk } from '../desk.ts';
import type { LiveCoefficients } from '../live-fit.ts';
import { NewestFirst } from '../newest-first.ts';
import { ORDINARY_TOLERANCE } from '../tolerance.ts';
import { turnedByPerson } from './own-hand.ts';

/** How many readings are left until azimuth is as sure as the tolerance asks. Plain data, so that it may be worked out in a worker. */

export interface LeftQuestion {
  fit: Pick<LiveCoefficients, 'coefficients' | 'noise' | 'uncertainty' | 'fitted'>;
  /** The readings that the fit was given, in its order. */
  readings: readonly Reading[];
  /** The tolerance, degrees. */
  wanted: number;
  plan: Plan;
  /** Of the calibration, those set aside too: what the plan has. */
  taken: readonly KeptReading[];
}

export interface ReadingsLeft {
  /** Half of the 95 % interval of azimuth × cos inclination as it stands, degrees. */
  now: number;
  /** What it is to be at most, degrees. */
  wanted: number;
  /** How many more, each the best after those before it; absent where {@link MOST_AHEAD} are not enough. */
  needed?: number;
  /** Those readings as sightings, to be taken in place of what the plan still lacks; none where none is needed. */
  advised: readonly PlannedSighting[];
}

/** Farther ahead nobody plans. */
export const MOST_AHEAD = 40;

/** Works it out somewhere: here, or in a worker, since it takes long. Rejects only where that could not be done at all. */
export type Forecaster = (question: LeftQuestion) => Promise<ReadingsLeft>;

interface Wish {
  live: LiveCoefficients;
  calibration: CalibrationState;
}

/** Keeps what is left in a desk's state, as its provisional fits come, while a person collects. */
export class Forecasting {
  readonly #questions: NewestFirst<Wish>;

  constructor(
    private readonly desk: Desk,
    private readonly forecaster: Forecaster,
  ) {
    this.#questions = new NewestFirst(async (wish) => {
      const left = await this.#ask(wish);
      if (this.#questions.wish?.calibration.id === wish.calibration.id) desk.change({ left });
    });
  }

  /** Called after every change of the desk's state. */
  look(): void {
    const { desk } = this;
    const { live, left, history } = desk.state;
    const { calibration } = history;
    if (!live?.ok || !calibration || calibration.sealed || !turnedByPerson(desk.state)) {
      this.#questions.want(undefined);
      if (left) desk.change({}, 'left');
      return;
    }
    const before = this.#questions.wish;
    if (before?.live === live && before.calibration.tolerance === calibration.tolerance) return;
    this.#questions.want({ live, calibration });
  }

  async #ask({ live, calibration }: Wish): Promise<ReadingsLeft | { failed: string }> {
    const { degrees: wanted } = calibration.tolerance ?? ORDINARY_TOLERANCE;
    const counts = new Map(calibration.readings.map(({ id, reading }) => [id, reading]));
    const { coefficients, noise, uncertainty } = live;
    const fitted = live.fitted.filter(({ id }) => counts.has(id));
    try {
      return await this.forecaster({
        fit: { coefficients, noise, uncertainty, fitted },
        readings: fitted.map(({ id }) => {
          const { acc, mag } = counts.get(id)!;
          return { id, acc, mag };
        }),
        wanted,
        plan: calibration.plan,
        taken: calibration.readings,
      });
    } catch (error) {
      return { failed: messageOf(error) };
    }
  }
}

/** In words. */
export function leftWords(left: ReadingsLeft | { failed: string }): string {
  if ('failed' in left) {
    return `How many readings are left could not be worked out: ${left.failed}. It does not matter to the readings.`;
  }
  const { now, wanted, needed } = left;
  const stands = `The coefficients add ±${now.toFixed(2)}° to azimuth as it stands (95 % interval, by the scatter so far); ±${wanted}° is asked.`;
  if (needed === 0) {
    return `${stands} That is enough. Fit what is there, or go on: more readings show what else may be wrong.`;
  }
  if (needed === undefined) return `${stands} That takes more than ${MOST_AHEAD} readings more.`;
  return `${stands} About ${needed} more ${needed === 1 ? 'reading' : 'readings'} will do, if they are spread well.`;
}

/** How many readings a list of sightings asks for. */
export const readingsOf = (sightings: readonly PlannedSighting[]): number =>
  sightings.reduce((sum, { rolls }) => sum + rolls.length, 0);
