import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { simulateCalibration } from '../../bench/simulated-calibration.ts';
import { RAW_SCALES } from '../../firmware-sim/raw-readings.ts';
import { standardErrors } from '../../src/calib/covariance.ts';
import { fit, type Fit } from '../../src/calib/fit.ts';
import { bodyVectors, radians } from '../../src/calib/geometry.ts';
import { applyCoefficients } from '../../src/calib/model.ts';
import type { Reading } from '../../src/calib/reading.ts';
import {
  attitudesOutside,
  ORDINARY_LIMITS,
  outside,
  standing,
  validityOf,
} from '../../src/calib/validity.ts';

function fitted(readings: readonly Reading[]): Fit {
  const result = fit(readings, { scales: RAW_SCALES, noise: { acc: 16.4, mag: 6.8 } });
  if (!result.ok) throw new Error(result.message);
  return result;
}

const calibration = simulateCalibration({ seed: 5 });
const whole = fitted(calibration.readings);
const warm = calibration.readings.map((reading, i) => ({ ...reading, temperature: 12 + i / 10 }));
const validity = validityOf(whole, warm);

const attitudes = fc.tuple(
  fc.double({ min: 0, max: 6.28, noNaN: true }),
  fc.double({ min: -Math.PI / 2, max: Math.PI / 2, noNaN: true }),
  fc.double({ min: 0, max: 6.28, noNaN: true }),
);

describe('a calibration by the cube plan', () => {
  it('holds for its own readings, which are no way off', () => {
    for (const { acc, mag, temperature } of warm) {
      const found = standing(validity, {
        ...applyCoefficients(whole.coefficients, acc, mag),
        temperature,
      });
      expect(found.reasons).toEqual([]);
      expect(found.down!).toBeLessThan(1e-7);
      expect(found.field!).toBeLessThan(1e-7);
    }
  });

  it('holds for every attitude, vertical sights among them', () => {
    fc.assert(
      fc.property(attitudes, ([a, i, r]) => {
        expect(outside(validity, bodyVectors(a, i, r, whole.dip))).toEqual([]);
      }),
    );
    for (const off of [0, 1e-12, 1e-6, 0.0008, 0.0009, 0.0017, 0.0018]) {
      for (const inclination of [Math.PI / 2 - off, off - Math.PI / 2]) {
        for (const roll of [0, 1, 2, 3, 4, 5, 6]) {
          const found = standing(validity, bodyVectors(1, inclination, roll, whole.dip));
          expect(found.reasons).toEqual([]);
          // nothing special happens there: as sure as of a steep sight
          expect(found.standardError!.inclination).toBeGreaterThan(radians(0.001));
        }
      }
    }
    expect(attitudesOutside(validity)).toEqual({ of: 200, outside: [] });
  });

  it('has the standard errors that the fit has', () => {
    const { standardError } = standing(validity, bodyVectors(1, 0.5, 2, whole.dip));
    const wanted = standardErrors(whole.uncertainty, 1, 0.5, 2);
    expect(standardError!.azimuth).toBeCloseTo(wanted.azimuth, 12);
    expect(standardError!.inclination).toBeCloseTo(wanted.inclination, 12);
  });

  it('goes through a file unchanged', () => {
    expect(JSON.parse(JSON.stringify(validity))).toEqual(validity);
  });
});

describe('temperature', () => {
  const asked = bodyVectors(1, 0, 2, whole.dip);
  // readings from 12 to 17.5 °C, and 5 °C beyond
  it.each([
    [6.9, ['colder']],
    [7.1, []],
    [22.4, []],
    [22.6, ['warmer']],
  ])('%d °C', (temperature, reasons) => {
    expect(standing(validity, { ...asked, temperature })).toMatchObject({
      reasons,
      temperatureTold: true,
    });
  });

  it('that nobody tells is normal, and said to be untold', () => {
    const untold = validityOf(whole, calibration.readings);
    expect(untold.temperature).toBeUndefined();
    expect(standing(untold, { ...asked, temperature: 99 })).toMatchObject({
      reasons: [],
      temperatureTold: false,
    });
    expect(standing(validity, asked)).toMatchObject({ reasons: [], temperatureTold: false });
  });

  it('counts only of readings that the fit used', () => {
    const without: Fit = {
      ...whole,
      readings: whole.readings.map((reading, i) => ({ ...reading, used: i < 50 })),
    };
    const left = validityOf(without, warm);
    expect(left.temperature).toEqual({ coldest: 12, warmest: 12 + 49 / 10 });
    expect(left.down).toHaveLength(50);
  });
});

describe('attitudes that a calibration did not cover', () => {
  // never upside down: rolls left, upright and right
  const upright = calibration.readings.filter(({ aim }) => Math.abs(aim!.roll! - Math.PI) > 0.1);
  const some = upright.filter(({ aim }) => Math.abs(aim!.inclination!) < 1.5);
  const partial = validityOf(fitted(some), some, { reach: radians(30) });
  const dip = partial.uncertainty.theta[24]!;

  it('are named with what is far from any reading', () => {
    const upsideDown = standing(partial, bodyVectors(0, 0, Math.PI, dip));
    expect(upsideDown.reasons).toContain('down_not_covered');
    expect(upsideDown.down!).toBeGreaterThan(radians(30));
    // in this plan a level sight had the field forward or back, left or right, never straight up
    expect(standing(partial, { g: [0, 0, 1], b: [0, 0.1, -1] }).reasons).toContain(
      'field_not_covered',
    );
    expect(outside(partial, bodyVectors(0, 0, 0, dip))).toEqual([]);
  });

  it('are listed', () => {
    const listed = attitudesOutside(partial);
    expect(listed.outside.length).toBeGreaterThan(10);
    expect(listed.outside.length).toBeLessThan(listed.of);
    for (const { azimuth, inclination, roll, reasons } of listed.outside) {
      expect(outside(partial, bodyVectors(azimuth, inclination, roll, dip))).toEqual(reasons);
    }
  });

  it('grow no more when more is allowed', () => {
    fc.assert(
      fc.property(
        attitudes,
        fc.double({ min: 0.1, max: 1, noNaN: true }),
        fc.double({ min: 0, max: 1, noNaN: true }),
        ([a, i, r], reach, more) => {
          const asked = bodyVectors(a, i, r, dip);
          const with_ = (angle: number) => ({
            ...partial,
            limits: { ...partial.limits, reach: angle },
          });
          const narrow = outside(with_(reach), asked);
          for (const reason of outside(with_(reach + more), asked)) {
            expect(narrow).toContain(reason);
          }
        },
      ),
    );
  });

  it('or where the error is over the limit, are named so', () => {
    const strict = validityOf(whole, warm, {
      standardError: { azimuth: radians(0.01), inclination: radians(0.005) },
    });
    expect(outside(strict, bodyVectors(1, 0, 2, whole.dip))).toEqual([
      'azimuth_uncertain',
      'inclination_uncertain',
    ]);
    expect(strict.limits.reach).toBe(ORDINARY_LIMITS.reach);
  });
});

it('what has no direction is said to have none', () => {
  for (const { g, b } of [
    { g: [0, 0, 0], b: [1, 0, 0] },
    { g: [1, 0, 0], b: [NaN, 0, 0] },
    { g: [1, 0, 0], b: [2, 0, 0] },
    { g: [0, 0, 1], b: [0, 0, -1] },
  ] as const) {
    expect(standing(validity, { g, b })).toEqual({
      reasons: ['no_direction'],
      temperatureTold: false,
    });
  }
});

it('a fit of other readings is refused', () => {
  expect(() => validityOf(whole, warm.slice(1))).toThrow(RangeError);
});
