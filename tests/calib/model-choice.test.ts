import { describe, expect, it } from 'vitest';
import { spoiledCalibration } from '../../bench/screening.ts';
import { simulateCalibration } from '../../bench/simulated-calibration.ts';
import { RAW_SCALES } from '../../firmware-sim/raw-readings.ts';
import { chooseModel, type ModelChoice } from '../../src/calib/model-choice.ts';
import type { Reading } from '../../src/calib/reading.ts';

const options = { scales: RAW_SCALES, noise: { acc: 16.4, mag: 6.8 } };

function chosen(readings: readonly Reading[]): ModelChoice {
  const choice = chooseModel(readings, options);
  if ('ok' in choice) throw new Error(choice.message);
  return choice;
}

describe('straight or bowed', () => {
  it('bowed is chosen where the chip is, with what either model misses beside it', () => {
    const { readings } = simulateCalibration({ seed: 62, curvature: 0.02 });
    const { chosen: taken, other, verdict } = chosen(readings);
    expect([taken.coefficients.model, other!.coefficients.model]).toEqual(['bowed', 'straight']);
    expect(verdict.why).toBe('clear');
    const { straight, bowed, gain, standardError } = verdict.missed!;
    // four readings of eight residuals, less twelve attitudes' unknowns and the sighting's two: 18, and some to predict
    expect(bowed).toBeGreaterThan(16);
    expect(bowed).toBeLessThan(26);
    expect(gain).toBeCloseTo(straight - bowed, 9);
    expect(gain).toBeGreaterThan(standardError);
  });

  it('straight is kept where nothing is gained', () => {
    const { chosen: taken, verdict } = chosen(simulateCalibration({ seed: 63 }).readings);
    expect(taken.coefficients.model).toBe('straight');
    expect(verdict.why).toBe('not_clear');
    expect(verdict.missed!.gain).toBeLessThanOrEqual(verdict.missed!.standardError);
  });

  it('what is chosen knows every reading that was given, those set aside too', () => {
    const { readings, bad } = spoiledCalibration(3);
    const { chosen: taken, other } = chosen(readings);
    for (const { readings: seen, setAside } of [taken, other!]) {
      expect(seen.map(({ id }) => id)).toEqual(readings.map(({ id }) => id));
      expect(new Set(setAside.map(({ id }) => id))).toEqual(bad);
    }
  });

  it('straight where too few sightings are left to judge a bowed model by', () => {
    const { readings } = simulateCalibration({ seed: 64, curvature: 0.02 });
    const sightings = new Set(['1', '5', '8', '11']);
    const some = readings.filter(({ sighting }) => sightings.has(sighting!));
    const { chosen: taken, verdict } = chosen(some);
    expect(taken.coefficients.model).toBe('straight');
    expect(verdict).toEqual({ why: 'too_few' });
  });

  it('a refusal stays one', () => {
    const choice = chooseModel(simulateCalibration({ seed: 63 }).readings.slice(0, 8), options);
    expect(choice).toMatchObject({ ok: false, cause: 'too_few' });
  });
});
