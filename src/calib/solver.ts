/**
 * Levenberg–Marquardt for any least-squares problem that can say its cost, solve its damped normal equations and move.
 *
 * Damping after Nielsen (1999), Damping parameter in Marquardt's method, IMM-REP-1999-05: the gain ratio of actual to
 * predicted decrease steers λ. The loop knows nothing of how a problem stores or eliminates its unknowns.
 */

export interface LeastSquaresProblem {
  /** Half the sum of squared weighted residuals at the current point. */
  cost(): number;
  /**
   * Solves (JᵀJ + λ diag(JᵀJ)) step = −Jᵀr at the current point, and keeps the step.
   *
   * @returns the decrease of cost that the linear model predicts for it; not finite where the system cannot be solved
   */
  solve(lambda: number): number;
  /** Cost at the current point plus the step last solved for; not finite where the model has no value there. */
  trial(): number;
  /** Makes the trial point the current one. */
  accept(): void;
}

/**
 * - `converged`: the linear model predicts no decrease worth a step
 * - `rounding`: the prediction is small and arithmetic can no longer follow it; as good as converged
 * - `no_progress`: damping grew without end, and no step helped
 * - `iterations`: the limit was reached
 */
export type Stop = 'converged' | 'rounding' | 'no_progress' | 'iterations';

export interface SolverSummary {
  stopped: Stop;
  /** Steps tried, taken or not. */
  iterations: number;
  cost: number;
}

export interface SolverOptions {
  /** Stop once no more than this part of the cost is left to gain. Default 1e-14. */
  tolerance?: number;
  /**
   * What part of the decrease that one step predicts the next will predict, where that is known beforehand. Else it is
   * taken from two steps.
   */
  contraction?: number;
  /** Cost under which nothing is left to gain: noise-free data end here. Default 0. */
  floor?: number;
  /** Most steps to try. Default 100. */
  limit?: number;
  /** First λ. Default 1e-4: the starts are good, so nearly Gauss–Newton. From a poor start take 1e-2. */
  lambda?: number;
}

const LAMBDA_LIMIT = 1e12;
/** Most that λ shrinks by in one step, where the linear model predicts well; Nielsen has 3, for starts less good. */
const FASTEST = 30;
/** Part of the cost under which a predicted decrease drowns in the rounding of a sum of squares. */
const ROUNDING = 1e-10;
/** Part of the cost that its own rounding makes up. */
const UNFELT = 1e-14;
/** Gain from which on the linear model is believed when it foretells how little is left. */
const BELIEVED = 0.75;

/**
 * A solve costs far more than a cost does, so the loop need not solve once more to see that nothing is left: near an
 * optimum predicted decreases fall off at least geometrically, and with their ratio c a step that predicts p leaves
 * about p c to gain.
 */
export function levenbergMarquardt(
  problem: LeastSquaresProblem,
  {
    tolerance = 1e-14,
    contraction = NaN,
    floor = 0,
    limit = 100,
    lambda = 1e-4,
  }: SolverOptions = {},
): SolverSummary {
  let cost = problem.cost();
  let growth = 2;
  let before = NaN; // decrease predicted for the last step taken
  for (let iterations = 1; iterations <= limit; iterations++) {
    const predicted = problem.solve(lambda);
    if (predicted <= tolerance * cost || cost <= floor) {
      return { stopped: 'converged', iterations, cost };
    }
    const tried = Number.isFinite(predicted) ? problem.trial() : NaN;
    const gain = (cost - tried) / predicted;
    if (gain > 0) {
      problem.accept();
      cost = tried;
      const c = Number.isNaN(before) ? contraction : predicted / before;
      if (gain > BELIEVED && predicted * c <= tolerance * cost) {
        return { stopped: 'converged', iterations, cost };
      }
      before = predicted;
      lambda = Math.max(lambda * Math.max(1 / FASTEST, 1 - (2 * gain - 1) ** 3), 1e-12);
      growth = 2;
    } else {
      if (predicted <= ROUNDING * cost) {
        // the step is better than the cost can tell, so it is taken where the cost shows no rise
        if (tried - cost <= UNFELT * cost) {
          problem.accept();
          cost = tried;
        }
        return { stopped: 'rounding', iterations, cost };
      }
      lambda *= growth;
      growth *= 2;
      if (lambda > LAMBDA_LIMIT) return { stopped: 'no_progress', iterations, cost };
    }
  }
  return { stopped: 'iterations', iterations: limit, cost };
}
