import type { Entry } from '../records/entries.ts';
import { without } from './copy-without.ts';
import type { Desk } from './desk.ts';
import { fitRequest, type Fitter } from './fitting.ts';
import { nextStepId } from './mark-steps.ts';

/** Fits the calibration of a desk, and writes to the logbook what came of it; for a board that is linked or not. */
export async function fitCalibration(desk: Desk, fitter: Fitter): Promise<void> {
  const before = desk.calibration();
  const outcome = await fitter(fitRequest(before, desk.state.history.identity));
  const after = desk.calibration();
  if (after.readings !== before.readings) return fitCalibration(desk, fitter); // one landed meanwhile
  const stamp = desk.inCalibration();
  if (!outcome.ok) {
    const { cause, message, next } = outcome;
    await desk.append({ ...stamp, kind: 'fit refused', cause, message, next });
    desk.say(`No fit: ${message}`);
    return;
  }
  const step = nextStepId(after.marks, stamp.time);
  await desk.append(
    { ...stamp, kind: 'fit', id: `fit ${before.fits.length + 1}`, ...without(outcome, 'ok') },
    // one step, which can be taken back as one
    ...outcome.setAside.map(({ id, reason }): Entry => ({
      ...stamp,
      step,
      kind: 'set aside',
      reading: id,
      reason,
      by: 'fit',
    })),
  );
  desk.say('The fit is done.');
}
