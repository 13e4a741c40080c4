import { existsSync, readFileSync } from 'node:fs';
import { parse } from 'csv-parse/sync';
import { Matrix, SVD, inverse } from 'ml-matrix';
import { expect, it, vi } from 'vitest';
import { simulateCalibration } from '../../bench/simulated-calibration.ts';
import { RAW_SCALES } from '../../firmware-sim/raw-readings.ts';
import { fit, type Fit, type FitOptions } from '../../src/calib/fit.ts';
import type { Reading, Vec3 } from '../../src/calib/reading.ts';
import { solveDensely, type Solution } from './dense-calibration.ts';

/**
 * The fit against a second, slow, independently written solution of the same estimate: see dense-calibration.ts. The
 * optimum is one and the same, so that the two must agree to far less than a standard error.
 */
vi.setConfig({ testTimeout: 120_000 });

/** Standard errors by which two numerical solutions of one problem may differ. */
const AGREEMENT = 1e-5;

/**
 * Checks every coefficient, once the second answer is turned onto the first as near as it goes: about the sight, or
 * about any axis where no sighting says where the sight is.
 */
function expectAgreement(first: Fit, second: Solution, turnsFree: 1 | 3): void {
  // forward parameters: for each chip axis the row of F = A⁻¹ (then H = B⁻¹) and the offset; then the dip
  const { theta, covariance } = first.uncertainty;
  const rows = [0, 1, 2, 3, 4, 5].map((axis) => theta.slice(4 * axis, 4 * axis + 3));
  const forward = [second.A, second.B].flatMap((m) =>
    inverse(new Matrix(m.map((row) => [...row]))).to2DArray(),
  );
  // T with T f nearest to the row of the first, over all rows f (orthogonal Procrustes problem)
  const from = turnsFree === 1 ? 1 : 0;
  const open = (list: readonly (readonly number[])[]) => new Matrix(list.map((f) => f.slice(from)));
  const { leftSingularVectors: U, rightSingularVectors: V } = new SVD(
    open(forward).transpose().mmul(open(rows)),
  );
  const T = Matrix.identity(3);
  T.setSubMatrix(V.mmul(U.transpose()), from, from);

  const offsets = [...second.o, ...second.p];
  const found = [
    ...forward.flatMap((f, axis) => [
      ...T.mmul(Matrix.columnVector(f)).to1DArray(),
      offsets[axis]!,
    ]),
    second.dip,
  ];
  expect(found).toHaveLength(theta.length);
  const error = (i: number) => Math.sqrt(covariance[i * theta.length + i]!);
  const apart = found.map((value, i) => Math.abs(value - theta[i]!) / error(i));
  apart.forEach((value, i) => expect(value, `θ[${i}]`).toBeLessThan(AGREEMENT));

  // the standard errors of what no turn changes, so that they can be held side by side
  [...second.standardErrors.o, ...second.standardErrors.p, second.standardErrors.dip].forEach(
    (value, i) => expect(value / error(i < 6 ? 4 * i + 3 : 24)).toBeCloseTo(1, 4),
  );
}

/** The fit, every reading used, and beside it the second solution with the noise that the fit found. */
function bothSolutions(
  readings: readonly Reading[],
  mountings: { acc: string; mag: string },
  options: FitOptions,
): { first: Fit; second: Solution } {
  const first = fit(readings, { ...options, screening: false });
  if (!first.ok) throw new Error(first.message);
  const { accScale, magScale } = first.coefficients;
  const seen = readings.map(({ acc, mag, sighting }) => ({
    acc: acc.map((count) => count / accScale),
    mag: mag.map((count) => count / magScale),
    ...(sighting === undefined ? {} : { sighting }),
  }));
  const second = solveDensely(seen, mountings, {
    acc: first.noise.acc / accScale,
    mag: first.noise.mag / magScale,
    aim: first.noise.aim ?? 1,
  });
  return { first, second };
}

it('agrees on a simulated calibration of 56 readings', () => {
  const { readings, settings } = simulateCalibration({ seed: 56 });
  const mountings = { acc: settings.accMounting, mag: settings.magMounting };
  const { first, second } = bothSolutions(readings, mountings, { scales: RAW_SCALES });
  expect(readings).toHaveLength(56);
  expectAgreement(first, second, 1);
});

it('agrees on a hobby board in free attitudes', ({ skip }) => {
  // github sunsided/sensor-fusion at f16045a9, EUPL-1.2; held beside the project, not in it
  const path = new URL('../../../shared/data/real-board/all-attitudes.csv', import.meta.url)
    .pathname;
  if (!existsSync(path)) {
    console.log(`skipped: ${path} is not here`);
    skip('all-attitudes.csv is not here');
  }
  const readings = parse<Record<string, string>>(readFileSync(path, 'utf8'), { columns: true }).map(
    (row): Reading => ({
      id: row.id!,
      acc: ['ax', 'ay', 'az'].map((c) => Number(row[c])) as unknown as Vec3,
      mag: ['mx', 'my', 'mz'].map((c) => Number(row[c])) as unknown as Vec3,
    }),
  );
  const mounting = { acc: '+x-y-z', mag: '+x-y-z' };
  const { first, second } = bothSolutions(readings, mounting, { mounting });
  expect(readings).toHaveLength(145);
  expectAgreement(first, second, 3);
});
