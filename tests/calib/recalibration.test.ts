import { describe, expect, it } from 'vitest';
import { meanSquareErrors, simulateCalibration } from '../../bench/simulated-calibration.ts';
import { rawReadings, RAW_SCALES, type Instrument } from '../../firmware-sim/raw-readings.ts';
import { fit, type Fit } from '../../src/calib/fit.ts';
import { degrees, radians } from '../../src/calib/geometry.ts';
import type { Reading } from '../../src/calib/reading.ts';
import { recalibrateOffsets } from '../../src/calib/recalibration.ts';

/** The same chips after the battery was changed: its steel moves the hard iron by a tenth of the field. */
function afterBattery({ instrument, settings }: ReturnType<typeof simulateCalibration>) {
  const moved: Instrument = {
    ...instrument,
    exact: (down, field) => {
      const { acc, mag } = instrument.exact(down, field);
      return { acc, mag: [mag[0] + 340, mag[1] - 200, mag[2] + 120] };
    },
  };
  const aims = [
    [0, 0, 0],
    [0, 0, 180],
    [90, 0, 90],
    [180, 0, 270],
    [270, 35, 0],
    [45, -35, 180],
    [0, 90, 0],
    [0, -90, 90],
  ].map(([azimuth, inclination, roll]) => ({
    azimuth: azimuth!,
    inclination: inclination!,
    roll: roll!,
  }));
  const readings: Reading[] = rawReadings(
    moved,
    { ...settings, seed: settings.seed + 500 },
    aims,
  ).map(({ acc, mag }, i) => ({ id: `b${i}`, acc, mag }));
  return { moved, readings };
}

const whole = (readings: readonly Reading[]): Fit => {
  const result = fit(readings, { scales: RAW_SCALES, noise: { acc: 16.4, mag: 6.8 } });
  if (!result.ok) throw new Error(result.message);
  return result;
};

describe('after a battery change, offsets alone', () => {
  it('from eight readings bring the error back to where a whole calibration had it', () => {
    const errors = [1, 2, 3, 4, 5, 6].map((seed) => {
      const calibration = simulateCalibration({ seed });
      const earlier = whole(calibration.readings);
      const { moved, readings } = afterBattery(calibration);
      const again = recalibrateOffsets(earlier, readings);
      if (!again.ok) throw new Error(again.message);
      const now = { ...calibration, instrument: moved };
      return {
        stale: meanSquareErrors(earlier.coefficients, now).azimuth,
        again: meanSquareErrors(again.coefficients, now).azimuth,
        claimed: again.uncertainty.azimuth ** 2,
        warned: again.warnings.join(),
      };
    });
    const rms = (f: (error: (typeof errors)[number]) => number) =>
      degrees(Math.sqrt(errors.reduce((sum, error) => sum + f(error), 0) / errors.length));
    expect(rms(({ stale }) => stale)).toBeGreaterThan(5);
    expect(rms(({ again }) => again)).toBeLessThan(0.25);
    // the claim is honest: within what six draws can tell
    expect(rms(({ again }) => again) / rms(({ claimed }) => claimed)).toBeGreaterThan(0.5);
    expect(rms(({ again }) => again) / rms(({ claimed }) => claimed)).toBeLessThan(1.7);
    expect(errors[0]!.warned).toMatch(/Only the offsets/);
  });

  it('gains, cross-axis terms and where roll is zero stay as they were', () => {
    const calibration = simulateCalibration({ seed: 7 });
    const earlier = whole(calibration.readings);
    const again = recalibrateOffsets(earlier, afterBattery(calibration).readings);
    if (!again.ok) throw new Error(again.message);
    again.coefficients.A.forEach((value, i) =>
      // the earlier answer is known to a thousandth; eight readings cannot move it by much
      expect(Math.abs(value - earlier.coefficients.A[i]!)).toBeLessThan(0.003),
    );
    expect(Math.abs(again.coefficients.p[0] - earlier.coefficients.p[0])).toBeGreaterThan(0.05);
  });

  it('with readings of the same board unchanged, nothing changes beyond the noise', () => {
    const calibration = simulateCalibration({ seed: 8 });
    const earlier = whole(calibration.readings);
    const again = recalibrateOffsets(earlier, calibration.readings.slice(0, 24));
    if (!again.ok) throw new Error(again.message);
    again.coefficients.p.forEach((value, i) =>
      expect(Math.abs(value - earlier.coefficients.p[i]!)).toBeLessThan(0.004),
    );
    expect(Math.abs(again.dip - earlier.dip)).toBeLessThan(radians(0.2));
  });

  it('two readings are too few, and that is said', () => {
    const calibration = simulateCalibration({ seed: 8 });
    const earlier = whole(calibration.readings);
    expect(recalibrateOffsets(earlier, calibration.readings.slice(0, 2))).toMatchObject({
      ok: false,
      cause: 'too_few',
    });
  });
});
