import { nistModels } from '../tests/reference/nist-models.ts';
import {
  nistPath,
  nistSet,
  sharedDigits,
  solveNist,
  wantedDigits,
} from '../tests/reference/nist-sets.ts';
import type { Figure } from './figure.ts';

/** How many certified digits the least-squares loop alone reaches, from both starts of each NIST set. */
export function nist(): Figure[] {
  return Object.keys(nistModels).map((name) => {
    const what = `NIST ${name}: certified digits of the worst parameter, from start 1 and start 2`;
    const set = nistSet(name);
    if (!set) return { what, value: '–', beside: `${nistPath(name)} is not here` };
    const runs = ([1, 2] as const).map((start) => {
      const { b, stopped, iterations } = solveNist(name, set, start);
      const worst = Math.min(...b.map((value, i) => sharedDigits(value, set.certified[i]!)));
      // a certified value has eleven digits: beyond, all are shared
      const solved = stopped === 'converged' || stopped === 'rounding';
      return {
        value: solved ? Math.max(0, Math.min(11, worst)).toFixed(1) : 'none',
        words: `${iterations} steps, ${stopped.replace('_', ' ')}`,
      };
    });
    const honest =
      name === 'BoxBOD' && runs[0]!.value === 'none'
        ? '; from start 1 the first step makes b2 so great that the model is flat, and nothing brings it back: the loop says so'
        : '';
    return {
      what,
      value: runs.map(({ value }) => value).join(', '),
      beside: `${runs.map(({ words }) => words).join('; ')}; at least ${wantedDigits(name)} wanted${honest}`,
    };
  });
}
