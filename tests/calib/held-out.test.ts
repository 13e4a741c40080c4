import { describe, expect, it } from 'vitest';
import { simulateCalibration } from '../../bench/simulated-calibration.ts';
import { RAW_SCALES } from '../../firmware-sim/raw-readings.ts';
import { CalibrationProblem } from '../../src/calib/calibration-problem.ts';
import { fit, type Fit } from '../../src/calib/fit.ts';
import { degrees } from '../../src/calib/geometry.ts';
import { leaveSightingsOut } from '../../src/calib/held-out.ts';
import { sightOf } from '../../src/calib/model.ts';
import type { Reading } from '../../src/calib/reading.ts';
import { levenbergMarquardt } from '../../src/calib/solver.ts';
import { directionStatistics } from '../../src/calib/spread.ts';
import { coefficientsOf, inScale, observe, stateFrom } from '../../src/calib/state.ts';

const options = { scales: RAW_SCALES, noise: { acc: 16.4, mag: 6.8 }, screening: false };

function fitted(readings: readonly Reading[]): Fit {
  const result = fit(readings, options);
  if (!result.ok) throw new Error(result.message);
  return result;
}

const judged = (seed: number) => {
  const { readings } = simulateCalibration({ seed });
  return leaveSightingsOut(fitted(readings), readings)!;
};

/** The same problem solved for some of the readings, from the same answer and with the same noise. */
function solved(readings: readonly Reading[], from: Fit): CalibrationProblem {
  const scaled = inScale(readings, RAW_SCALES);
  const data = observe(
    scaled,
    scaled.map(() => true),
    true,
  );
  const { theta, attitudes } = stateFrom(scaled, from.coefficients, from.dip);
  const problem = new CalibrationProblem(data, theta, attitudes);
  problem.noise = {
    acc: from.noise.acc / RAW_SCALES.acc,
    mag: from.noise.mag / RAW_SCALES.mag,
    aim: from.noise.aim!,
  };
  levenbergMarquardt(problem);
  return problem;
}

describe('leaving a sighting out', () => {
  const { readings } = simulateCalibration({ seed: 61 });
  const result = fitted(readings);
  const whole = solved(readings, result);

  it.each(['1', '4', '9'])('gives the answer that a fit without sighting %s gives', (name) => {
    const members = readings.flatMap(({ sighting }, j) => (sighting === name ? [j] : []));
    const predicted = whole.leaveOut(members)!;
    const without = solved(
      readings.filter(({ sighting }) => sighting !== name),
      result,
    );
    const covariance = without.covariance()!;
    predicted.theta.forEach((value, i) => {
      const standardError = Math.sqrt(covariance[i * whole.width + i]!);
      // exact but for curvature of the problem: a hundredth of a standard error, where the whole move is some tenths
      expect(Math.abs(value - without.theta[i]!)).toBeLessThan(0.01 * standardError);
    });
  });

  it('judges each sighting by coefficients that never saw it', () => {
    const names = [...new Set(readings.map(({ sighting }) => sighting!))];
    const spreads = names.map((name) => {
      const without = solved(
        readings.filter(({ sighting }) => sighting !== name),
        result,
      );
      const coefficients = coefficientsOf(without.theta, RAW_SCALES);
      const sights = readings
        .filter(({ sighting }) => sighting === name)
        .map((reading) => sightOf(reading, coefficients)!);
      return directionStatistics(sights)!.spread!;
    });
    const mean = spreads.reduce((a, b) => a + b) / spreads.length;
    expect(leaveSightingsOut(result, readings)!.meanSpread! / mean).toBeCloseTo(1, 2);
    // readings the fit did not see agree a little less than those it did
    expect(leaveSightingsOut(result, readings)!.meanSpread!).toBeGreaterThan(result.meanSpread!);
    expect(degrees(leaveSightingsOut(result, readings)!.meanSpread!)).toBeLessThan(0.5);
    expect(leaveSightingsOut(result, readings)!.count).toBe(14);
  });

  it('misses what it left out by as much as noise and its own uncertainty explain', () => {
    const sums = [1, 2, 3, 4, 5, 6, 7, 8].map((seed) => {
      return judged(seed).squares / 14;
    });
    const mean = sums.reduce((a, b) => a + b) / sums.length;
    // 4 readings of 8 residuals less 3 each and 2: 18 degrees of freedom a sighting, and the answer's own error on top
    expect(mean).toBeGreaterThan(18);
    expect(mean).toBeLessThan(26);
  });
});

describe('a sighting disturbed as a whole', () => {
  it('is doubted where its readings agree among themselves but not with the others', () => {
    const { readings } = simulateCalibration({ seed: 64 });
    const centre = fitted(readings).coefficients.p.map((p) => p * RAW_SCALES.mag);
    // a field three percent stronger, and so the same dip and azimuth, through all four readings of sighting 6
    const spoiled = readings.map((reading) => {
      if (reading.sighting !== '6') return reading;
      const mag = reading.mag.map((count, axis) => count + 0.03 * (count - centre[axis]!));
      return { ...reading, mag: mag as unknown as Reading['mag'] };
    });
    expect(leaveSightingsOut(fitted(spoiled), spoiled)!.doubtful).toEqual(['6']);
  });

  it('is seldom doubted for nothing', () => {
    const doubted = Array.from({ length: 20 }, (_, i) => judged(100 + i).doubtful.length);
    // one set in a hundred; three in twenty would have a chance of one in a thousand
    expect(doubted.reduce((a, b) => a + b)).toBeLessThan(3);
  });
});
