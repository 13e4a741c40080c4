import type { FitRefusal, FittedReading, RefusalCause } from '../calib/fit.ts';
import type { BoardIdentity } from '../protocol/board.ts';
import type { FitRecord } from '../records/entries.ts';
import { messageOf } from './bench-words.ts';
import { keptReadings, type CalibrationState } from './calibration-state.ts';
import type { Desk } from './desk.ts';
import { fitRequest, type LiveFitter } from './fitting.ts';
import { NewestFirst } from './newest-first.ts';

/**
 * The provisional fit of an open calibration: made anew after every change of its readings, shown, and written nowhere,
 * since the logbook's readings give it again at any time.
 */
export type LiveFit = LiveCoefficients | LiveRefusal;

/**
 * A provisional fit. Beside `readings` and `fitted` it has what a {@link FitRecord} has, in the same units (radians,
 * counts): `coefficients` rounded to binary32, as a board would hold them; the fitted `dip`; `uncertainty` with the
 * covariance of θ, row by row; `noise`, `sightings`, `meanSpread`, `setAside` (what it would leave out by itself, nothing of
 * which is marked in the logbook), `modelChoice`, `heldOut`, `readingNoise`. It was not tested whether its residuals
 * hold more than noise, nor what it holds for: that belongs to the fit that a person asks for.
 */
export interface LiveCoefficients extends Omit<
  FitRecord,
  'id' | 'readings' | 'residualTests' | 'holdsFor'
> {
  ok: true;
  /** How many readings it was given: all that were not set aside when it was asked for. */
  readings: number;
  /** Those readings one by one, in the order of taking, with their residuals. `used` is false where it left one out. */
  fitted: readonly FittedReading[];
  /** The model that was not taken, where it could be fitted. */
}

/** Why there is no provisional fit: what is wrong and what to do next, in words. */
export interface LiveRefusal extends Omit<FitRefusal, 'cause'> {
  /** How many readings it was given; `fewest`, where present, is how many there must be at least. */
  readings: number;
  /** As of a fit; `not_made` where it could not be computed at all, which says nothing of the readings. */
  cause: RefusalCause | 'not_made';
}

/** What a provisional fit is made of: it is made again where one of these is another. */
interface Wish {
  calibration: CalibrationState;
  identity: BoardIdentity | undefined;
}

/** Keeps the provisional fit of a desk in its state, as its readings change. */
export class LiveFitting {
  readonly #fits: NewestFirst<Wish>;

  constructor(
    private readonly desk: Desk,
    private readonly fitter: LiveFitter,
  ) {
    this.#fits = new NewestFirst(async (wish) => {
      const live = await this.#fitOf(wish);
      // one that a newer wish has overtaken still tells more than what is shown
      if (this.#fits.wish?.calibration.id === wish.calibration.id) desk.change({ live });
    });
  }

  /** Called after every change of the desk's state: asks for a fit where the readings are others than before. */
  look(): void {
    const { history, live } = this.desk.state;
    const { calibration, identity } = history;
    const before = this.#fits.wish;
    if (!calibration || calibration.ended || calibration.chosen) {
      this.#fits.want(undefined);
      if (live) this.desk.change({}, 'live');
      return;
    }
    if (
      before?.calibration.readings === calibration.readings &&
      before.calibration.id === calibration.id &&
      before.identity === identity
    ) {
      return;
    }
    this.#fits.want({ calibration, identity });
    if (live && before?.calibration.id !== calibration.id) this.desk.change({}, 'live');
  }

  async #fitOf({ calibration, identity }: Wish): Promise<LiveFit> {
    const readings = keptReadings(calibration).length;
    try {
      const outcome = await this.fitter(fitRequest(calibration, identity));
      return outcome.ok
        ? { ...outcome, readings, fitted: outcome.readings }
        : { ...outcome, readings };
    } catch (error) {
      return {
        ok: false,
        readings,
        cause: 'not_made',
        message: `The provisional fit could not be made: ${messageOf(error)}`,
        next: 'The readings are in the logbook; go on taking them. It is tried again with the next.',
      };
    }
  }
}
