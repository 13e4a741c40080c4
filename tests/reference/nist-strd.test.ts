import { describe, expect, it } from 'vitest';
import { nistModels } from './nist-models.ts';
import {
  nistPath,
  nistSet,
  sharedDigits,
  solveNist,
  wantedDigits,
  type NistSet,
} from './nist-sets.ts';

/** The least-squares loop alone against certified values, each set from both of its starts. */

/** Where a set is not beside the project, says so and skips the test. */
function strdSet(name: string, skip: (note: string) => never): NistSet {
  const set = nistSet(name);
  if (!set) {
    console.log(`skipped: ${nistPath(name)} is not here`);
    skip(`${name}.dat is not here`);
  }
  expect(set.points).toHaveLength(set.observations);
  return set;
}

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

  const wanted = wantedDigits(name);
  const starts = name === 'BoxBOD' ? ([2] as const) : ([1, 2] as const);
  it.for(starts)(`is solved to ${wanted} certified digits from start %i`, (start, { skip }) => {
    const set = strdSet(name, skip);
    const { b, cost, stopped } = solveNist(name, set, start);
    const least = Math.min(...b.map((value, i) => sharedDigits(value, set.certified[i]!)));
    const ofSquares = sharedDigits(2 * cost, set.squares);
    expect(['converged', 'rounding']).toContain(stopped);
    expect(least).toBeGreaterThanOrEqual(wanted);
    expect(ofSquares).toBeGreaterThanOrEqual(wanted);
  });
});

it('NIST BoxBOD from start 1 ends without an answer, and says so', ({ skip }) => {
  // The first step, from b = (1, 1), makes b2 so great that exp(−b2 x) vanishes at every x: the model is the constant
  // b1 there, b2 has no effect that arithmetic can see, and no damping brings it back.
  const set = strdSet('BoxBOD', skip);
  const { b, cost, stopped } = solveNist('BoxBOD', set, 1);
  expect(stopped).toBe('no_progress');
  expect(b[1]).toBeGreaterThan(50);
  expect(2 * cost).toBeGreaterThan(10 * set.squares);
});
