import { expect, it } from 'vitest';
import { simulateCalibration, trueTheta } from '../../bench/simulated-calibration.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import { attitudesEverywhere } from '../../src/calib/covariance.ts';
import { bodyVectors, radians, turn } from '../../src/calib/geometry.ts';
import { applyCoefficients } from '../../src/calib/model.ts';
import { readingNoise } from '../../src/calib/reading-noise.ts';
import type { Vec3 } from '../../src/calib/reading.ts';
import { coefficientsOf } from '../../src/calib/state.ts';

it('is what noisy counts do to the angles that true coefficients give', () => {
  const calibration = simulateCalibration({ seed: 5, curvature: 0.02 });
  const theta = trueTheta(calibration);
  const noise = { acc: 0.002, mag: 0.004 };
  const coefficients = coefficientsOf(theta, { acc: 1, mag: 1 });
  const random = randomStream(5, 'reading noise');
  const noisy = (v: Vec3, scale: number, sigma: number) =>
    v.map((count) => count / scale + sigma * random.normal()) as unknown as Vec3;
  const all = attitudesEverywhere().flatMap((attitude) => Array(20).fill(attitude) as never[]);
  let [azimuth, inclination] = [0, 0];
  for (const [a, i, r] of all as ReturnType<typeof attitudesEverywhere>) {
    const { g, b } = bodyVectors(a, i, r, radians(65));
    const { acc, mag } = calibration.instrument.exact(g, b);
    const seen = applyCoefficients(
      coefficients,
      noisy(acc, 16384, noise.acc),
      noisy(mag, 3400, noise.mag),
    );
    azimuth += (turn(a, seen.azimuth!) * Math.cos(i)) ** 2;
    inclination += (seen.inclination! - i) ** 2;
  }
  const expected = readingNoise({ theta: [...theta] }, noise);
  // 4000 draws tell a standard deviation to one percent; curvature of the angles themselves adds a little
  expect(Math.sqrt(azimuth / all.length) / expected.azimuth).toBeGreaterThan(0.95);
  expect(Math.sqrt(azimuth / all.length) / expected.azimuth).toBeLessThan(1.05);
  expect(Math.sqrt(inclination / all.length) / expected.inclination).toBeGreaterThan(0.95);
  expect(Math.sqrt(inclination / all.length) / expected.inclination).toBeLessThan(1.05);
});
