import { meanDirections, turnAttitude, turnFrame } from './attitude-moves.ts';
import {
  cholesky,
  forwardRows,
  substituteLower,
  substituteUpper,
  subtractSquares,
} from './cholesky.ts';
import type { LeastSquaresProblem } from './solver.ts';

/**
 * The calibration as a least-squares problem: residuals, their derivatives, and the elimination that keeps it small.
 *
 * Unknowns
 * - θ, the board and the place: for each of the six chip axes i the row F_i of the forward matrix and its offset, then
 *   the dip I, then (bowed) the curvatures q. 25 or 28 numbers. F = A⁻¹, H = B⁻¹ of the coefficients.
 * - for each reading its attitude R (body to world), moved by a rotation vector δ in the body: R exp([δ]×). 3 numbers.
 * - for each sighting its direction d in the world, moved by τ in the tangent plane with axes P₀, P₁. 2 numbers.
 *
 * Residuals, each divided by its standard deviation; with g = Rᵀ(0,0,1) and b = Rᵀ(cos I, 0, sin I)
 * - accelerometer: u − (s + o), s the root of s + q s² = F g                                     3 per reading
 * - magnetometer:  u − (H b + p)                                                                 3 per reading
 * - aim:           P₀·x and P₁·x, x = R(1,0,0) the sight in the world (readings in a sighting)   2 per reading
 *
 * Derivatives: ∂g/∂δ = [g]×, hence ∂(F_i·g)/∂δ = F_i × g, and the same for b; ∂x/∂δ = (0, −R·z, R·y);
 * ∂(P_k·x)/∂τ_k = −d·x. A gradient check by finite differences stands in the tests.
 *
 * Elimination (Schur complement, as in Triggs et al. 2000, Bundle adjustment: a modern synthesis, section 6): first
 * each reading's δ, then each sighting's τ. What remains is as wide as θ, and work grows linearly with the readings.
 * With D the derivative of a reading's residuals by δ, eliminating δ leaves Jᵀ P J and Jᵀ P r, where
 * P = 1 − D (DᵀD)⁻¹ Dᵀ is only 8×8; and a sensor's residual depends on five entries of θ alone. Nothing as wide as θ is
 * ever formed for a reading.
 *
 * Gauge: turning F and H together about the sight changes no residual. That direction of θ (all three turns where no
 * reading belongs to a sighting) is pinned: no step, and no variance, lies along it.
 */

/** Residuals per reading: three of each sensor and two of aim. */
const ROWS = 8;
/** Entries of θ that one sensor's residual depends on. */
const SPAN = 5;
/** Index of the dip in θ. */
export const DIP = 24;

export interface Observations {
  /** Number of readings. */
  count: number;
  /** Counts over scale, three per reading. */
  acc: Float64Array;
  mag: Float64Array;
  /** Index of each reading's sighting; −1 for a free attitude. */
  sighting: Int32Array;
  /** Number of sightings. */
  sightings: number;
}

/** What is known of θ beforehand: its value, and the inverse of its covariance (width × width). */
export interface Prior {
  theta: Float64Array;
  information: Float64Array;
}

/** Standard deviations: of counts over scale, and of aim in radians. */
export interface NoiseScales {
  acc: number;
  mag: number;
  aim: number;
}

interface Point {
  theta: Float64Array;
  /** Body to world, row by row, nine per reading. */
  attitudes: Float64Array;
  /** Rows d, P₀, P₁: right-handed, nine per sighting. */
  frames: Float64Array;
}

/** The kinds of residuals, each with a noise of its own. */
export type Kind = keyof NoiseScales;
const KIND_OF_ROW: readonly Kind[] = ['acc', 'acc', 'acc', 'mag', 'mag', 'mag', 'aim', 'aim'];

/** How much of each reading's residuals the fit took up, see {@link CalibrationProblem.leverage}. */
export interface Leverage {
  /** Diagonal of the hat matrix, eight per reading. */
  hat: Float64Array;
  /** vᵀ Cov(v)⁺ v of each reading's weighted residuals v: χ² with 5 (3 for a free attitude) degrees where all is well. */
  chiSquare: Float64Array;
  /** Redundancy of each kind of residual: how much of it is left to check the others by. */
  redundancy: Record<Kind, number>;
}

export class CalibrationProblem implements LeastSquaresProblem {
  /** Number of unknowns in θ. */
  readonly width: number;
  readonly #data: Observations;
  readonly #bowed: boolean;
  readonly #gauges: readonly number[];
  readonly #prior: Prior | undefined;
  #point: Point;
  #trial: Point;
  #weights = { acc: 1, mag: 1, aim: 1 };

  // The linear model at the current point, made when first asked for: per reading r (8), D (8×3), the five entries of J
  // by θ of each sensor's row (6×5: along F or H, the offset, and the dip or the curvature), and the derivative by τ.
  #linearised = false;
  readonly #r: Float64Array;
  readonly #D: Float64Array;
  readonly #J: Float64Array;
  readonly #byTau: Float64Array;
  // Jᵀr and the diagonal of JᵀJ, by θ and by τ
  readonly #gradient: Float64Array;
  readonly #diagonal: Float64Array;
  readonly #gradientTau: Float64Array;
  readonly #diagonalTau: Float64Array;

  // The system last solved: per reading the Cholesky factor L of DᵀD (6) and A = D L⁻ᵀ (8×3), so that P = 1 − A Aᵀ; per
  // sighting the factor of its 2×2 block V, and W and its right side divided by it; and S, factored.
  readonly #L: Float64Array;
  readonly #A: Float64Array;
  readonly #V: Float64Array;
  readonly #W: Float64Array;
  readonly #hTau: Float64Array;
  readonly #S: Float64Array;
  readonly #step: Float64Array;
  readonly #tau: Float64Array;
  // room for one reading's 8×8 matrices
  readonly #P = new Float64Array(ROWS * ROWS);
  readonly #Y = new Float64Array(ROWS * 3);
  readonly #T = new Float64Array(9);
  readonly #one = new Float64Array(ROWS);
  /** λ of that system; NaN where none stands factored at the current point. */
  #damping = NaN;

  /**
   * @param theta forward parameters to start from, 25 (straight) or 28 (bowed)
   * @param attitudes body to world, row by row, nine per reading
   * @param prior adds ½ (θ − θ₀)ᵀ Λ (θ − θ₀) to the cost; Λ must be positive definite, so that nothing is left to pin
   */
  constructor(data: Observations, theta: Float64Array, attitudes: Float64Array, prior?: Prior) {
    const { count, sightings } = data;
    const width = theta.length;
    this.width = width;
    this.#data = data;
    this.#bowed = width > DIP + 1;
    this.#prior = prior;
    this.#gauges = prior ? [] : sightings > 0 ? [0] : [0, 1, 2];
    const frames = meanDirections(data, attitudes);
    this.#point = { theta: theta.slice(), attitudes: attitudes.slice(), frames };
    this.#trial = { theta: theta.slice(), attitudes: attitudes.slice(), frames: frames.slice() };
    this.#r = new Float64Array(count * ROWS);
    this.#D = new Float64Array(count * ROWS * 3);
    this.#J = new Float64Array(count * 6 * SPAN);
    this.#byTau = new Float64Array(count);
    this.#gradient = new Float64Array(width);
    this.#diagonal = new Float64Array(width);
    this.#gradientTau = new Float64Array(sightings * 2);
    this.#diagonalTau = new Float64Array(sightings);
    this.#L = new Float64Array(count * 6);
    this.#A = new Float64Array(count * ROWS * 3);
    this.#V = new Float64Array(sightings * 3);
    this.#W = new Float64Array(sightings * 2 * width);
    this.#hTau = new Float64Array(sightings * 2);
    this.#S = new Float64Array(width * width);
    this.#step = new Float64Array(width);
    this.#tau = new Float64Array(sightings * 2);
  }

  get theta(): Float64Array {
    return this.#point.theta;
  }

  get attitudes(): Float64Array {
    return this.#point.attitudes;
  }

  set noise(scales: NoiseScales) {
    this.#weights = { acc: 1 / scales.acc, mag: 1 / scales.mag, aim: 1 / scales.aim };
    this.#linearised = false;
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
    this.#linearised = false;
    this.#damping = NaN;
  }

  /** Weighted residuals at the current point, eight per reading: accelerometer, magnetometer, aim. */
  residuals(): Float64Array {
    const all = new Float64Array(this.#data.count * ROWS);
    for (let j = 0; j < this.#data.count; j++) this.#residualsOf(j, this.#point, all, j * ROWS);
    return all;
  }

  /** Sum of squares of the weighted residuals of each kind at the current point. */
  squaresByKind(): Record<Kind, number> {
    const squares = { acc: 0, mag: 0, aim: 0 };
    const r = this.#one;
    for (let j = 0; j < this.#data.count; j++) {
      this.#residualsOf(j, this.#point, r, 0);
      for (let i = 0; i < ROWS; i++) squares[KIND_OF_ROW[i]!] += r[i]! ** 2;
    }
    return squares;
  }

  #costAt(point: Point): number {
    const r = this.#one;
    let sum = 0;
    for (let j = 0; j < this.#data.count; j++) {
      this.#residualsOf(j, point, r, 0);
      for (let i = 0; i < ROWS; i++) sum += r[i]! * r[i]!;
    }
    if (this.#prior) {
      const pull = this.#pull(point.theta, this.#prior);
      for (let i = 0; i < this.width; i++)
        sum += pull[i]! * (point.theta[i]! - this.#prior.theta[i]!);
    }
    return sum / 2;
  }

  /** Λ (θ − θ₀) */
  #pull(theta: Float64Array, prior: Prior): Float64Array {
    const width = this.width;
    const pull = new Float64Array(width);
    for (let i = 0; i < width; i++) {
      for (let c = 0; c < width; c++) {
        pull[i] = pull[i]! + prior.information[i * width + c]! * (theta[c]! - prior.theta[c]!);
      }
    }
    return pull;
  }

  /** Writes one reading's weighted residuals from `out[at]` on; NaN where the curvature has no root. */
  #residualsOf(
    j: number,
    { theta, attitudes, frames }: Point,
    out: Float64Array,
    at: number,
  ): void {
    const { acc, mag, sighting } = this.#data;
    const { acc: wAcc, mag: wMag, aim: wAim } = this.#weights;
    const R = j * 9;
    const cosDip = Math.cos(theta[DIP]!);
    const sinDip = Math.sin(theta[DIP]!);
    const [g0, g1, g2] = [attitudes[R + 6]!, attitudes[R + 7]!, attitudes[R + 8]!];
    const b0 = cosDip * attitudes[R]! + sinDip * g0;
    const b1 = cosDip * attitudes[R + 1]! + sinDip * g1;
    const b2 = cosDip * attitudes[R + 2]! + sinDip * g2;
    for (let i = 0; i < 3; i++) {
      const f = 4 * i;
      let s = theta[f]! * g0 + theta[f + 1]! * g1 + theta[f + 2]! * g2;
      if (this.#bowed) s = (2 * s) / (1 + Math.sqrt(1 + 4 * theta[DIP + 1 + i]! * s));
      out[at + i] = wAcc * (acc[j * 3 + i]! - s - theta[f + 3]!);
      const h = 12 + f;
      out[at + 3 + i] =
        wMag *
        (mag[j * 3 + i]! -
          theta[h]! * b0 -
          theta[h + 1]! * b1 -
          theta[h + 2]! * b2 -
          theta[h + 3]!);
    }
    const k = sighting[j]!;
    if (k < 0) {
      out[at + 6] = 0;
      out[at + 7] = 0;
      return;
    }
    const p = k * 9 + 3;
    const [x0, x1, x2] = [attitudes[R]!, attitudes[R + 3]!, attitudes[R + 6]!];
    out[at + 6] = wAim * (frames[p]! * x0 + frames[p + 1]! * x1 + frames[p + 2]! * x2);
    out[at + 7] = wAim * (frames[p + 3]! * x0 + frames[p + 4]! * x1 + frames[p + 5]! * x2);
  }

  /** Makes the linear model at the current point, where it does not stand yet. */
  #linearise(): void {
    if (this.#linearised) return;
    this.#linearised = true;
    const [gradient, diagonal] = [this.#gradient, this.#diagonal];
    gradient.fill(0);
    diagonal.fill(0);
    this.#gradientTau.fill(0);
    this.#diagonalTau.fill(0);
    for (let j = 0; j < this.#data.count; j++) {
      this.#residualsOf(j, this.#point, this.#r, j * ROWS);
      this.#deriveSensors(j);
      this.#deriveAim(j);
      for (let i = 0; i < 6; i++) {
        const row = (j * 6 + i) * SPAN;
        const ri = this.#r[j * ROWS + i]!;
        for (let c = 0; c < SPAN; c++) {
          const value = this.#J[row + c]!;
          const at = c < 4 ? 4 * i + c : this.#extra(i);
          gradient[at] = gradient[at]! + value * ri;
          diagonal[at] = diagonal[at]! + value * value;
        }
      }
    }
    if (!this.#prior) return;
    const pull = this.#pull(this.#point.theta, this.#prior);
    for (let i = 0; i < this.width; i++) {
      gradient[i] = gradient[i]! + pull[i]!;
      diagonal[i] = diagonal[i]! + this.#prior.information[i * this.width + i]!;
    }
  }

  /** The column of θ that a sensor's row depends on beside its own four: the dip, or the curvature of a bowed chip. */
  #extra(row: number): number {
    return row < 3 && this.#bowed ? DIP + 1 + row : DIP;
  }

  #deriveSensors(j: number): void {
    const { theta, attitudes } = this.#point;
    const { acc: wAcc, mag: wMag } = this.#weights;
    const [D, J] = [this.#D, this.#J];
    const R = j * 9;
    const cosDip = Math.cos(theta[DIP]!);
    const sinDip = Math.sin(theta[DIP]!);
    for (let i = 0; i < 6; i++) {
      const isAcc = i < 3;
      const f = 4 * i;
      const [f0, f1, f2] = [theta[f]!, theta[f + 1]!, theta[f + 2]!];
      const [n0, n1, n2] = [attitudes[R]!, attitudes[R + 1]!, attitudes[R + 2]!];
      const [d0, d1, d2] = [attitudes[R + 6]!, attitudes[R + 7]!, attitudes[R + 8]!];
      let [v0, v1, v2] = [d0, d1, d2];
      let slope = 1;
      let extra = 0;
      if (!isAcc) {
        v0 = cosDip * n0 + sinDip * d0;
        v1 = cosDip * n1 + sinDip * d1;
        v2 = cosDip * n2 + sinDip * d2;
        extra =
          -wMag *
          (f0 * (cosDip * d0 - sinDip * n0) +
            f1 * (cosDip * d1 - sinDip * n1) +
            f2 * (cosDip * d2 - sinDip * n2));
      } else if (this.#bowed) {
        const t = f0 * v0 + f1 * v1 + f2 * v2;
        const root = Math.sqrt(1 + 4 * theta[DIP + 1 + i]! * t);
        const s = (2 * t) / (1 + root);
        slope = 1 / root;
        extra = (wAcc * s * s) / root;
      }
      const w = isAcc ? -wAcc : -wMag;
      const k = w * slope;
      const row = (j * 6 + i) * SPAN;
      J[row] = k * v0;
      J[row + 1] = k * v1;
      J[row + 2] = k * v2;
      J[row + 3] = w;
      J[row + 4] = extra;
      const d = (j * ROWS + i) * 3;
      D[d] = k * (f1 * v2 - f2 * v1);
      D[d + 1] = k * (f2 * v0 - f0 * v2);
      D[d + 2] = k * (f0 * v1 - f1 * v0);
    }
  }

  #deriveAim(j: number): void {
    const { attitudes, frames } = this.#point;
    const wAim = this.#weights.aim;
    const k = this.#data.sighting[j]!;
    const D = this.#D;
    const R = j * 9;
    let byTau = 0;
    for (let t = 0; t < 2; t++) {
      let [onY, onZ] = [0, 0];
      if (k >= 0) {
        const p = k * 9 + 3 + 3 * t;
        for (let c = 0; c < 3; c++) {
          onY += frames[p + c]! * attitudes[R + 3 * c + 1]!;
          onZ += frames[p + c]! * attitudes[R + 3 * c + 2]!;
        }
      }
      const d = (j * ROWS + 6 + t) * 3;
      D[d] = 0;
      D[d + 1] = -wAim * onZ;
      D[d + 2] = wAim * onY;
    }
    if (k >= 0) {
      for (let c = 0; c < 3; c++) byTau -= wAim * frames[k * 9 + c]! * attitudes[R + 3 * c]!;
      for (let t = 0; t < 2; t++) {
        const at = k * 2 + t;
        this.#gradientTau[at] = this.#gradientTau[at]! + byTau * this.#r[j * ROWS + 6 + t]!;
      }
      this.#diagonalTau[k] = this.#diagonalTau[k]! + byTau * byTau;
    }
    this.#byTau[j] = byTau;
  }

  solve(lambda: number): number {
    this.#damping = NaN;
    this.#linearise();
    const { count, sightings } = this.#data;
    const width = this.width;
    const [S, h] = [this.#S, this.#step];
    S.fill(0);
    h.fill(0);
    if (this.#prior) {
      S.set(this.#prior.information);
      h.set(this.#pull(this.#point.theta, this.#prior));
    }
    this.#V.fill(0);
    this.#W.fill(0);
    this.#hTau.fill(0);
    for (let j = 0; j < count; j++) this.#eliminateReading(j, lambda);
    for (let k = 0; k < sightings; k++) {
      if (!this.#eliminateSighting(k, lambda)) return NaN;
    }
    for (let i = 0; i < width; i++) {
      S[i * width + i] = S[i * width + i]! + lambda * this.#diagonal[i]!;
    }
    this.#pinGauge();
    if (!cholesky(S, width)) return NaN;
    this.#damping = lambda;

    const step = h;
    for (let i = 0; i < width; i++) step[i] = -h[i]!;
    substituteLower(S, step, width);
    substituteUpper(S, step, width);
    const { theta } = this.#trial;
    let twice = 0;
    for (let i = 0; i < width; i++) {
      theta[i] = this.#point.theta[i]! + step[i]!;
      twice += step[i]! * (lambda * this.#diagonal[i]! * step[i]! - this.#gradient[i]!);
    }
    for (let k = 0; k < sightings; k++) twice += this.#moveSighting(k, lambda);
    for (let j = 0; j < count; j++) twice += this.#moveReading(j, lambda);
    return twice / 2;
  }

  /** Factors one reading's 3×3 block, and adds Jᵀ P J and Jᵀ P r to the system and to its sighting's. */
  #eliminateReading(j: number, lambda: number): void {
    const width = this.width;
    const [S, h, J, P] = [this.#S, this.#step, this.#J, this.#P];
    this.#project(j, lambda);
    const r = j * ROWS;
    const base = j * 6 * SPAN;
    for (let i = 0; i < 6; i++) {
      let pr = 0;
      for (let c = 0; c < ROWS; c++) pr += P[i * ROWS + c]! * this.#r[r + c]!;
      // what the row's neighbours in the extra columns add to it
      let dip = 0;
      for (let c = 3; c < 6; c++) dip += P[i * ROWS + c]! * J[base + c * SPAN + 4]!;
      const row = base + i * SPAN;
      for (let a = 0; a < 4; a++) {
        const value = J[row + a]!;
        const at = 4 * i + a;
        h[at] = h[at]! + value * pr;
        for (let c = i; c < 6; c++) {
          const scale = P[i * ROWS + c]! * value;
          const s = at * width + 4 * c;
          const other = base + c * SPAN;
          S[s] = S[s]! + scale * J[other]!;
          S[s + 1] = S[s + 1]! + scale * J[other + 1]!;
          S[s + 2] = S[s + 2]! + scale * J[other + 2]!;
          S[s + 3] = S[s + 3]! + scale * J[other + 3]!;
        }
        S[at * width + DIP] = S[at * width + DIP]! + value * dip;
        if (!this.#bowed) continue;
        for (let c = 0; c < 3; c++) {
          const s = at * width + DIP + 1 + c;
          S[s] = S[s]! + P[i * ROWS + c]! * value * J[base + c * SPAN + 4]!;
        }
      }
      const extra = J[row + 4]!;
      const x = this.#extra(i);
      h[x] = h[x]! + extra * pr;
      if (i >= 3) {
        S[DIP * width + DIP] = S[DIP * width + DIP]! + extra * dip;
      } else if (this.#bowed) {
        S[DIP * width + x] = S[DIP * width + x]! + extra * dip;
        for (let c = i; c < 3; c++) {
          const s = x * width + DIP + 1 + c;
          S[s] = S[s]! + extra * P[i * ROWS + c]! * J[base + c * SPAN + 4]!;
        }
      }
    }

    const k = this.#data.sighting[j]!;
    if (k < 0) return;
    const [V, W, hTau] = [this.#V, this.#W, this.#hTau];
    const byTau = this.#byTau[j]!;
    for (let t = 0; t < 2; t++) {
      const p = (6 + t) * ROWS;
      let pr = 0;
      for (let c = 0; c < ROWS; c++) pr += P[p + c]! * this.#r[r + c]!;
      hTau[k * 2 + t] = hTau[k * 2 + t]! + byTau * pr;
      const w = (k * 2 + t) * width;
      for (let i = 0; i < 6; i++) {
        const scale = byTau * P[p + i]!;
        const row = base + i * SPAN;
        for (let a = 0; a < 4; a++) {
          const at = w + 4 * i + a;
          W[at] = W[at]! + scale * J[row + a]!;
        }
        const x = w + this.#extra(i);
        W[x] = W[x]! + scale * J[row + 4]!;
      }
    }
    V[k * 3] = V[k * 3]! + byTau * byTau * P[6 * ROWS + 6]!;
    V[k * 3 + 1] = V[k * 3 + 1]! + byTau * byTau * P[6 * ROWS + 7]!;
    V[k * 3 + 2] = V[k * 3 + 2]! + byTau * byTau * P[7 * ROWS + 7]!;
  }

  /** Factors DᵀD (1 + λ on its diagonal) = L Lᵀ of one reading; fills A = D L⁻ᵀ and P = 1 − A Aᵀ. */
  #project(j: number, lambda: number): void {
    const [D, A, L] = [this.#D, this.#A, this.#L];
    const d = j * ROWS * 3;
    let [u00, u01, u02, u11, u12, u22] = [0, 0, 0, 0, 0, 0];
    for (let at = d; at < d + ROWS * 3; at += 3) {
      const [d0, d1, d2] = [D[at]!, D[at + 1]!, D[at + 2]!];
      u00 += d0 * d0;
      u01 += d0 * d1;
      u02 += d0 * d2;
      u11 += d1 * d1;
      u12 += d1 * d2;
      u22 += d2 * d2;
    }
    const l00 = Math.sqrt(u00 * (1 + lambda));
    const l10 = u01 / l00;
    const l20 = u02 / l00;
    const l11 = Math.sqrt(u11 * (1 + lambda) - l10 * l10);
    const l21 = (u12 - l20 * l10) / l11;
    const l22 = Math.sqrt(u22 * (1 + lambda) - l20 * l20 - l21 * l21);
    const l = j * 6;
    L[l] = l00;
    L[l + 1] = l10;
    L[l + 2] = l20;
    L[l + 3] = l11;
    L[l + 4] = l21;
    L[l + 5] = l22;
    for (let at = d; at < d + ROWS * 3; at += 3) {
      const a0 = D[at]! / l00;
      const a1 = (D[at + 1]! - l10 * a0) / l11;
      A[at] = a0;
      A[at + 1] = a1;
      A[at + 2] = (D[at + 2]! - l20 * a0 - l21 * a1) / l22;
    }
    this.#complement(j);
  }

  /** Fills P = 1 − A Aᵀ of one reading. */
  #complement(j: number): void {
    const [A, P] = [this.#A, this.#P];
    const d = j * ROWS * 3;
    for (let i = 0; i < ROWS; i++) {
      const a = d + i * 3;
      for (let c = i; c < ROWS; c++) {
        const b = d + c * 3;
        const value =
          (i === c ? 1 : 0) - A[a]! * A[b]! - A[a + 1]! * A[b + 1]! - A[a + 2]! * A[b + 2]!;
        P[i * ROWS + c] = value;
        P[c * ROWS + i] = value;
      }
    }
  }

  #eliminateSighting(k: number, lambda: number): boolean {
    const width = this.width;
    const [V, W, hTau, h] = [this.#V, this.#W, this.#hTau, this.#step];
    const damping = lambda * this.#diagonalTau[k]!;
    const l00 = Math.sqrt(V[k * 3]! + damping);
    const l10 = V[k * 3 + 1]! / l00;
    const l11 = Math.sqrt(V[k * 3 + 2]! + damping - l10 * l10);
    if (!(l00 > 0) || !(l11 > 0)) return false;
    V[k * 3] = l00;
    V[k * 3 + 1] = l10;
    V[k * 3 + 2] = l11;
    const h0 = hTau[k * 2]! / l00;
    const h1 = (hTau[k * 2 + 1]! - l10 * h0) / l11;
    hTau[k * 2] = h0;
    hTau[k * 2 + 1] = h1;
    const [w0, w1] = [k * 2 * width, (k * 2 + 1) * width];
    for (let c = 0; c < width; c++) {
      const a0 = W[w0 + c]! / l00;
      const a1 = (W[w1 + c]! - l10 * a0) / l11;
      W[w0 + c] = a0;
      W[w1 + c] = a1;
      h[c] = h[c]! - a0 * h0 - a1 * h1;
    }
    subtractSquares(this.#S, W, w0, 2, width);
    return true;
  }

  /** Adds a stiff spring along each direction of θ that changes no residual, as stiff as the system is on average. */
  #pinGauge(): void {
    const width = this.width;
    const S = this.#S;
    const stiffness = this.#stiffness();
    for (const v of this.#gaugeBasis()) {
      for (let i = 0; i < width; i++) {
        for (let c = i; c < width; c++) {
          S[i * width + c] = S[i * width + c]! + stiffness * v[i]! * v[c]!;
        }
      }
    }
  }

  #stiffness(): number {
    let sum = 0;
    for (let i = 0; i < this.width; i++) sum += this.#diagonal[i]!;
    return sum / this.width;
  }

  /** Orthonormal directions of θ that change no residual (Gram and Schmidt over the turns). */
  #gaugeBasis(): Float64Array[] {
    const basis: Float64Array[] = [];
    for (const axis of this.#gauges) {
      const v = turnOfTheta(this.#point.theta, axis);
      for (const other of basis) {
        const along = v.reduce((sum, value, i) => sum + value * other[i]!, 0);
        for (let i = 0; i < v.length; i++) v[i] = v[i]! - along * other[i]!;
      }
      const norm = Math.sqrt(v.reduce((sum, value) => sum + value * value, 0));
      basis.push(v.map((value) => value / norm));
    }
    return basis;
  }

  /** Back-substitutes one sighting's τ into the trial frame; returns its part of twice the predicted decrease. */
  #moveSighting(k: number, lambda: number): number {
    const width = this.width;
    const [V, W, step] = [this.#V, this.#W, this.#step];
    let a0 = -this.#hTau[k * 2]!;
    let a1 = -this.#hTau[k * 2 + 1]!;
    for (let c = 0; c < width; c++) {
      a0 -= W[k * 2 * width + c]! * step[c]!;
      a1 -= W[(k * 2 + 1) * width + c]! * step[c]!;
    }
    const t1 = a1 / V[k * 3 + 2]!;
    const t0 = (a0 - V[k * 3 + 1]! * t1) / V[k * 3]!;
    this.#tau[k * 2] = t0;
    this.#tau[k * 2 + 1] = t1;
    turnFrame(this.#point.frames, this.#trial.frames, k, t0, t1);
    return (
      lambda * this.#diagonalTau[k]! * (t0 * t0 + t1 * t1) -
      t0 * this.#gradientTau[k * 2]! -
      t1 * this.#gradientTau[k * 2 + 1]!
    );
  }

  /**
   * Back-substitutes one reading's δ = −L⁻ᵀ Aᵀ (r + J θ + J τ) into the trial attitude; returns its part of twice the
   * predicted decrease.
   */
  #moveReading(j: number, lambda: number): number {
    const [D, A, J, L, step] = [this.#D, this.#A, this.#J, this.#L, this.#step];
    const k = this.#data.sighting[j]!;
    let [s0, s1, s2, g0, g1, g2, u0, u1, u2] = [0, 0, 0, 0, 0, 0, 0, 0, 0];
    for (let i = 0; i < ROWS; i++) {
      const r = this.#r[j * ROWS + i]!;
      let y = r;
      if (i < 6) {
        const row = (j * 6 + i) * SPAN;
        for (let c = 0; c < 4; c++) y += J[row + c]! * step[4 * i + c]!;
        y += J[row + 4]! * step[this.#extra(i)]!;
      } else if (k >= 0) {
        y += this.#byTau[j]! * this.#tau[k * 2 + i - 6]!;
      }
      const at = (j * ROWS + i) * 3;
      s0 += A[at]! * y;
      s1 += A[at + 1]! * y;
      s2 += A[at + 2]! * y;
      const [d0, d1, d2] = [D[at]!, D[at + 1]!, D[at + 2]!];
      g0 += d0 * r;
      g1 += d1 * r;
      g2 += d2 * r;
      u0 += d0 * d0;
      u1 += d1 * d1;
      u2 += d2 * d2;
    }
    const l = j * 6;
    const d2 = -s2 / L[l + 5]!;
    const d1 = (-s1 - L[l + 4]! * d2) / L[l + 3]!;
    const d0 = (-s0 - L[l + 1]! * d1 - L[l + 2]! * d2) / L[l]!;
    turnAttitude(this.#point.attitudes, this.#trial.attitudes, j, d0, d1, d2);
    return (
      d0 * (lambda * u0 * d0 - g0) + d1 * (lambda * u1 * d1 - g1) + d2 * (lambda * u2 * d2 - g2)
    );
  }

  /** Makes sure that the system stands factored at the current point, with no damping to speak of. */
  #factored(): boolean {
    return this.#damping <= 1e-8 || Number.isFinite(this.solve(0));
  }

  /**
   * Covariance of θ (width × width) at the current point: the inverse of the reduced normal matrix, with no variance
   * along the gauge.
   *
   * @returns undefined where the readings do not determine θ
   */
  covariance(): Float64Array | undefined {
    if (!this.#factored()) return undefined;
    const width = this.width;
    const inverse = new Float64Array(width * width);
    const column = new Float64Array(width);
    for (let i = 0; i < width; i++) {
      column.fill(0);
      column[i] = 1;
      substituteLower(this.#S, column, width);
      substituteUpper(this.#S, column, width);
      inverse.set(column, i * width);
    }
    // a pinned gauge keeps a variance of its own; take it out
    const stiffness = this.#stiffness();
    for (const v of this.#gaugeBasis()) {
      for (let i = 0; i < width; i++) {
        for (let c = 0; c < width; c++) {
          inverse[i * width + c] = inverse[i * width + c]! - (v[i]! * v[c]!) / stiffness;
        }
      }
    }
    return inverse.every(Number.isFinite) ? inverse : undefined;
  }

  /**
   * How far the fit followed each residual: the hat matrix H = J (JᵀJ)⁻¹ Jᵀ per reading. A residual has the variance
   * 1 − H in units of its own, so a reading near the edge of the coverage cannot hide behind its small residual.
   *
   * @returns undefined where the readings do not determine θ
   */
  leverage(): Leverage | undefined {
    const C = this.covariance();
    if (!C) return undefined;
    const { count, sighting } = this.#data;
    const inSightings = this.#throughSightings(C, true);
    const hat = new Float64Array(count * ROWS);
    const chiSquare = new Float64Array(count);
    const redundancy = { acc: 0, mag: 0, aim: 0 };
    const H = new Float64Array(ROWS * ROWS);
    const v = new Float64Array(ROWS);
    for (let j = 0; j < count; j++) {
      this.#acrossDelta(j, C, inSightings, H);
      for (let i = 0; i < ROWS; i++) {
        v[i] = this.#r[j * ROWS + i]!;
        const a = (j * ROWS + i) * 3;
        const own = this.#A[a]! ** 2 + this.#A[a + 1]! ** 2 + this.#A[a + 2]! ** 2;
        if (i < 6 || sighting[j]! >= 0) {
          hat[j * ROWS + i] = H[i * ROWS + i]! + own;
          redundancy[KIND_OF_ROW[i]!] += 1 - hat[j * ROWS + i]!;
        }
        // v lies across D already, so the part of H along D may be left out of its covariance
        for (let c = i; c < ROWS; c++)
          H[i * ROWS + c] = (i === c ? 1 + 1e-9 : 0) - H[i * ROWS + c]!;
      }
      if (cholesky(H, ROWS)) {
        substituteLower(H, v, ROWS);
        let sum = 0;
        for (let i = 0; i < ROWS; i++) sum += v[i]! * v[i]!;
        chiSquare[j] = sum;
      } else {
        chiSquare[j] = NaN; // the fit rests on this reading alone in some direction; nothing checks it
      }
    }
    return { hat, chiSquare, redundancy };
  }

  /**
   * The parts of tr(X N) that each kind of residual makes, N the reduced normal matrix: how much each noise adds to a
   * variance.
   *
   * @param X symmetric, width × width
   * @returns undefined where the readings do not determine θ
   */
  traceByKind(X: Float64Array): Record<Kind, number> | undefined {
    if (!this.#factored()) return undefined;
    const inSightings = this.#throughSightings(X, false);
    const H = new Float64Array(ROWS * ROWS);
    const parts = { acc: 0, mag: 0, aim: 0 };
    for (let j = 0; j < this.#data.count; j++) {
      this.#acrossDelta(j, X, inSightings, H);
      for (let i = 0; i < ROWS; i++) parts[KIND_OF_ROW[i]!] += H[i * ROWS + i]!;
    }
    return parts;
  }

  /**
   * A covariance X of θ carried on to the sightings, whose τ follow θ as −V⁻¹W θ: per sighting the 2×width covariance of
   * τ with θ and the three numbers of that of τ, with τ's own variance V⁻¹ where asked.
   */
  #throughSightings(X: Float64Array, own: boolean): { cross: Float64Array; tau: Float64Array } {
    const { sightings } = this.#data;
    const width = this.width;
    const [V, W] = [this.#V, this.#W];
    const cross = new Float64Array(sightings * 2 * width);
    const tau = new Float64Array(sightings * 3);
    const y = new Float64Array(2 * width);
    for (let k = 0; k < sightings; k++) {
      const [l00, l10, l11] = [V[k * 3]!, V[k * 3 + 1]!, V[k * 3 + 2]!];
      const w = k * 2 * width;
      for (let c = 0; c < width; c++) {
        y[width + c] = W[w + width + c]! / l11;
        y[c] = (W[w + c]! - l10 * y[width + c]!) / l00;
      }
      let [t00, t01, t11] = [0, 0, 0];
      for (let i = 0; i < width; i++) {
        let [x0, x1] = [0, 0];
        for (let c = 0; c < width; c++) {
          x0 += X[i * width + c]! * y[c]!;
          x1 += X[i * width + c]! * y[width + c]!;
        }
        cross[w + i] = -x0;
        cross[w + width + i] = -x1;
        t00 += x0 * y[i]!;
        t01 += x0 * y[width + i]!;
        t11 += x1 * y[width + i]!;
      }
      if (own) {
        // (L Lᵀ)⁻¹ of the 2×2 factor
        const i11 = 1 / l11;
        const i10 = -l10 / (l00 * l11);
        t00 += 1 / (l00 * l00) + i10 * i10;
        t01 += i10 * i11;
        t11 += i11 * i11;
      }
      tau[k * 3] = t00;
      tau[k * 3 + 1] = t01;
      tau[k * 3 + 2] = t11;
    }
    return { cross, tau };
  }

  /** Fills the upper triangle of K = P J X Jᵀ P of one reading, J by θ and τ, X as {@link #throughSightings} has it. */
  #acrossDelta(
    j: number,
    X: Float64Array,
    { cross, tau }: { cross: Float64Array; tau: Float64Array },
    K: Float64Array,
  ): void {
    const width = this.width;
    const [J, A, Y, T] = [this.#J, this.#A, this.#Y, this.#T];
    const at = j * ROWS * 3;
    const k = this.#data.sighting[j]!;
    const byTau = this.#byTau[j]!;
    K.fill(0);
    for (let i = 0; i < 6; i++) {
      const row = (j * 6 + i) * SPAN;
      for (let c = i; c < 6; c++) {
        const other = (j * 6 + c) * SPAN;
        let sum = 0;
        for (let a = 0; a < SPAN; a++) {
          const x = (a < 4 ? 4 * i + a : this.#extra(i)) * width;
          const y = x + 4 * c;
          sum +=
            J[row + a]! *
            (X[y]! * J[other]! +
              X[y + 1]! * J[other + 1]! +
              X[y + 2]! * J[other + 2]! +
              X[y + 3]! * J[other + 3]! +
              X[x + this.#extra(c)]! * J[other + 4]!);
        }
        K[i * ROWS + c] = sum;
        K[c * ROWS + i] = sum;
      }
      if (k < 0) continue;
      for (let t = 0; t < 2; t++) {
        const w = (k * 2 + t) * width;
        let sum = J[row + 4]! * cross[w + this.#extra(i)]!;
        for (let a = 0; a < 4; a++) sum += J[row + a]! * cross[w + 4 * i + a]!;
        K[i * ROWS + 6 + t] = sum * byTau;
        K[(6 + t) * ROWS + i] = sum * byTau;
      }
    }
    if (k >= 0) {
      K[6 * ROWS + 6] = byTau * byTau * tau[k * 3]!;
      K[6 * ROWS + 7] = byTau * byTau * tau[k * 3 + 1]!;
      K[7 * ROWS + 6] = K[6 * ROWS + 7]!;
      K[7 * ROWS + 7] = byTau * byTau * tau[k * 3 + 2]!;
    }
    // with P = 1 − A Aᵀ and Z = K A: P K P = K − A Zᵀ − Z Aᵀ + A (AᵀZ) Aᵀ, or K − A Yᵀ − Y Aᵀ with Y = Z − A (AᵀZ) / 2
    for (let a = 0; a < 3; a++) {
      for (let i = 0; i < ROWS; i++) {
        let sum = 0;
        for (let c = 0; c < ROWS; c++) sum += K[i * ROWS + c]! * A[at + c * 3 + a]!;
        Y[i * 3 + a] = sum;
      }
    }
    for (let a = 0; a < 3; a++) {
      for (let b = 0; b < 3; b++) {
        let sum = 0;
        for (let i = 0; i < ROWS; i++) sum += A[at + i * 3 + a]! * Y[i * 3 + b]!;
        T[a * 3 + b] = sum / 2;
      }
    }
    for (let i = 0; i < ROWS * 3; i += 3) {
      const [a0, a1, a2] = [A[at + i]!, A[at + i + 1]!, A[at + i + 2]!];
      for (let b = 0; b < 3; b++) {
        Y[i + b] = Y[i + b]! - a0 * T[b]! - a1 * T[3 + b]! - a2 * T[6 + b]!;
      }
    }
    for (let i = 0; i < ROWS; i++) {
      for (let c = i; c < ROWS; c++) {
        let sum = K[i * ROWS + c]!;
        for (let a = 0; a < 3; a++) {
          sum -= A[at + i * 3 + a]! * Y[c * 3 + a]! + Y[i * 3 + a]! * A[at + c * 3 + a]!;
        }
        K[i * ROWS + c] = sum;
      }
    }
  }

  /**
   * What the other readings say of these: the answer without them, and how badly it predicts them. To first order, and
   * without solving again: with e their residuals and H their block of the hat matrix, both across their own δ and τ,
   * the residuals become (I − H)⁻¹ e when they are left out (Cook and Weisberg 1982, Residuals and influence in
   * regression, section 2.2, for groups).
   *
   * @param members a whole sighting, or one free attitude
   * @returns `squares` of the predicted residuals; their χ² = eᵀ (I − H)⁻¹ e, which weighs them by what the prediction
   * itself is worth; and θ without them. Undefined where the other readings alone do not determine θ
   */
  leaveOut(
    members: readonly number[],
  ): { squares: number; chiSquare: number; theta: Float64Array } | undefined {
    if (!this.#factored()) return undefined;
    const width = this.width;
    const rows = members.length * ROWS;
    const M = new Float64Array(rows * width);
    const e = new Float64Array(rows);
    members.forEach((j, m) => {
      this.#projectedRows(j, M, m * ROWS * width);
      e.set(this.#r.subarray(j * ROWS, (j + 1) * ROWS), m * ROWS);
    });
    forwardRows(this.#S, M, rows, width);
    const C = new Float64Array(rows * rows);
    for (let i = 0; i < rows; i++) {
      for (let c = i; c < rows; c++) {
        let sum = i === c ? 1 : 0;
        for (let k = 0; k < width; k++) sum -= M[i * width + k]! * M[c * width + k]!;
        C[i * rows + c] = sum;
      }
    }
    if (!cholesky(C, rows)) return undefined;
    substituteLower(C, e, rows);
    const chiSquare = sumOfSquares(e);
    substituteUpper(C, e, rows);
    // θ moves by S⁻¹ Mᵀ e: M is L⁻¹ applied already, one more L⁻ᵀ is left
    const change = new Float64Array(width);
    for (let i = 0; i < rows; i++) {
      for (let k = 0; k < width; k++) change[k] = change[k]! + M[i * width + k]! * e[i]!;
    }
    substituteUpper(this.#S, change, width);
    return {
      squares: sumOfSquares(e),
      chiSquare,
      theta: this.#point.theta.map((value, i) => value + change[i]!),
    };
  }

  /** Writes P (J_θ − J_τ V⁻¹ W), 8×width, of one reading from `out[at]` on. */
  #projectedRows(j: number, out: Float64Array, at: number): void {
    this.#complement(j);
    const width = this.width;
    const [J, P, V, W] = [this.#J, this.#P, this.#V, this.#W];
    const k = this.#data.sighting[j]!;
    for (let i = 0; i < ROWS; i++) {
      const row = at + i * width;
      for (let c = 0; c < 6; c++) {
        const p = P[i * ROWS + c]!;
        const other = (j * 6 + c) * SPAN;
        for (let a = 0; a < SPAN; a++) {
          const x = row + (a < 4 ? 4 * c + a : this.#extra(c));
          out[x] = out[x]! + p * J[other + a]!;
        }
      }
      if (k < 0) continue;
      // −J_τ V⁻¹ W with W divided by V's factor already
      const [l00, l10, l11] = [V[k * 3]!, V[k * 3 + 1]!, V[k * 3 + 2]!];
      const b0 = (this.#byTau[j]! * P[i * ROWS + 6]!) / l00;
      const b1 = (this.#byTau[j]! * P[i * ROWS + 7]! - l10 * b0) / l11;
      const w = k * 2 * width;
      for (let c = 0; c < width; c++) {
        out[row + c] = out[row + c]! - b0 * W[w + c]! - b1 * W[w + width + c]!;
      }
    }
  }

  /**
   * For the check against finite differences: residuals and their derivative by (θ, δ, τ) of one reading, as one dense
   * 8×(width+5) matrix.
   */
  jacobianOf(j: number): { residuals: Float64Array; jacobian: Float64Array } {
    this.#linearise();
    const width = this.width + 5;
    const jacobian = new Float64Array(ROWS * width);
    for (let i = 0; i < ROWS; i++) {
      if (i < 6) {
        const row = (j * 6 + i) * SPAN;
        jacobian[i * width + this.#extra(i)] = this.#J[row + 4]!;
        for (let a = 0; a < 4; a++) jacobian[i * width + 4 * i + a] = this.#J[row + a]!;
      } else {
        jacobian[i * width + this.width + 3 + (i - 6)] = this.#byTau[j]!;
      }
      jacobian.set(
        this.#D.subarray((j * ROWS + i) * 3, (j * ROWS + i) * 3 + 3),
        i * width + this.width,
      );
    }
    return { residuals: this.#r.slice(j * ROWS, (j + 1) * ROWS), jacobian };
  }

  /** For the same check: weighted residuals of one reading after moving θ, its δ and its sighting's τ. */
  residualsAfter(
    theta: Float64Array,
    j: number,
    delta: readonly [number, number, number],
    tau: readonly [number, number],
  ): Float64Array {
    const { attitudes, frames } = this.#point;
    const moved = { theta, attitudes: attitudes.slice(), frames: frames.slice() };
    turnAttitude(attitudes, moved.attitudes, j, ...delta);
    const k = this.#data.sighting[j]!;
    if (k >= 0) turnFrame(frames, moved.frames, k, ...tau);
    const out = new Float64Array(ROWS);
    this.#residualsOf(j, moved, out, 0);
    return out;
  }
}

const sumOfSquares = (v: Float64Array): number => v.reduce((sum, value) => sum + value * value, 0);

/** Change of θ when F and H are turned together about a body axis: each row turns as a vector. */
function turnOfTheta(theta: Float64Array, axis: number): Float64Array {
  const v = new Float64Array(theta.length);
  const [one, two] = [(axis + 1) % 3, (axis + 2) % 3];
  for (let row = 0; row < 24; row += 4) {
    v[row + one] = -theta[row + two]!;
    v[row + two] = theta[row + one]!;
  }
  return v;
}
