import { describe, expect, it } from 'vitest';
import { simulateCalibration, trueTheta } from '../../bench/simulated-calibration.ts';
import { DIP } from '../../src/calib/calibration-problem.ts';
import {
  attitudesEverywhere,
  meanSquares,
  standardErrors,
  uncertaintyFrom,
} from '../../src/calib/covariance.ts';
import { interval95 } from '../../src/calib/quantiles.ts';
import {
  attitude,
  bodyVectors,
  inverse,
  plus,
  rotate,
  times,
  transpose,
  turn,
  type Mat3,
} from '../../src/calib/geometry.ts';
import { applyCoefficients, countsReading } from '../../src/calib/model.ts';
import type { Vec3 } from '../../src/calib/reading.ts';
import { coefficientsOf } from '../../src/calib/state.ts';

const thetaOf = (change: Parameters<typeof simulateCalibration>[0]) => [
  ...trueTheta(simulateCalibration(change)),
];
const cases: [string, number[]][] = [
  ['at 65° of dip', thetaOf({ seed: 5 })],
  ['at −30° of dip', thetaOf({ seed: 6, dip: -30 })],
  ['in a level field', thetaOf({ seed: 7, dip: 0 })],
  ['with a bowed accelerometer', thetaOf({ seed: 8, curvature: 0.02 })],
];

describe('the mean square of the derivative of azimuth × cos inclination', () => {
  it.each(cases)('is what a second derivation gives, %s', (_, theta) => {
    const expected = azimuthWeights(theta);
    const scale = Math.max(...expected.map(Math.abs));
    meanSquares(theta).azimuth.forEach((value, i) =>
      expect(Math.abs(value - expected[i]!)).toBeLessThan(1e-12 * scale),
    );
  });

  it.each(cases)('is the same over a denser set of azimuths and rolls, %s', (_, theta) => {
    const own = uncertaintyFrom(Float64Array.from(theta), identity(theta.length)).azimuth ** 2;
    const inclinations = [...new Set(attitudesEverywhere().map(([, i]) => i))];
    let sum = 0;
    let count = 0;
    for (const i of inclinations) {
      for (let a = 0; a < 13; a++) {
        for (let r = 0; r < 11; r++) {
          const errors = standardErrors(
            { theta, covariance: [...identity(theta.length)] },
            (a * 2 * Math.PI) / 13 + 0.1,
            i,
            (r * 2 * Math.PI) / 11 + 0.2,
          );
          sum += errors.azimuth ** 2;
          count += 1;
        }
      }
    }
    // exact but for rounding in a straight model; curvature adds terms of higher order in roll, some thousandths
    expect(sum / count / own).toBeCloseTo(1, theta.length > DIP + 1 ? 2 : 10);
  });
});

describe('standard errors', () => {
  it.each(cases)('follow from what angles do when θ moves a little, %s', (_, theta) => {
    const scales = { acc: 1, mag: 1 };
    const truth = coefficientsOf(Float64Array.from(theta), scales);
    const [a, i, r] = [1.1, 0.4, 2.3];
    const { g, b } = bodyVectors(a, i, r, theta[DIP]!);
    const { acc, mag } = countsReading(truth, g, b)!;
    theta.forEach((_value, k) => {
      if (k === DIP) return;
      const h = 1e-6;
      const at = (step: number) => {
        const moved = Float64Array.from(theta);
        moved[k] = moved[k]! + step;
        return applyCoefficients(coefficientsOf(moved, scales), acc, mag);
      };
      const only = new Array<number>(theta.length ** 2).fill(0);
      only[k * theta.length + k] = 1;
      const errors = standardErrors({ theta, covariance: only }, a, i, r);
      const [up, down] = [at(h), at(-h)];
      const azimuth = (turn(down.azimuth!, up.azimuth!) * Math.cos(i)) / (2 * h);
      const inclination = (up.inclination! - down.inclination!) / (2 * h);
      // central differences of step 1e-6 leave some 1e-9
      expect(errors.azimuth).toBeCloseTo(Math.abs(azimuth), 7);
      expect(errors.inclination).toBeCloseTo(Math.abs(inclination), 7);
    });
  });

  // standard tables: 1.96 of the normal distribution, 2.228139 of Student t with ten degrees of freedom
  it('widen to intervals by Student t', () => {
    expect(interval95(1, 10)).toBeCloseTo(2.228139, 6);
    expect(interval95(2, Infinity)).toBeCloseTo(2 * 1.959964, 5);
  });
});

const identity = (n: number): Float64Array =>
  Float64Array.from({ length: n * n }, (_, i) => (i % (n + 1) === 0 ? 1 : 0));

/**
 * A second derivation of the mean square.
 *
 * Seen in the world, an error dg of the calibrated down tips the horizon, and an error db of the field turns north. With
 * E and N the components to the east and north, azimuth α, inclination β, dip I,
 *
 *   cos β dα = cos β (dg_E tan I − db_E / cos I) + sin β (dg_E cos α − dg_N sin α)
 *
 * (from e = g × b, n = e × g, both of unit length, to first order). With counts held, F dg = −dF g − (1 + 2 q s) do + s² dq
 * and H db = −dH b − dp.
 *
 * @returns width × width, row by row
 */
function azimuthWeights(theta: readonly number[]): Float64Array {
  const width = theta.length;
  const bowed = width > DIP + 1;
  const matrix = (from: number) =>
    [0, 4, 8].flatMap((i) => theta.slice(from + i, from + i + 3)) as unknown as Mat3;
  const F = matrix(0);
  const transposedA = transpose(inverse(F));
  const transposedB = transpose(inverse(matrix(12)));
  const dip = theta[DIP]!;
  const M = new Float64Array(width * width);
  const row = new Float64Array(width);
  const all = attitudesEverywhere();
  for (const [azimuth, inclination, roll] of all) {
    const R = attitude(azimuth, inclination, roll);
    const north: Vec3 = [R[0], R[1], R[2]];
    const east: Vec3 = [R[3], R[4], R[5]];
    const { g, b } = bodyVectors(azimuth, inclination, roll, dip);
    const [cos, sin] = [Math.cos(inclination), Math.sin(inclination)];
    const byAcc = rotate(
      transposedA,
      plus(
        times(east, cos * Math.tan(dip) + sin * Math.cos(azimuth)),
        times(north, -sin * Math.sin(azimuth)),
      ),
    );
    const byMag = rotate(transposedB, times(east, -cos / Math.cos(dip)));
    const t = rotate(F, g);
    for (let i = 0; i < 3; i++) {
      const q = bowed ? theta[DIP + 1 + i]! : 0;
      const root = Math.sqrt(1 + 4 * q * t[i]!);
      const s = (2 * t[i]!) / (1 + root);
      for (let c = 0; c < 3; c++) {
        row[4 * i + c] = -byAcc[i]! * g[c]!;
        row[12 + 4 * i + c] = -byMag[i]! * b[c]!;
      }
      row[4 * i + 3] = -byAcc[i]! * root;
      row[12 + 4 * i + 3] = -byMag[i]!;
      if (bowed) row[DIP + 1 + i] = byAcc[i]! * s * s;
    }
    for (let i = 0; i < width; i++) {
      const k = row[i]! / all.length;
      for (let c = 0; c < width; c++) M[i * width + c]! += k * row[c]!;
    }
  }
  return M;
}
