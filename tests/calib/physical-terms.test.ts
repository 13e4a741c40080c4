import { describe, expect, test } from 'vitest';
import { DECLARED, simulateCalibration, trueTheta } from '../../bench/simulated-calibration.ts';
import { DIP } from '../../src/calib/calibration-problem.ts';
import { fit } from '../../src/calib/fit.ts';
import { multiply, radians, type Mat3 } from '../../src/calib/geometry.ts';
import { physicalTerms, type PhysicalTerms, type Term } from '../../src/calib/physical-terms.ts';

/** A turn about one body axis, right-handed: what it does to vectors of the body. */
function turned(axis: 0 | 1 | 2, angle: number): Mat3 {
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  if (axis === 0) return [1, 0, 0, 0, c, -s, 0, s, c];
  if (axis === 1) return [c, 0, s, 0, 1, 0, -s, 0, c];
  return [c, -s, 0, s, c, 0, 0, 0, 1];
}

const SQUARE: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];

function thetaOf(F: Mat3, o: readonly number[], H: Mat3, p: readonly number[], q?: number[]) {
  const part = (M: Mat3, zero: readonly number[]) =>
    [0, 1, 2].flatMap((i) => [...M.slice(3 * i, 3 * i + 3), zero[i]!]);
  return [...part(F, o), ...part(H, p), radians(65), ...(q ?? [])];
}

const none = (width: number) => new Array<number>(width * width).fill(0);

function termsOf(theta: readonly number[], covariance = none(theta.length)): PhysicalTerms {
  const terms = physicalTerms({ theta, covariance });
  if (!terms) throw new Error('no terms');
  return terms;
}

const values = (terms: readonly Term[]) => terms.map(({ value }) => value);

describe('coefficients in physical terms', () => {
  test('a perfect instrument has nothing but zeros', () => {
    const { acc, mag, housing, between, curvature } = termsOf(
      thetaOf(SQUARE, [0, 0, 0], SQUARE, [0, 0, 0]),
    );
    const all = [acc.gain, acc.offset, acc.lean, mag.gain, mag.offset, mag.lean, housing, between];
    expect(all.flatMap((terms) => values(terms)).every((value) => Math.abs(value) < 1e-12)).toBe(
      true,
    );
    expect(curvature).toBeUndefined();
  });

  test('gain and zero belong to the axes of the chip, however it is mounted, mirrored too', () => {
    // chip x looks to the left, chip y along the sight, chip z up
    const F: Mat3 = [0, -1.04, 0, 0.97, 0, 0, 0, 0, -1.01];
    const { acc, mag, housing, between } = termsOf(thetaOf(F, [0.01, -0.02, 0.03], F, [0, 0.4, 0]));
    expect(values(acc.gain)).toEqual([0.04, -0.03, 0.01].map((v) => expect.closeTo(v, 12)));
    expect(values(acc.offset)).toEqual([0.01, -0.02, 0.03]);
    expect(values(mag.offset)).toEqual([0, 0.4, 0]);
    for (const value of [...values(housing), ...values(between)]) expect(value).toBeCloseTo(0, 12);
  });

  test('a lean is by how much the angle between two axes is less than a right angle', () => {
    const lean = radians(2);
    // y leans towards x
    const F: Mat3 = [1, 0, 0, Math.sin(lean), Math.cos(lean), 0, 0, 0, 1];
    expect(values(termsOf(thetaOf(F, [0, 0, 0], SQUARE, [0, 0, 0])).acc.lean)).toEqual(
      [0, 0, lean].map((v) => expect.closeTo(v, 12)),
    );
  });

  test('a chip turned in the housing shows vectors turned the other way', () => {
    const angle = radians(3);
    // the accelerometer sits turned about the body's right; the magnetometer about down, beyond that
    const acc = turned(1, -angle);
    const mag = multiply(turned(2, -radians(1)), acc);
    const { housing, between } = termsOf(thetaOf(acc, [0, 0, 0], mag, [0, 0, 0]));
    expect(values(housing)).toEqual([angle, 0].map((v) => expect.closeTo(v, 12)));
    expect(Math.hypot(...values(between))).toBeCloseTo(radians(1), 12);
    expect(between[2].value).toBeGreaterThan(radians(0.99));
  });

  test('a turn of both chips about the sight changes nothing, since it is where roll is zero', () => {
    const F: Mat3 = [1.02, 0.01, 0, 0, 0.99, 0.03, 0.02, 0, 1];
    const H: Mat3 = [0.98, 0, 0.02, 0.01, 1.01, 0, 0, 0.03, 1];
    const roll = turned(0, radians(8));
    const before = termsOf(thetaOf(F, [0, 0, 0], H, [0, 0, 0]));
    const after = termsOf(thetaOf(multiply(F, roll), [0, 0, 0], multiply(H, roll), [0, 0, 0]));
    expect(values(after.acc.lean)).toEqual(values(before.acc.lean).map((v) => expect.closeTo(v, 10))); // prettier-ignore
    expect(values(after.acc.gain)).toEqual(values(before.acc.gain).map((v) => expect.closeTo(v, 10))); // prettier-ignore
    expect(Math.hypot(...values(after.between))).toBeCloseTo(Math.hypot(...values(before.between)), 10); // prettier-ignore
    expect(Math.hypot(...values(after.housing))).toBeCloseTo(Math.hypot(...values(before.housing)), 10); // prettier-ignore
  });

  test('curvature is what it adds to a reading of one g along that axis', () => {
    const F: Mat3 = [2, 0, 0, 0, 1, 0, 0, 0, 1];
    const theta = thetaOf(F, [0, 0, 0], SQUARE, [0, 0, 0], [0.01, -0.02, 0]);
    expect(values(termsOf(theta).curvature!)).toEqual([0.02, -0.02, 0]);
  });

  test('a matrix that has no inverse gives no terms', () => {
    const flat: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 0];
    const theta = thetaOf(flat, [0, 0, 0], SQUARE, [0, 0, 0]);
    expect(physicalTerms({ theta, covariance: none(theta.length) })).toBeUndefined();
  });

  test('the standard error of a zero is that of its unknown', () => {
    const theta = thetaOf(SQUARE, [0, 0, 0], SQUARE, [0, 0, 0]);
    const covariance = none(DIP + 1);
    covariance[3 * (DIP + 1) + 3] = 0.002 ** 2;
    covariance[15 * (DIP + 1) + 15] = 0.005 ** 2;
    const { acc, mag } = termsOf(theta, covariance);
    expect(acc.offset[0].standardError).toBeCloseTo(0.002, 10);
    expect(acc.offset[1].standardError).toBe(0);
    expect(mag.offset[0].standardError).toBeCloseTo(0.005, 10);
  });

  test('over many simulated boards the errors are as large as their standard errors say', () => {
    const ratios: Record<string, number[]> = {};
    for (let seed = 300; seed < 340; seed++) {
      const calibration = simulateCalibration({ seed });
      const result = fit(calibration.readings, DECLARED);
      if (!result.ok) throw new Error(result.message);
      const [found, truth] = [
        termsOf(result.uncertainty.theta, [...result.uncertainty.covariance]),
        termsOf([...trueTheta(calibration)]),
      ];
      const add = (name: string, of: (terms: PhysicalTerms) => readonly Term[]) => {
        of(found).forEach(({ value, standardError }, i) => {
          (ratios[name] ??= []).push((value - of(truth)[i]!.value) / standardError);
        });
      };
      add('gain of gravity', ({ acc }) => acc.gain);
      add('zero of gravity', ({ acc }) => acc.offset);
      add('lean of gravity', ({ acc }) => acc.lean);
      add('zero of the field', ({ mag }) => mag.offset);
      add('lean of the field', ({ mag }) => mag.lean);
      add('between', ({ between }) => between);
      add('housing', ({ housing }) => housing);
    }
    for (const [name, all] of Object.entries(ratios)) {
      const rms = Math.sqrt(all.reduce((sum, ratio) => sum + ratio ** 2, 0) / all.length);
      // 80 or 120 figures, not all independent: one in a thousand is beyond these
      expect(rms, name).toBeGreaterThan(0.75);
      expect(rms, name).toBeLessThan(1.3);
    }
  });
});
