import { CalibrationProblem, type Kind, type NoiseScales } from './calibration-problem.ts';
import { levenbergMarquardt, type SolverSummary } from './solver.ts';
import type { Data, State } from './state.ts';

/** The solution and, beside it, how noisy the readings are. */

export interface Estimate {
  data: Data;
  state: State;
  noise: NoiseScales;
  /** χ² of each observation's residuals; absent where the readings do not determine θ. */
  checks?: Float64Array;
  /** Redundancy of each kind of residual; zero where nothing is determined. */
  redundancy: Record<Kind, number>;
  summary: SolverSummary;
}

/** No component is taken to be finer than this: below, weights would outgrow the arithmetic. */
const FINEST: NoiseScales = { acc: 1e-8, mag: 1e-8, aim: 1e-8 };
/** Change of log σ under which a component stands: far under what 56 readings tell of it (some 7 %). */
const STANDS = 2e-3;

/** Change of log σ over which the redundancies must be found anew: their own change is a small part of it. */
const MOVES = 0.02;

/**
 * Solves for θ, and for the noise beside it: variance components by σ² ← σ² vᵀv / r, r the redundancy of the group's
 * residuals (Förstner 1979, Ein Verfahren zur Schätzung von Varianz- und Kovarianzkomponenten), repeated until they
 * stand. At that point each group's weighted squares equal its redundancy, as restricted maximum likelihood has it.
 * The repetition converges linearly, so each component is carried on as its last two changes promise (Aitken).
 */
export function refine(data: Data, from: State, first: NoiseScales): Estimate {
  const problem = new CalibrationProblem(data, from.theta, from.attitudes);
  const floor = 1e-12 * data.count;
  const noise = { ...first };
  const before = { acc: 0, mag: 0, aim: 0 };
  let iterations = 0;
  const run = (tolerance: number) => {
    problem.noise = noise;
    const summary = levenbergMarquardt(problem, { floor, tolerance, lambda: 1e-9 });
    iterations += summary.iterations;
    return summary;
  };
  let redundancy: Estimate['redundancy'] | undefined;
  let change = Infinity;
  for (let round = 0; round < 30 && change >= STANDS; round++) {
    // a tenth of a standard error is near enough while the weights still move
    const { cost } = run(1e-5);
    if (cost <= floor) break;
    // redundancies follow the weights slowly, and cost more than a step
    if (change > MOVES) redundancy = problem.leverage()?.redundancy;
    if (!redundancy) break;
    const squares = problem.squaresByKind();
    change = 0;
    for (const kind of KINDS) {
      if (redundancy[kind] < 1) continue; // too little to tell; what was declared stays
      const step = Math.log(squares[kind] / redundancy[kind]) / 2;
      change = Math.max(change, Math.abs(step));
      const ratio = step / before[kind];
      const further = ratio > 0 && ratio < 0.8 ? step / (1 - ratio) : step;
      before[kind] = further === step ? step : 0;
      noise[kind] = Math.max(FINEST[kind], noise[kind] * Math.exp(further));
    }
  }
  const summary = run(1e-14);
  const leverage = problem.leverage();
  return {
    data,
    noise,
    state: { theta: problem.theta, attitudes: problem.attitudes },
    summary: { ...summary, iterations },
    redundancy: leverage?.redundancy ?? { acc: 0, mag: 0, aim: 0 },
    ...(leverage ? { checks: leverage.chiSquare } : {}),
  };
}

export const KINDS = ['acc', 'mag', 'aim'] as const;
