import { existsSync, readFileSync } from 'node:fs';
import { DenseProblem } from '../../src/calib/dense-problem.ts';
import { levenbergMarquardt, type SolverSummary } from '../../src/calib/solver.ts';
import { nistModels } from './nist-models.ts';

/**
 * Nonlinear regression sets of the NIST Statistical Reference Datasets (public domain, by way of github
 * ceres-solver/ceres-solver at fe351d5a), each with two starts and certified values. They are held beside the project,
 * not in it.
 */
const DATA = new URL('../../../shared/data/nist-strd/', import.meta.url).pathname;

/** The starts are poor on purpose: a careful first step, and steps enough (MGH10 needs some 5,000 from start 1). */
const OPTIONS = { lambda: 1e-2, limit: 10_000, tolerance: 1e-20 };

export interface NistSet {
  starts: [number[], number[]];
  certified: number[];
  /** Certified residual sum of squares. */
  squares: number;
  points: [y: number, x: number][];
  /** How many points the file says it has. */
  observations: number;
}

export const nistPath = (name: string): string => `${DATA}${name}.dat`;

/**
 * Reads a set as its header lays it out: parameters in lines such as `b1 = start1 start2 certified deviation`.
 *
 * @returns undefined where it is not beside the project
 */
export function nistSet(name: string): NistSet | undefined {
  const path = nistPath(name);
  if (!existsSync(path)) return undefined;
  const text = readFileSync(path, 'utf8');
  const rows = [...text.matchAll(/^\s*b\d =\s+(\S+)\s+(\S+)\s+(\S+)\s+\S+\s*$/gm)];
  const column = (i: number) => rows.map((row) => Number(row[i]));
  return {
    starts: [column(1), column(2)],
    certified: column(3),
    squares: Number(/Residual Sum of Squares:\s+(\S+)/.exec(text)![1]),
    points: text
      .split(/\r?\n/)
      .slice(60)
      .filter((line) => line.trim() !== '')
      .map((line) => line.trim().split(/\s+/).map(Number) as [number, number]),
    observations: Number(/Number of Observations:\s+(\d+)/.exec(text)![1]),
  };
}

/** Runs the least-squares loop from one of the starts. */
export function solveNist(
  name: string,
  { starts, points }: NistSet,
  start: 1 | 2,
): SolverSummary & { b: number[] } {
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

/** Digits that a number shares with a certified one: the negative decimal logarithm of the relative error. */
export const sharedDigits = (found: number, certified: number): number =>
  -Math.log10(Math.abs(found - certified) / Math.abs(certified));

/** Digits wanted of each set; three of them are known for their rounding. */
export const wantedDigits = (name: string): 4 | 6 =>
  ['Bennett5', 'Lanczos3', 'MGH10'].includes(name) ? 4 : 6;
