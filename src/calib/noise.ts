import { CalibrationProblem, type Kind, type NoiseScales } from './calibration-problem.ts';
import { inverse, rotate, type Mat3 } from './geometry.ts';
import type { Redundancies } from './leverage.ts';
import { KINDS } from './residuals.ts';
import { levenbergMarquardt, type SolverOptions, type SolverSummary } from './solver.ts';
import type { Data, State } from './state.ts';

/** The solution and, beside it, how noisy the readings are. */

export interface Estimate {
  data: Data;
  /** The problem at its solution, under that noise. */
  problem: CalibrationProblem;
  noise: NoiseScales;
  /** χ² of each observation's residuals; absent where the readings do not determine θ. */
  checks?: Float64Array;
  /** Redundancy of each kind of residual; zero where nothing is determined. */
  redundancy: Record<Kind, number>;
  summary: SolverSummary;
}

/** No component is taken to be finer than this: below, weights would outgrow the arithmetic. */
const FINEST = 1e-8;
/** Change of log σ under which a component stands once it has been made: each is some twenty times the next. */
const STANDS = 0.03;
/** Part of the cost that is let go while the weights still move: they move the answer further. */
const ROUGHLY = 3e-5;
/** A step predicts about this part of what the one before did: residuals are small and the starts are good. */
const CONTRACTION = 1e-5;

/**
 * Solves for θ, and for the noise beside it: variance components, so that at the end each kind's weighted squares equal
 * its redundancy, as restricted maximum likelihood has it (Patterson and Thompson 1971, Recovery of inter-block
 * information when block sizes are unequal).
 */
export function refine(data: Data, from: State, first: NoiseScales): Estimate {
  const problem = new CalibrationProblem(data, from.theta, from.attitudes);
  const floor = 1e-12 * data.count;
  const noise = { ...first };
  let iterations = 0;
  problem.noise = noise;
  const run = (options: SolverOptions) => {
    const summary = levenbergMarquardt(problem, { floor, lambda: 1e-9, ...options });
    iterations += summary.iterations;
    return summary;
  };
  let change = Infinity;
  for (let round = 0; round < 30 && change >= STANDS; round++) {
    // redundancies hardly depend on the point, and the first step finds the system factored for them
    const before = problem.redundancies();
    const { cost } = run({ tolerance: ROUGHLY, contraction: CONTRACTION });
    const redundancies = before ?? problem.redundancies();
    if (cost <= floor || !redundancies) break;
    const ratios = varianceRatios(problem.squaresByKind(), redundancies);
    change = 0;
    KINDS.forEach((kind, k) => {
      change = Math.max(change, Math.abs(Math.log(ratios[k])) / 2);
      noise[kind] = Math.max(FINEST, noise[kind] * Math.sqrt(ratios[k]));
    });
    problem.noise = noise;
  }
  const summary = run({});
  const leverage = problem.leverage();
  const [acc, mag, aim] = leverage?.redundancy ?? [0, 0, 0];
  return {
    data,
    problem,
    noise,
    summary: { ...summary, iterations },
    redundancy: { acc, mag, aim },
    ...(leverage ? { checks: leverage.chiSquare } : {}),
  };
}

/**
 * How many times those assumed the variances of the three kinds are: x of S x = vᵀv, S_kl = tr(Q_k Q_l) the sum of the
 * squares of Q between two kinds (Helmert's estimate of variance components, as in Koch 1999, Parameter estimation and
 * hypothesis testing in linear models, section 3.6). Rows of S sum to the redundancy, since Q Q = Q. Here S is that of P
 * drawn to that sum: near enough that each round leaves a few percent of the error before, and where x = 1 nothing is
 * left whatever S is.
 *
 * @param squares vᵀv of each kind
 */
function varianceRatios(
  squares: readonly number[],
  { redundancy, coupling }: Redundancies,
): number[] {
  const S = coupling.slice();
  const right = [...squares] as [number, number, number];
  for (let k = 0; k < 3; k++) {
    const row = S.subarray(3 * k, 3 * k + 3);
    if (redundancy[k] >= 1) {
      const drawn = redundancy[k] / (row[0] + row[1] + row[2]);
      for (let l = 0; l < 3; l++) row[l] *= drawn;
    } else {
      // too little to tell; what was declared stays
      row.fill(0)[k] = 1;
      right[k] = 1;
    }
  }
  // far from the answer x may come out negative; the plain ratio is sure, and slow
  return rotate(inverse([...S] as unknown as Mat3), right).map((x, k) =>
    redundancy[k] >= 1 ? Math.max(x, squares[k] / redundancy[k] / 10) : 1,
  );
}
