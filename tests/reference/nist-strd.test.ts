import { existsSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { DenseProblem } from '../../src/calib/dense-problem.ts';
import { levenbergMarquardt } from '../../src/calib/solver.ts';
import { nistModels } from './nist-models.ts';

/**
 * The least-squares loop alone against certified values: nonlinear regression sets of the NIST Statistical Reference
 * Datasets (public domain, by way of github ceres-solver/ceres-solver at fe351d5a), each from both of its starts.
 * They are held beside the project, not in it.
 */
const DATA = new URL('../../../shared/data/nist-strd/', import.meta.url).pathname;

/** The starts are poor on purpose: a careful first step, and steps enough (MGH10 needs some 5,000 from start 1). */
const OPTIONS = { lambda: 1e-2, limit: 10_000, tolerance: 1e-20 };

interface StrdSet {
  starts: [number[], number[]];
  certified: number[];
  /** Certified residual sum of squares. */
  squares: number;
  points: [y: number, x: number][];
}

/**
 * Reads a set as its header lays it out: parameters in lines such as `b1 = start1 start2 certified deviation`. Where it
 * is not beside the project, says so and skips the test.
 */
function strdSet(name: string, skip: (note: string) => never): StrdSet {
  const path = `${DATA}${name}.dat`;
  if (!existsSync(path)) {
    console.log(`skipped: ${path} is not here`);
    skip(`${name}.dat is not here`);
  }
  const text = readFileSync(path, 'utf8');
  const rows = [...text.matchAll(/^\s*b\d =\s+(\S+)\s+(\S+)\s+(\S+)\s+\S+\s*$/gm)];
  const column = (i: number) => rows.map((row) => Number(row[i]));
  const points = text
    .split(/\r?\n/)
    .slice(60)
    .filter((line) => line.trim() !== '')
    .map((line) => line.trim().split(/\s+/).map(Number) as [number, number]);
  expect(points).toHaveLength(Number(/Number of Observations:\s+(\d+)/.exec(text)![1]));
  return {
    starts: [column(1), column(2)],
    certified: column(3),
    squares: Number(/Residual Sum of Squares:\s+(\S+)/.exec(text)![1]),
    points,
  };
}

function solve(name: string, { starts, points }: StrdSet, start: 1 | 2) {
  const model = nistModels[name]!;
  const from = starts[start - 1]!;
  const problem = new DenseProblem(from, points.length, (b, residuals, jacobian) => {
    points.forEach(([y, x], i) => {
      residuals[i] = model.value(b, x) - y;
      jacobian?.set(model.gradient(b, x), i * from.length);
    });
  });
  return { ...levenbergMarquardt(problem, OPTIONS), b: [...problem.x] };
}

/** Digits that two numbers share: the negative decimal logarithm of the relative error. */
const digits = (found: number, certified: number) =>
  -Math.log10(Math.abs(found - certified) / Math.abs(certified));

describe.each(Object.keys(nistModels))('NIST %s', (name) => {
  it('has derivatives that agree with central differences, at both starts and at the answer', ({
    skip,
  }) => {
    const { starts, certified, points } = strdSet(name, skip);
    const { value, gradient } = nistModels[name]!;
    for (const b of [...starts, certified]) {
      for (const [, x] of points) {
        const derived = gradient(b, x);
        expect(derived).toHaveLength(b.length);
        derived.forEach((derivative, j) => {
          const h = 1e-5 * Math.abs(b[j]!);
          const at = (to: number) => value(b.with(j, b[j]! + to), x);
          const numeric = (at(h) - at(-h)) / (2 * h);
          // relative, but where the parameter hardly matters the difference drowns in the rounding of the value
          const scale = Math.abs(derivative) + 1e-5 * Math.abs(value(b, x) / b[j]!);
          expect(Math.abs(derivative - numeric) / scale, `b${j + 1} at x = ${x}`).toBeLessThan(1e-4); // prettier-ignore
        });
      }
    }
  });

  const wanted = ['Bennett5', 'Lanczos3', 'MGH10'].includes(name) ? 4 : 6;
  const starts = name === 'BoxBOD' ? ([2] as const) : ([1, 2] as const);
  it.for(starts)(`is solved to ${wanted} certified digits from start %i`, (start, { skip }) => {
    const set = strdSet(name, skip);
    const { b, cost, stopped } = solve(name, set, start);
    const least = Math.min(...b.map((value, i) => digits(value, set.certified[i]!)));
    const ofSquares = digits(2 * cost, set.squares);
    expect(['converged', 'rounding']).toContain(stopped);
    expect(least).toBeGreaterThanOrEqual(wanted);
    expect(ofSquares).toBeGreaterThanOrEqual(wanted);
  });
});

it('NIST BoxBOD from start 1 ends without an answer, and says so', ({ skip }) => {
  // The first step, from b = (1, 1), makes b2 so great that exp(−b2 x) vanishes at every x: the model is the constant
  // b1 there, b2 has no effect that arithmetic can see, and no damping brings it back.
  const set = strdSet('BoxBOD', skip);
  const { b, cost, stopped } = solve('BoxBOD', set, 1);
  expect(stopped).toBe('no_progress');
  expect(b[1]).toBeGreaterThan(50);
  expect(2 * cost).toBeGreaterThan(10 * set.squares);
});
