import { describe, expect, it } from 'vitest';
import { randomStream } from '../../firmware-sim/random.ts';
import { CalibrationProblem, DIP, type Observations } from '../../src/calib/calibration-problem.ts';
import { attitude } from '../../src/calib/geometry.ts';

/** A problem at an arbitrary, ill-fitting point: derivatives must hold anywhere. */
function arbitraryProblem(seed: number, bowed: boolean) {
  const random = randomStream(seed, 'problem');
  const near = (value: number, by: number) => value + random.between(-by, by);
  const theta = new Float64Array(bowed ? DIP + 4 : DIP + 1);
  for (let i = 0; i < 3; i++) {
    for (let c = 0; c < 4; c++) {
      theta[4 * i + c] = near(i === c ? 1 : 0, 0.2);
      theta[12 + 4 * i + c] = near(i === c ? 1 : 0, 0.2);
    }
    if (bowed) theta[DIP + 1 + i] = near(0, 0.05);
  }
  theta[DIP] = near(0.8, 0.5);
  const count = 9;
  const counts = () => Float64Array.from({ length: count * 3 }, () => random.between(-1, 1));
  const data: Observations = {
    count,
    acc: counts(),
    mag: counts(),
    sighting: Int32Array.from([0, 0, 0, 1, 1, 1, -1, 0, -1]),
    sightings: 2,
  };
  // sights of a sighting within some 30° of each other
  const attitudes = Float64Array.from(
    [...data.sighting].flatMap((k) => [
      ...attitude(near(2 * k, 0.3), near(0.2, 0.3), random.between(0, 6)),
    ]),
  );
  const problem = new CalibrationProblem(data, theta, attitudes);
  problem.noise = { acc: 0.3, mag: 0.7, aim: 0.2 };
  return problem;
}

describe('the hand-derived Jacobian', () => {
  it.each([
    ['straight', 1, false],
    ['straight', 2, false],
    ['bowed', 3, true],
    ['bowed', 4, true],
  ] as const)(
    'agrees with central differences at an arbitrary point (%s, %i)',
    (_, seed, bowed) => {
      const problem = arbitraryProblem(seed, bowed);
      const width = problem.width;
      // step 1e-5: truncation of order 1e-10, rounding of order 1e-11 of residuals of order ten
      const h = 1e-5;
      for (let j = 0; j < 9; j++) {
        const { jacobian } = problem.jacobianOf(j);
        for (let c = 0; c < width + 5; c++) {
          const at = (sign: number) => {
            const theta = problem.theta.slice();
            const local = [0, 0, 0, 0, 0];
            if (c < width) theta[c] = theta[c]! + sign * h;
            else local[c - width] = sign * h;
            const [d0, d1, d2, t0, t1] = local as [number, number, number, number, number];
            return problem.residualsAfter(theta, j, [d0, d1, d2], [t0, t1]);
          };
          const [up, down] = [at(1), at(-1)];
          for (let i = 0; i < 8; i++) {
            const numeric = (up[i]! - down[i]!) / (2 * h);
            expect(Math.abs(jacobian[i * (width + 5) + c]! - numeric)).toBeLessThan(1e-7);
          }
        }
      }
    },
  );
});

describe('the eliminated system', () => {
  it('gives the step, the predicted decrease and the covariance of the whole dense one', () => {
    const problem = arbitraryProblem(5, true);
    const width = problem.width;
    const [count, sightings] = [9, 2];
    const n = width + 2 * sightings + 3 * count;
    const k = [0, 0, 0, 1, 1, 1, -1, 0, -1];
    // dense normal equations from the per-reading Jacobians
    const N = Array.from({ length: n }, () => new Array<number>(n).fill(0));
    const gradient = new Array<number>(n).fill(0);
    for (let j = 0; j < count; j++) {
      const { residuals, jacobian } = problem.jacobianOf(j);
      const places = [
        ...Array.from({ length: width }, (_, i) => i),
        ...[0, 1, 2].map((i) => width + 2 * sightings + 3 * j + i),
        ...[0, 1].map((i) => (k[j]! < 0 ? -1 : width + 2 * k[j]! + i)),
      ];
      for (let i = 0; i < 8; i++) {
        const row = jacobian.subarray(i * (width + 5), (i + 1) * (width + 5));
        places.forEach((p, a) => {
          if (p < 0) return;
          gradient[p]! += row[a]! * residuals[i]!;
          places.forEach((q, b) => {
            if (q >= 0) N[p]![q]! += row[a]! * row[b]!;
          });
        });
      }
    }
    const lambda = 0.01;
    const damped = N.map((row, i) =>
      row.map((value, c) => (i === c ? value * (1 + lambda) : value)),
    );
    const step = solveDense(
      damped,
      gradient.map((value) => -value),
    );
    const predicted = step.reduce(
      (sum, s, i) => sum + 0.5 * s * (lambda * N[i]![i]! * s - gradient[i]!),
      0,
    );
    // the gauge spring of the eliminated system changes the damped step a little: by λ over its stiffness
    expect(problem.solve(lambda) / predicted).toBeCloseTo(1, 2);

    // covariance: what a unit spring along the gauge leaves when the gauge's own share is taken out again
    const covariance = problem.covariance()!;
    const v = new Array<number>(n).fill(0);
    for (let row = 0; row < 24; row += 4) {
      v[row + 1] = -problem.theta[row + 2]!;
      v[row + 2] = problem.theta[row + 1]!;
    }
    // turning the body turns every attitude with it: δ = −x for all, in the dense system
    for (let j = 0; j < count; j++) v[width + 2 * sightings + 3 * j] = 1;
    const theta2 = v.slice(0, width).reduce((sum, value) => sum + value * value, 0);
    const pinned = N.map((row, i) =>
      row.map((value, c) => value + (i < width && c < width ? v[i]! * v[c]! : 0)),
    );
    for (const i of [0, 3, 13, 20, 24, 26]) {
      const unit = new Array<number>(n).fill(0);
      unit[i] = 1;
      const column = solveDense(pinned, unit);
      for (let c = 0; c < width; c++) {
        const expected = column[c]! - (v[i]! * v[c]!) / theta2 ** 2;
        // 1e-5 of the variances: the normal equations square a condition number of some thousands
        const size = Math.sqrt(covariance[i * width + i]! * covariance[c * width + c]!);
        expect(Math.abs(covariance[i * width + c]! - expected)).toBeLessThan(1e-5 * size + 1e-12);
      }
    }
  });
});

/** Gaussian elimination with row pivoting: slow, plain, and not the code under test. */
function solveDense(matrix: readonly number[][], right: readonly number[]): number[] {
  const n = right.length;
  const a = matrix.map((row, i) => [...row, right[i]!]);
  for (let c = 0; c < n; c++) {
    let pivot = c;
    for (let r = c; r < n; r++) if (Math.abs(a[r]![c]!) > Math.abs(a[pivot]![c]!)) pivot = r;
    [a[c], a[pivot]] = [a[pivot]!, a[c]!];
    for (let r = 0; r < n; r++) {
      if (r === c) continue;
      const factor = a[r]![c]! / a[c]![c]!;
      for (let k = c; k <= n; k++) a[r]![k]! -= factor * a[c]![k]!;
    }
  }
  return a.map((row, i) => row[n]! / row[i]!);
}
