import { CalibrationProblem, type NoiseScales } from '../src/calib/calibration-problem.ts';
import type { Coefficients } from '../src/calib/model.ts';
import type { Reading } from '../src/calib/reading.ts';
import { levenbergMarquardt, type SolverSummary } from '../src/calib/solver.ts';
import { closedFormStart, type Evidence } from '../src/calib/start.ts';
import { inScale, observe, stateFrom } from '../src/calib/state.ts';

/**
 * The least squares of a fit alone, with the noise known: what another program's solver does with the same readings.
 * From raw counts to the converged optimum; no estimate of noise, no screening, no uncertainty.
 */

interface Known {
  scales: { acc: number; mag: number };
  /** Standard deviations: of counts over scale, and of aim in radians. */
  noise: NoiseScales;
}

/** From the closed-form start, which is part of it. Undefined where that refuses. */
export function fromClosedForm(
  readings: readonly Reading[],
  { scales, noise }: Known,
  evidence: Evidence,
): SolverSummary | undefined {
  const scaled = inScale(readings, scales);
  const start = closedFormStart(scaled, evidence);
  if ('cause' in start) return undefined;
  const first: Coefficients = {
    ...start,
    model: 'straight',
    accScale: 1,
    magScale: 1,
    q: [0, 0, 0],
  };
  return solve(scaled, first, start.dip, start.sightFound, noise);
}

/** From an earlier answer: the same board with some readings more. */
export function fromAnswer(
  readings: readonly Reading[],
  { scales, noise }: Known,
  { coefficients, dip }: { coefficients: Coefficients; dip: number },
): SolverSummary {
  return solve(inScale(readings, scales), coefficients, dip, true, noise);
}

function solve(
  scaled: readonly Reading[],
  first: Coefficients,
  dip: number,
  sightFound: boolean,
  noise: NoiseScales,
): SolverSummary {
  const data = observe(
    scaled,
    scaled.map(() => true),
    sightFound,
  );
  const { theta, attitudes } = stateFrom(scaled, first, dip);
  const problem = new CalibrationProblem(data, theta, attitudes);
  problem.noise = noise;
  return levenbergMarquardt(problem, { lambda: 1e-9 });
}

/** Milliseconds that each of some runs takes at best of a few passes, after one to warm up: others share the machine. */
export function bestTimes(runs: readonly (() => unknown)[], passes = 5): number[] {
  const best = runs.map(() => Infinity);
  for (let pass = 0; pass <= passes; pass++) {
    runs.forEach((run, i) => {
      const start = performance.now();
      run();
      if (pass > 0) best[i] = Math.min(best[i], performance.now() - start);
    });
  }
  return best;
}

export const median = (values: readonly number[]): number =>
  [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)];
