import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { randomStream } from '../../firmware-sim/random.ts';
import { fitEllipsoid, type Ellipsoid } from '../../src/calib/ellipsoid.ts';
import { rotate } from '../../src/calib/geometry.ts';
import type { Vec3 } from '../../src/calib/reading.ts';

const lengths = ({ centre, T }: Ellipsoid, points: readonly Vec3[]) =>
  points.map((x) =>
    Math.hypot(...rotate(T, [x[0] - centre[0], x[1] - centre[1], x[2] - centre[2]])),
  );

function relativeScatter(values: readonly number[]): number {
  const mean = values.reduce((a, b) => a + b) / values.length;
  return Math.sqrt(values.reduce((sum, v) => sum + (v - mean) ** 2, 0) / values.length) / mean;
}

/** Points on an ellipsoid with axes 1, 1.2 and 0.9 about (5, −3, 2), with noise; z (before stretching) from `lowest` up. */
function points(count: number, noise: number, lowest: number): Vec3[] {
  const random = randomStream(7, 'ellipsoid');
  return Array.from({ length: count }, () => {
    const z = random.between(lowest, 1);
    const a = random.between(0, 2 * Math.PI);
    const r = Math.sqrt(1 - z * z);
    const at = [r * Math.cos(a), 1.2 * r * Math.sin(a), 0.9 * z];
    return at.map((x, i) => x + [5, -3, 2][i]! + noise * random.normal()) as unknown as Vec3;
  });
}

describe('an ellipsoid through readings', () => {
  it('is found exactly where there is no noise', () => {
    const all = points(40, 0, -1);
    const found = fitEllipsoid(all)!;
    // the prior draws towards a sphere by some 1e-9 where there is no noise
    expect(found.centre[0]).toBeCloseTo(5, 7);
    expect(found.centre[1]).toBeCloseTo(-3, 7);
    expect(found.centre[2]).toBeCloseTo(2, 7);
    expect(1 / found.T[4]).toBeCloseTo(1.2, 7);
    lengths(found, all).forEach((length) => expect(length).toBeCloseTo(1, 7));
  });

  it('on a cap alone does not run off to a boundless one, as the plain length residual does', () => {
    const found = fitEllipsoid(points(200, 0.005, 0.2))!;
    expect(Math.hypot(found.centre[0] - 5, found.centre[1] + 3, found.centre[2] - 2)).toBeLessThan(
      0.3,
    );
    expect(1 / found.T[8]).toBeGreaterThan(0.6);
    expect(1 / found.T[8]).toBeLessThan(1.3);
  });

  it('is refused for points in a plane, at one place, or too few', () => {
    expect(fitEllipsoid(points(40, 0, -1).map(([x, y]): Vec3 => [x, y, 0]))).toBeUndefined();
    expect(fitEllipsoid(new Array<Vec3>(20).fill([1, 2, 3]))).toBeUndefined();
    expect(fitEllipsoid(points(8, 0, -1))).toBeUndefined();
  });

  it('takes the roundest shape where the points leave one open', () => {
    // an exact cube plan: down is never seen between the y and z axes
    const h = Math.SQRT1_2;
    const all = [1, -1].flatMap((s): Vec3[] => [
      [s, 0, 0],
      [0, s, 0],
      [0, 0, s],
      [h, s * h, 0],
      [-h, s * h, 0],
      [h, 0, s * h],
      [-h, 0, s * h],
    ]);
    const found = fitEllipsoid(all)!;
    expect(found.T[5]).toBeCloseTo(0, 6);
    expect(found.T[0]).toBeCloseTo(1, 6);
  });
});

// 38 static poses of a real accelerometer: github Kyle-ak/imu_tk at 7780270f, BSD licence; offsets from data/README.md
const poses = '../shared/data/accelerometer-poses/pose-means.csv';
describe('the 38 static poses of a real accelerometer', () => {
  it('agree in length to 0.015 %, and the offsets with those published, within half a count', (context) => {
    if (!existsSync(poses)) {
      console.log(`skipped: ${poses} is not here`);
      context.skip();
    }
    const all = readFileSync(poses, 'utf8')
      .split('\n')
      .filter((line) => line !== '' && !line.startsWith('#'))
      .map((line) => line.split(',').slice(2, 5).map(Number) as unknown as Vec3);
    expect(all).toHaveLength(38);
    const found = fitEllipsoid(all)!;
    expect(relativeScatter(lengths(found, all))).toBeLessThan(0.00015);
    [33123.8, 33275.1, 32364.5].forEach((offset, i) =>
      expect(Math.abs(found.centre[i]! - offset)).toBeLessThan(0.5),
    );
    // as measured they vary by some ten percent of the mean about mid-scale
    expect(relativeScatter(all.map((x) => Math.hypot(...x.map((v) => v - 32768))))).toBeGreaterThan(
      0.09,
    );
  });
});
