import { coefficientsFrom } from '../calib/model.ts';
import { validityOf } from '../calib/validity.ts';
import { crcOf } from '../records/coefficients-words.ts';
import type { TakenReading } from '../records/entries.ts';
import { foldCalibration, type CalibrationState, type Slot } from './calibration-state.ts';
import type { Desk } from './desk.ts';
import { openProofSlots, proofOf, truthErrors, type ProofTerms } from './proof.ts';
import { meanAndDeviation } from './statistics.ts';
import type { Taking } from './taking.ts';
import { limitsFor, ORDINARY_TOLERANCE } from './tolerance.ts';

/** How many noise-free attitudes the truth is taken over. */
const TRUTH_ATTITUDES = 400;

/**
 * Takes fresh readings, draws the proof from them once all are in, and holds what was sealed against the truth where a
 * simulated board can tell it.
 *
 * @param places where readings are still to be taken
 */
export async function prove(
  desk: Desk,
  taking: Taking,
  places: () => readonly Slot[],
): Promise<void> {
  await taking.take(places, 'proof');
  const { sealed, tolerance, proofReadings, proof: drawn } = desk.calibration();
  if (drawn || openProofSlots(proofReadings).length > 0) return; // stopped before it was whole
  if (!sealed) throw new Error('nothing was sealed');
  await desk.linked().mode('idle');
  const { generation, set } = sealed;
  const coefficients = coefficientsFrom(set.model, set.values);
  const fit = await fitOf(desk, sealed.crc);
  const stamp = desk.inCalibration();
  const proof = proofOf(proofReadings, coefficients, generation, {
    limits: limitsFor(tolerance ?? ORDINARY_TOLERANCE),
    ...(fit && { fit }),
  });
  await desk.append({ ...stamp, kind: 'proof', ...proof });
  desk.say(proof.passed ? 'The proof passed.' : 'The proof did not pass.');
  if (!desk.hand) return;
  const truth = truthErrors(coefficients, await desk.hand.truth(TRUTH_ATTITUDES));
  await desk.append({ ...stamp, kind: 'truth compared', generation, ...truth });
}

/** What the fit that gave the sealed coefficients says to a proof, be it of this calibration or an earlier one. */
async function fitOf(desk: Desk, crc: string): Promise<ProofTerms['fit']> {
  const now = desk.calibration();
  const source = now.chosen?.source.fit;
  const calibration = now.chosen ? source && (await recalled(desk, source.calibration)) : now;
  // not by its id: two benches that fitted the same calibration number their fits alike
  const fit = calibration?.fits.findLast(({ coefficients }) => crcOf(coefficients) === crc);
  if (!calibration || !fit) return undefined;
  const used = fit.readings.filter((reading) => reading.used);
  return {
    field: meanAndDeviation(used.map((reading) => reading.field)).mean,
    validity: validityOf(fit, fitted(calibration.readings)),
  };
}

/** An earlier calibration of the board, as it stands in the logbook, taken on the board or from a sheet. */
async function recalled(desk: Desk, id: string): Promise<CalibrationState | undefined> {
  const entries = await desk.entriesOf(desk.linked().identity.serial);
  return foldCalibration(entries, id).calibration;
}

/** Readings as the validity of their fit is told from them. */
const fitted = (readings: readonly TakenReading[]) =>
  readings.map(({ id, reading: { acc, mag, temperature } }) => ({
    id,
    acc,
    mag,
    ...(temperature !== undefined && { temperature }),
  }));
