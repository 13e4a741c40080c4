import { coefficientsFrom } from '../calib/model.ts';
import { validityOf } from '../calib/validity.ts';
import type { TakenReading } from '../records/entries.ts';
import type { Slot } from './calibration-state.ts';
import type { Desk } from './desk.ts';
import { openProofSlots, proofOf, truthErrors } from './proof.ts';
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
  const { sealed, fits, readings, tolerance, proofReadings, proof: drawn } = desk.calibration();
  if (drawn || openProofSlots(proofReadings).length > 0) return; // stopped before it was whole
  const fit = fits.findLast(({ id }) => id === sealed?.fit);
  if (!sealed || !fit) throw new Error('what was sealed came from no fit');
  await desk.linked().mode('idle');
  const { generation, set } = sealed;
  const coefficients = coefficientsFrom(set.model, set.values);
  const used = fit.readings.filter((reading) => reading.used);
  const fieldInFit = meanAndDeviation(used.map((reading) => reading.field)).mean;
  const stamp = desk.inCalibration();
  const proof = proofOf(proofReadings, coefficients, generation, {
    limits: limitsFor(tolerance ?? ORDINARY_TOLERANCE),
    fieldInFit,
    validity: validityOf(fit, fitted(readings)),
  });
  await desk.append({ ...stamp, kind: 'proof', ...proof });
  desk.say(proof.passed ? 'The proof passed.' : 'The proof did not pass.');
  if (!desk.hand) return;
  const truth = truthErrors(coefficients, await desk.hand.truth(TRUTH_ATTITUDES));
  await desk.append({ ...stamp, kind: 'truth compared', generation, ...truth });
}

/** Readings as the validity of their fit is told from them. */
const fitted = (readings: readonly TakenReading[]) =>
  readings.map(({ id, reading: { acc, mag, temperature } }) => ({
    id,
    acc,
    mag,
    ...(temperature !== undefined && { temperature }),
  }));
