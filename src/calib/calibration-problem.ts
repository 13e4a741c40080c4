import { meanDirections, turnAttitude, turnFrame } from './attitude-moves.ts';
import { inverseOfFactored } from './cholesky.ts';
import { Elimination } from './elimination.ts';
import {
  leaveOut,
  leverageOf,
  redundanciesOf,
  traceByKind,
  type Leverage,
  type Redundancies,
} from './leverage.ts';
import {
  Residuals,
  ROWS,
  SPAN,
  type Kind,
  type NoiseScales,
  type Observations,
  type Point,
} from './residuals.ts';
import type { LeastSquaresProblem } from './solver.ts';

export { DIP, type Kind, type NoiseScales, type Observations } from './residuals.ts';

/**
 * The calibration as a least-squares problem at a point that moves: residuals and derivatives as in residuals.ts, made
 * small as in elimination.ts, read as in leverage.ts; here what is known of θ beforehand, and what nothing can tell.
 *
 * Gauge: turning F and H together about the sight changes no residual. That direction of θ (all three turns where no
 * reading belongs to a sighting) is pinned: no step, and no variance, lies along it.
 */

/** What is known of θ beforehand: its value, and the inverse of its covariance (width × width). */
export interface Prior {
  theta: Float64Array;
  information: Float64Array;
}

/** λ under which a system counts as not damped. */
const UNDAMPED = 1e-8;

export class CalibrationProblem implements LeastSquaresProblem {
  /** Number of unknowns in θ. */
  readonly width: number;
  readonly #model: Residuals;
  readonly #system: Elimination;
  readonly #gauges: readonly number[];
  readonly #prior: Prior | undefined;
  #point: Point;
  #trial: Point;
  /** λ of the system that stands factored at the current point; NaN where none does. */
  #damping = NaN;
  /** Covariance of θ of that system, once asked for. */
  #covariance: Float64Array | undefined;

  /**
   * @param theta forward parameters to start from, 25 (straight) or 28 (bowed)
   * @param attitudes body to world, row by row, nine per reading
   * @param prior adds ½ (θ − θ₀)ᵀ Λ (θ − θ₀) to the cost; Λ must be positive definite, so that nothing is left to pin
   */
  constructor(data: Observations, theta: Float64Array, attitudes: Float64Array, prior?: Prior) {
    this.width = theta.length;
    this.#model = new Residuals(data, theta.length);
    this.#system = new Elimination(this.#model);
    this.#prior = prior;
    this.#gauges = prior ? [] : data.sightings > 0 ? [0] : [0, 1, 2];
    const frames = meanDirections(data, attitudes);
    this.#point = { theta: theta.slice(), attitudes: attitudes.slice(), frames };
    this.#trial = { theta: theta.slice(), attitudes: attitudes.slice(), frames: frames.slice() };
  }

  get theta(): Float64Array {
    return this.#point.theta;
  }

  get attitudes(): Float64Array {
    return this.#point.attitudes;
  }

  set noise(scales: NoiseScales) {
    this.#model.noise = scales;
    this.#damping = NaN;
  }

  cost(): number {
    return this.#costAt(this.#point);
  }

  trial(): number {
    return this.#costAt(this.#trial);
  }

  accept(): void {
    [this.#point, this.#trial] = [this.#trial, this.#point];
    this.#damping = NaN;
  }

  /** Weighted residuals at the current point, eight per reading: accelerometer, magnetometer, aim. */
  residuals(): Float64Array {
    return this.#model.all(this.#point);
  }

  /** Sums of squares of the weighted residuals at the current point, in the order of KINDS. */
  squaresByKind(): [number, number, number] {
    return this.#model.squares(this.#point);
  }

  #costAt(point: Point): number {
    const [acc, mag, aim] = this.#model.squares(point);
    let sum = acc + mag + aim;
    if (this.#prior) {
      const pull = pullOf(this.#prior, point.theta);
      for (let i = 0; i < this.width; i++) {
        sum += pull[i] * (point.theta[i] - this.#prior.theta[i]);
      }
    }
    return sum / 2;
  }

  solve(lambda: number): number {
    // damping that is nothing beside one changes nothing: what stands factored serves
    const factored = lambda <= UNDAMPED ? this.#factored(lambda) : this.#factor(lambda);
    return factored ? this.#system.move(this.#point, this.#trial) : NaN;
  }

  /** Factors the system at the current point. */
  #factor(lambda: number): boolean {
    this.#damping = NaN;
    this.#covariance = undefined;
    const prior = this.#prior && {
      information: this.#prior.information,
      pull: pullOf(this.#prior, this.#point.theta),
    };
    if (!this.#system.reduce(this.#point, lambda, prior)) return false;
    this.#pinGauge();
    if (!this.#system.solve()) return false;
    this.#damping = lambda;
    return true;
  }

  /** Adds a stiff spring along each direction of θ that changes no residual, as stiff as the system is on average. */
  #pinGauge(): void {
    const { width } = this;
    const { S } = this.#system;
    const stiffness = this.#system.stiffness();
    for (const v of this.#gaugeBasis()) {
      for (let i = 0; i < width; i++) {
        const vi = stiffness * v[i];
        for (let c = i; c < width; c++) S[i * width + c] += vi * v[c];
      }
    }
  }

  /** Orthonormal directions of θ that change no residual (Gram and Schmidt over the turns). */
  #gaugeBasis(): Float64Array[] {
    const basis: Float64Array[] = [];
    for (const axis of this.#gauges) {
      const v = turnOfTheta(this.#point.theta, axis);
      for (const other of basis) {
        const along = inner(v, other);
        for (let i = 0; i < v.length; i++) v[i] -= along * other[i];
      }
      const norm = Math.sqrt(inner(v, v));
      for (let i = 0; i < v.length; i++) v[i] /= norm;
      basis.push(v);
    }
    return basis;
  }

  /** Makes sure that the system stands factored at the current point, with no damping to speak of. */
  #factored(lambda = 0): boolean {
    return this.#damping <= UNDAMPED || this.#factor(lambda);
  }

  /**
   * Covariance of θ (width × width) at the current point: the inverse of the reduced normal matrix, with no variance
   * along the gauge.
   *
   * @returns undefined where the readings do not determine θ
   */
  covariance(): Float64Array | undefined {
    if (!this.#factored()) return undefined;
    if (this.#covariance) return this.#covariance;
    const { width } = this;
    const inverse = inverseOfFactored(this.#system.S, width);
    // a pinned gauge keeps a variance of its own; take it out
    const stiffness = this.#system.stiffness();
    for (const v of this.#gaugeBasis()) {
      for (let i = 0; i < width; i++) {
        for (let c = 0; c < width; c++) inverse[i * width + c] -= (v[i] * v[c]) / stiffness;
      }
    }
    if (!inverse.every(Number.isFinite)) return undefined;
    this.#covariance = inverse;
    return inverse;
  }

  /** See leverage.ts. @returns undefined where the readings do not determine θ */
  leverage(): Leverage | undefined {
    const C = this.covariance();
    return C && leverageOf(this.#model, this.#system, C);
  }

  /** See leverage.ts. @returns undefined where the readings do not determine θ */
  redundancies(): Redundancies | undefined {
    const C = this.covariance();
    return C && redundanciesOf(this.#model, this.#system, C);
  }

  /** See leverage.ts. @returns undefined where the readings do not determine θ */
  traceByKind(X: Float64Array): Record<Kind, number> | undefined {
    return this.#factored() ? traceByKind(this.#model, this.#system, X) : undefined;
  }

  /**
   * The answer without some readings, see leverage.ts.
   *
   * @param members a whole sighting, or one free attitude
   * @returns undefined where the other readings alone do not determine θ
   */
  leaveOut(
    members: readonly number[],
  ): { squares: number; chiSquare: number; theta: Float64Array } | undefined {
    if (!this.#factored()) return undefined;
    const left = leaveOut(this.#model, this.#system, members);
    if (!left) return undefined;
    const { squares, chiSquare, change } = left;
    return { squares, chiSquare, theta: this.theta.map((value, i) => value + change[i]) };
  }

  /** Residuals and their derivative by (θ, δ, τ) of one reading, as one dense 8×(width+5) matrix. */
  jacobianOf(j: number): { residuals: Float64Array; jacobian: Float64Array } {
    this.#model.lookAt(this.#point);
    this.#model.linearise(j, this.#point);
    const { J, D, r, byTau, extra } = this.#model;
    const width = this.width + 5;
    const jacobian = new Float64Array(ROWS * width);
    for (let i = 0; i < ROWS; i++) {
      if (i < 6) {
        const row = (j * 6 + i) * SPAN;
        jacobian[i * width + extra[i]] = J[row + 4];
        for (let a = 0; a < 4; a++) jacobian[i * width + 4 * i + a] = J[row + a];
      } else {
        jacobian[i * width + this.width + 3 + (i - 6)] = byTau[j];
      }
      jacobian.set(D.subarray(3 * i, 3 * i + 3), i * width + this.width);
    }
    return { residuals: r.slice(j * ROWS, (j + 1) * ROWS), jacobian };
  }

  /** For the check against finite differences: residuals of one reading after moving θ, its δ and its sighting's τ. */
  residualsAfter(
    theta: Float64Array,
    j: number,
    delta: readonly [number, number, number],
    tau: readonly [number, number],
  ): Float64Array {
    const { attitudes, frames } = this.#point;
    const moved = { theta, attitudes: attitudes.slice(), frames: frames.slice() };
    turnAttitude(attitudes, moved.attitudes, j, ...delta);
    const k = this.#model.data.sighting[j];
    if (k >= 0) turnFrame(frames, moved.frames, k, ...tau);
    return this.#model.of(j, moved);
  }
}

/** Λ (θ − θ₀) */
function pullOf(prior: Prior, theta: Float64Array): Float64Array {
  const width = theta.length;
  const pull = new Float64Array(width);
  for (let i = 0; i < width; i++) {
    for (let c = 0; c < width; c++) {
      pull[i] += prior.information[i * width + c] * (theta[c] - prior.theta[c]);
    }
  }
  return pull;
}

function inner(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i] * b[i];
  return sum;
}

/** Change of θ when F and H are turned together about a body axis: each row turns as a vector. */
function turnOfTheta(theta: Float64Array, axis: number): Float64Array {
  const v = new Float64Array(theta.length);
  const [one, two] = [(axis + 1) % 3, (axis + 2) % 3];
  for (let row = 0; row < 24; row += 4) {
    v[row + one] = -theta[row + two];
    v[row + two] = theta[row + one];
  }
  return v;
}
