import { describe, expect, it } from 'vitest';
import { meanSquareErrors, simulateCalibration } from '../../bench/simulated-calibration.ts';
import { RAW_SCALES } from '../../firmware-sim/raw-readings.ts';
import { fit } from '../../src/calib/fit.ts';
import { degrees } from '../../src/calib/geometry.ts';
import { allMountings } from '../../src/calib/model.ts';

describe('every pair of the 48 × 48 mountings is found from the plan', () => {
  it.each(allMountings)('with the accelerometer at %s', (accMounting) => {
    allMountings.forEach((magMounting, seed) => {
      const calibration = simulateCalibration({ seed, accMounting, magMounting });
      const result = fit(calibration.readings, { scales: RAW_SCALES });
      if (!result.ok) throw new Error(`${magMounting}: ${result.message}`);
      expect(result.warnings).toEqual([]);
      // three times the bound of 0.08°: a wrong choice is off by right angles
      const error = degrees(Math.sqrt(meanSquareErrors(result.coefficients, calibration).azimuth));
      expect(error).toBeLessThan(0.25);
    });
  });
});
