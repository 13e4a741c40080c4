import type { FitOptions, FitRefusal } from '../calib/fit.ts';
import type { BoardIdentity } from '../protocol/board.ts';
import type { EnteredSheet, FitRecord } from '../records/entries.ts';
import { aimInRadians } from '../records/readings-csv.ts';
import { keptReadings, type CalibrationState } from './calibration-state.ts';
import { fitAndExamine, fitQuickly, type ExaminedReading } from './examination.ts';

/** From readings of the logbook to a fit and back. Plain data both ways, so that it may run in a worker. */

export interface FitRequest {
  readings: readonly ExaminedReading[];
  options: FitOptions;
}

/** What a fit gave, as the logbook keeps it, or the refusal. */
export type FitOutcome = ({ ok: true } & Omit<FitRecord, 'id'>) | FitRefusal;

/** Runs a fit somewhere: here, or in a worker. Rejects only where it could not be run at all. */
export type Fitter = (request: FitRequest) => Promise<FitOutcome>;

/** What a provisional fit gave: it is made quickly, and examined only as far as that goes quickly. */
export type LiveOutcome =
  ({ ok: true } & Omit<FitRecord, 'id' | 'residualTests' | 'holdsFor'>) | FitRefusal;

/** Runs a provisional fit as a {@link Fitter} does the one that a person asks for, and never in its way. */
export type LiveFitter = (request: FitRequest) => Promise<LiveOutcome>;

/**
 * What to fit: the readings not set aside, with all that the plan and the board say.
 *
 * @param identity of the board as it said it; absent where nothing was heard of it
 */
export function fitRequest(state: CalibrationState, identity?: BoardIdentity): FitRequest {
  return {
    readings: keptReadings(state).map(({ id, reading, sighting, aim }) => ({
      id,
      acc: reading.acc,
      mag: reading.mag,
      ...(reading.temperature !== undefined && { temperature: reading.temperature }),
      ...(sighting !== undefined && { sighting }),
      ...(aim && { aim: aimInRadians(aim) }),
    })),
    options: {
      ...(state.entered ? saidOfSheet(state.entered) : identity && saidByBoard(identity)),
      planAzimuths: state.plan.azimuths,
      ...(state.plan.dipSign && { dipSign: state.plan.dipSign }),
      // once a person has taken back what a fit set aside, the person decides
      screening: !state.overruled,
    },
  };
}

type Said = Pick<FitOptions, 'scales' | 'noise' | 'mounting'>;

function saidByBoard(identity: BoardIdentity): Said {
  const { accMounting: acc, magMounting: mag } = identity;
  return {
    scales: { acc: identity.accScale, mag: identity.magScale },
    noise: { acc: identity.accNoise, mag: identity.magNoise },
    ...(acc !== undefined && mag !== undefined && { mounting: { acc, mag } }),
  };
}

function saidOfSheet({ scales, mounting }: EnteredSheet): Said {
  return { ...(scales && { scales }), ...(mounting && { mounting }) };
}

/** Fits by the model that predicts sightings left out better, and examines the fit. */
export function runFit({ readings, options }: FitRequest): FitOutcome {
  return fitAndExamine(readings, options);
}

/** A provisional fit, by the same model as {@link runFit} takes. */
export function runLiveFit({ readings, options }: FitRequest): LiveOutcome {
  return fitQuickly(readings, options);
}
