import { describe, expect, it } from 'vitest';
import { simulateCalibration } from '../../bench/simulated-calibration.ts';
import { RAW_SCALES } from '../../firmware-sim/raw-readings.ts';
import { fit } from '../../src/calib/fit.ts';
import { ORDINARY_LIMITS, validityOf } from '../../src/calib/validity.ts';
import type { CalibrationBasis } from '../../src/records/calibration-basis.ts';
import { readCoefficients, writeCoefficients } from '../../src/records/coefficients-file.ts';

function calibrated(seed: number, model: 'straight' | 'bowed') {
  const { readings } = simulateCalibration({ seed, curvature: model === 'bowed' ? 0.02 : 0 });
  const result = fit(readings, { scales: RAW_SCALES, model });
  if (!result.ok) throw new Error(result.message);
  const { uncertainty: _, ...validity } = validityOf(result, readings);
  const { coefficients, dip, noise, uncertainty } = result;
  const basis: CalibrationBasis = { readings: 56, dip, noise, uncertainty, validity };
  return { coefficients, basis };
}

const bytes = (text: string) => new TextEncoder().encode(text);

/** The file, with one thing of its calibration changed. */
function changed(change: (calibration: Record<string, unknown>) => void): unknown {
  const { coefficients, basis } = calibrated(1, 'straight');
  const content = JSON.parse(writeCoefficients(coefficients, basis));
  change(content.calibration);
  return readCoefficients(bytes(JSON.stringify(content)));
}

describe('the calibration in a coefficients file', () => {
  it.each([
    [1, 'straight'],
    [2, 'bowed'],
  ] as const)('comes back as it was, seed %i, %s', (seed, model) => {
    const { coefficients, basis } = calibrated(seed, model);
    const read = readCoefficients(bytes(writeCoefficients(coefficients, basis)));
    if (!read.ok || !read.basis) throw new Error('it did not come back');
    expect(read.coefficients).toEqual(coefficients);
    const { uncertainty, validity, noise, dip } = read.basis;
    expect(uncertainty.theta).toEqual(basis.uncertainty.theta);
    const width = uncertainty.theta.length;
    uncertainty.covariance.forEach((value, i) => {
      const [row, column] = [Math.floor(i / width), i % width];
      const scale = Math.sqrt(
        uncertainty.covariance[row * width + row]! *
          uncertainty.covariance[column * width + column]!,
      );
      // one half is taken for both: they differ by rounding
      expect(Math.abs(value - basis.uncertainty.covariance[i]!)).toBeLessThanOrEqual(1e-9 * scale);
    });
    expect(noise.aim).toBeCloseTo(basis.noise.aim!, 12);
    expect(dip).toBeCloseTo(basis.dip, 12);
    expect(uncertainty.freedom).toEqual(basis.uncertainty.freedom);
    expect(validity.limits.reach).toBeCloseTo(ORDINARY_LIMITS.reach, 12);
    expect(validity.down.length).toBeGreaterThanOrEqual(14); // six faces and eight corners have down everywhere
  });

  it('has room for a freedom without end', () => {
    const { coefficients, basis } = calibrated(1, 'straight');
    const endless = { azimuth: Infinity, inclination: Infinity };
    const known = { ...basis, uncertainty: { ...basis.uncertainty, freedom: endless } };
    const read = readCoefficients(bytes(writeCoefficients(coefficients, known)));
    expect(read).toMatchObject({ ok: true, basis: { uncertainty: { freedom: endless } } });
  });

  it('keeps directions apart that are, and no more of those that are not', () => {
    const { coefficients, basis } = calibrated(1, 'straight');
    const down = [...basis.validity.down, ...basis.validity.down, ...basis.validity.down];
    const many = { ...basis, validity: { ...basis.validity, down } };
    const once = JSON.parse(writeCoefficients(coefficients, basis)).calibration.down;
    expect(JSON.parse(writeCoefficients(coefficients, many)).calibration.down).toEqual(once);
  });

  const wrong: [string, (calibration: Record<string, unknown>) => void, string][] = [
    ['of other coefficients', (c) => ((c.theta as number[])[0]! += 0.01), 'calibration.theta'],
    ['one parameter short', (c) => (c.theta as number[]).pop(), 'calibration.covariance'],
    ['not symmetric', (c) => ((c.covariance as number[][])[0]![1]! += 1e-9), 'calibration.covariance'], // prettier-ignore
    ['a negative variance', (c) => ((c.covariance as number[][])[0]![0] = -1), 'calibration.covariance'], // prettier-ignore
    ['no noise', (c) => ((c.noise as { acc: number }).acc = 0), 'calibration.noise.acc'],
    ['a dip past the vertical', (c) => (c.dip = 91), 'calibration.dip'],
  ];
  it.each(wrong)('is refused by its place: %s', (_, change, path) => {
    const read = changed(change) as { ok: boolean; path: string; message: string };
    expect(read).toMatchObject({ ok: false, cause: 'bad_value', path });
    expect(read.message).toMatch(/Nothing was changed\.$/);
  });
});
