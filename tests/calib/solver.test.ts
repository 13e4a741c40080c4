import { describe, expect, it } from 'vitest';
import { DenseProblem } from '../../src/calib/dense-problem.ts';
import { levenbergMarquardt } from '../../src/calib/solver.ts';

// Misra1a, NIST Statistical Reference Datasets, nonlinear regression (public domain): y = b1 (1 − exp(−b2 x))
const misra1a: [number, number][] = [
  [10.07, 77.6],
  [14.73, 114.9],
  [17.94, 141.1],
  [23.93, 190.8],
  [29.61, 239.9],
  [35.18, 289.0],
  [40.02, 332.8],
  [44.82, 378.4],
  [50.76, 434.8],
  [55.05, 477.3],
  [61.01, 536.8],
  [66.4, 593.1],
  [75.47, 689.1],
  [81.78, 760.0],
];

const misraProblem = (start: [number, number]) =>
  new DenseProblem(start, misra1a.length, ([b1, b2], residuals, jacobian) => {
    misra1a.forEach(([y, x], i) => {
      const e = Math.exp(-b2! * x);
      residuals[i] = b1! * (1 - e) - y;
      jacobian?.set([1 - e, b1! * x * e], 2 * i);
    });
  });

describe('Levenberg–Marquardt', () => {
  it.each([
    [500, 0.0001],
    [250, 0.0005],
  ] as [number, number][])('finds the certified answer of NIST Misra1a from %d, %d', (b1, b2) => {
    const problem = misraProblem([b1, b2]);
    const { stopped, cost } = levenbergMarquardt(problem);
    expect(['converged', 'rounding']).toContain(stopped);
    // certified: 2.3894212918E+02, 5.5015643181E-04, residual sum of squares 1.2455138894E-01; stopping at 1e-14 of the cost leaves about 1e-8 here
    expect(problem.x[0]! / 2.3894212918e2 - 1).toBeCloseTo(0, 7);
    expect(problem.x[1]! / 5.5015643181e-4 - 1).toBeCloseTo(0, 7);
    expect((2 * cost) / 1.2455138894e-1 - 1).toBeCloseTo(0, 7);
  });

  it('says that it ran out of steps', () => {
    expect(levenbergMarquardt(misraProblem([500, 0.0001]), { limit: 2 }).stopped).toBe(
      'iterations',
    );
  });

  it('says that no step helped, where the derivatives are wrong', () => {
    const problem = new DenseProblem([3], 1, ([x], residuals, jacobian) => {
      residuals[0] = x! - 1;
      jacobian?.set([-1]);
    });
    expect(levenbergMarquardt(problem).stopped).toBe('no_progress');
  });

  it('stops at once where nothing is left to gain', () => {
    const problem = new DenseProblem([1], 1, ([x], residuals, jacobian) => {
      residuals[0] = x! - 1;
      jacobian?.set([1]);
    });
    expect(levenbergMarquardt(problem)).toMatchObject({
      stopped: 'converged',
      iterations: 1,
      cost: 0,
    });
  });

  it('does not step where the model has no value', () => {
    // √x has none below zero; the first Gauss–Newton step from 0.01 would land there
    const problem = new DenseProblem([0.01], 1, ([x], residuals, jacobian) => {
      residuals[0] = 1 / Math.sqrt(x!) - 1;
      jacobian?.set([-0.5 * x! ** -1.5]);
    });
    levenbergMarquardt(problem);
    expect(problem.x[0]).toBeCloseTo(1, 8);
  });
});
