import {
  addSquare,
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
 *
 * Gauge: turning F and H together about the sight changes no residual. That direction of θ (all three turns where no
 * reading belongs to a sighting) is pinned: no step, and no variance, lies along it.
 */

/** Residuals per reading: three of each sensor and two of aim. */
const ROWS = 8;
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
  /** Of each kind of residual: its weighted sum of squares, and its redundancy. */
  kinds: Record<Kind, { squares: number; redundancy: number }>;
}

export class CalibrationProblem implements LeastSquaresProblem {
  readonly width: number;
  readonly #data: Observations;
  readonly #bowed: boolean;
  readonly #gauges: readonly number[];
  #point: Point;
  #trial: Point;
  #weights = { acc: 1, mag: 1, aim: 1 };

  // one linear system, refilled by every solve
  readonly #system: Float64Array;
  readonly #reducedGradient: Float64Array;
  readonly #gradient: Float64Array;
  readonly #diagonal: Float64Array;
  readonly #step: Float64Array;
  // per reading: E (3×width), G (3×2), gradient (3) after division by the Cholesky factor (6), then the plain ones
  readonly #E: Float64Array;
  readonly #G: Float64Array;
  readonly #h: Float64Array;
  readonly #L: Float64Array;
  readonly #gradientDelta: Float64Array;
  readonly #diagonalDelta: Float64Array;
  // per sighting: W (2×width), V (3: upper triangle, then its factor), gradient (2), plain gradient and diagonal
  readonly #W: Float64Array;
  readonly #V: Float64Array;
  readonly #hTau: Float64Array;
  readonly #gradientTau: Float64Array;
  readonly #diagonalTau: Float64Array;
  // one reading's residuals and derivatives
  readonly #r = new Float64Array(ROWS);
  readonly #D = new Float64Array(ROWS * 3);
  readonly #slope = new Float64Array(6);
  readonly #bend = new Float64Array(3);
  readonly #byDip = new Float64Array(3);
  readonly #g = new Float64Array(3);
  readonly #b = new Float64Array(3);
  #byTau = 0;
  readonly #inDelta = new Float64Array(ROWS * 3);
  readonly #inTau = new Float64Array(ROWS * 2);
  /** λ of the system that stands factored at the current point; NaN where none does. */
  #damping = NaN;

  /**
   * @param theta forward parameters to start from, 25 (straight) or 28 (bowed)
   * @param attitudes body to world, row by row, nine per reading
   */
  constructor(data: Observations, theta: Float64Array, attitudes: Float64Array) {
    const width = theta.length;
    this.width = width;
    this.#data = data;
    this.#bowed = width > DIP + 1;
    this.#gauges = data.sightings > 0 ? [0] : [0, 1, 2];
    const { count, sightings } = data;
    this.#point = {
      theta: theta.slice(),
      attitudes: attitudes.slice(),
      frames: meanDirections(data, attitudes),
    };
    this.#trial = {
      theta: theta.slice(),
      attitudes: attitudes.slice(),
      frames: this.#point.frames.slice(),
    };
    this.#system = new Float64Array(width * width);
    this.#reducedGradient = new Float64Array(width);
    this.#gradient = new Float64Array(width);
    this.#diagonal = new Float64Array(width);
    this.#step = new Float64Array(width);
    this.#E = new Float64Array(count * 3 * width);
    this.#G = new Float64Array(count * 6);
    this.#h = new Float64Array(count * 3);
    this.#L = new Float64Array(count * 6);
    this.#gradientDelta = new Float64Array(count * 3);
    this.#diagonalDelta = new Float64Array(count * 3);
    this.#W = new Float64Array(sightings * 2 * width);
    this.#V = new Float64Array(sightings * 3);
    this.#hTau = new Float64Array(sightings * 2);
    this.#gradientTau = new Float64Array(sightings * 2);
    this.#diagonalTau = new Float64Array(sightings * 2);
  }

  get theta(): Float64Array {
    return this.#point.theta;
  }

  get attitudes(): Float64Array {
    return this.#point.attitudes;
  }

  set noise(scales: NoiseScales) {
    this.#damping = NaN;
    this.#weights = { acc: 1 / scales.acc, mag: 1 / scales.mag, aim: 1 / scales.aim };
  }

  cost(): number {
    return this.#costAt(this.#point);
  }

  /** Weighted residuals at the current point, eight per reading: accelerometer, magnetometer, aim. */
  residuals(): Float64Array {
    const all = new Float64Array(this.#data.count * ROWS);
    for (let j = 0; j < this.#data.count; j++) {
      this.#residualsOf(j, this.#point);
      all.set(this.#r, j * ROWS);
    }
    return all;
  }

  #costAt(point: Point): number {
    let sum = 0;
    const r = this.#r;
    for (let j = 0; j < this.#data.count; j++) {
      this.#residualsOf(j, point);
      for (let i = 0; i < ROWS; i++) sum += r[i]! * r[i]!;
    }
    return sum / 2;
  }

  /** Fills r, g, b and the slopes of the curvature; r is NaN where the curvature has no root. */
  #residualsOf(j: number, { theta, attitudes, frames }: Point): void {
    const { acc, mag, sighting } = this.#data;
    const { acc: wAcc, mag: wMag, aim: wAim } = this.#weights;
    const r = this.#r;
    const [g, b] = [this.#g, this.#b];
    const at = j * 9;
    const cosDip = Math.cos(theta[DIP]!);
    const sinDip = Math.sin(theta[DIP]!);
    for (let k = 0; k < 3; k++) {
      g[k] = attitudes[at + 6 + k]!;
      b[k] = cosDip * attitudes[at + k]! + sinDip * g[k]!;
    }
    for (let i = 0; i < 3; i++) {
      const row = 4 * i;
      let s = theta[row]! * g[0]! + theta[row + 1]! * g[1]! + theta[row + 2]! * g[2]!;
      if (this.#bowed) {
        const q = theta[DIP + 1 + i]!;
        const root = Math.sqrt(1 + 4 * q * s);
        s = (2 * s) / (1 + root);
        this.#slope[i] = 1 / root;
        this.#bend[i] = (s * s) / root;
      } else {
        this.#slope[i] = 1;
      }
      r[i] = wAcc * (acc[j * 3 + i]! - s - theta[row + 3]!);
      const m = 12 + row;
      r[3 + i] =
        wMag *
        (mag[j * 3 + i]! -
          theta[m]! * b[0]! -
          theta[m + 1]! * b[1]! -
          theta[m + 2]! * b[2]! -
          theta[m + 3]!);
    }
    const k = sighting[j]!;
    if (k < 0) {
      r[6] = 0;
      r[7] = 0;
      return;
    }
    const f = k * 9;
    const [x0, x1, x2] = [attitudes[at]!, attitudes[at + 3]!, attitudes[at + 6]!];
    r[6] = wAim * (frames[f + 3]! * x0 + frames[f + 4]! * x1 + frames[f + 5]! * x2);
    r[7] = wAim * (frames[f + 6]! * x0 + frames[f + 7]! * x1 + frames[f + 8]! * x2);
    this.#byTau = -wAim * (frames[f]! * x0 + frames[f + 1]! * x1 + frames[f + 2]! * x2);
  }

  /** Fills r and, beside it, its derivatives by δ (D, 8×3), by the dip and by τ. */
  #linearise(j: number): void {
    const point = this.#point;
    this.#residualsOf(j, point);
    const { theta, attitudes, frames } = point;
    const { acc: wAcc, mag: wMag, aim: wAim } = this.#weights;
    const [D, g, b] = [this.#D, this.#g, this.#b];
    const at = j * 9;
    const cosDip = Math.cos(theta[DIP]!);
    const sinDip = Math.sin(theta[DIP]!);
    for (let i = 0; i < 3; i++) {
      const a = 4 * i;
      const [f0, f1, f2] = [theta[a]!, theta[a + 1]!, theta[a + 2]!];
      const k = -wAcc * this.#slope[i]!;
      D[i * 3] = k * (f1 * g[2]! - f2 * g[1]!);
      D[i * 3 + 1] = k * (f2 * g[0]! - f0 * g[2]!);
      D[i * 3 + 2] = k * (f0 * g[1]! - f1 * g[0]!);
      const m = 12 + a;
      const [h0, h1, h2] = [theta[m]!, theta[m + 1]!, theta[m + 2]!];
      const row = (3 + i) * 3;
      D[row] = -wMag * (h1 * b[2]! - h2 * b[1]!);
      D[row + 1] = -wMag * (h2 * b[0]! - h0 * b[2]!);
      D[row + 2] = -wMag * (h0 * b[1]! - h1 * b[0]!);
      let byDip = 0;
      for (let c = 0; c < 3; c++) {
        byDip += theta[m + c]! * (cosDip * g[c]! - sinDip * attitudes[at + c]!);
      }
      this.#byDip[i] = -wMag * byDip;
    }
    const s = this.#data.sighting[j]!;
    D.fill(0, 18);
    if (s < 0) return;
    for (let k = 0; k < 2; k++) {
      const f = s * 9 + 3 + 3 * k;
      let [onY, onZ] = [0, 0];
      for (let c = 0; c < 3; c++) {
        onY += frames[f + c]! * attitudes[at + 3 * c + 1]!;
        onZ += frames[f + c]! * attitudes[at + 3 * c + 2]!;
      }
      D[(6 + k) * 3 + 1] = -wAim * onZ;
      D[(6 + k) * 3 + 2] = wAim * onY;
    }
  }

  solve(lambda: number): number {
    this.#damping = NaN;
    const { count, sighting, sightings } = this.#data;
    const width = this.width;
    const [S, gradient, diagonal] = [this.#system, this.#gradient, this.#diagonal];
    const { acc: wAcc, mag: wMag } = this.#weights;
    const [r, D, g, b, E] = [this.#r, this.#D, this.#g, this.#b, this.#E];
    S.fill(0);
    gradient.fill(0);
    this.#reducedGradient.fill(0);
    this.#W.fill(0);
    this.#V.fill(0);
    this.#hTau.fill(0);
    this.#gradientTau.fill(0);
    this.#diagonalTau.fill(0);

    for (let j = 0; j < count; j++) {
      this.#linearise(j);
      const base = j * 3 * width;
      E.fill(0, base, base + 3 * width);

      // JᵀJ and Jᵀr by θ, and E = Dᵀ J_θ; each sensor row touches four entries of θ (and dip, or its curvature)
      for (let i = 0; i < 6; i++) {
        const isAcc = i < 3;
        const v = isAcc ? g : b;
        const w = isAcc ? -wAcc : -wMag;
        const k = isAcc ? w * this.#slope[i]! : w;
        const [j0, j1, j2] = [k * v[0]!, k * v[1]!, k * v[2]!];
        const extra = isAcc ? (this.#bowed ? DIP + 1 + i : -1) : DIP;
        const je = isAcc ? wAcc * this.#bend[i]! : this.#byDip[i - 3]!;
        const c = 4 * i;
        const ri = r[i]!;
        gradient[c] = gradient[c]! + j0 * ri;
        gradient[c + 1] = gradient[c + 1]! + j1 * ri;
        gradient[c + 2] = gradient[c + 2]! + j2 * ri;
        gradient[c + 3] = gradient[c + 3]! + w * ri;
        let at = c * width + c;
        S[at] = S[at]! + j0 * j0;
        S[at + 1] = S[at + 1]! + j0 * j1;
        S[at + 2] = S[at + 2]! + j0 * j2;
        S[at + 3] = S[at + 3]! + j0 * w;
        at += width;
        S[at + 1] = S[at + 1]! + j1 * j1;
        S[at + 2] = S[at + 2]! + j1 * j2;
        S[at + 3] = S[at + 3]! + j1 * w;
        at += width;
        S[at + 2] = S[at + 2]! + j2 * j2;
        S[at + 3] = S[at + 3]! + j2 * w;
        at += width;
        S[at + 3] = S[at + 3]! + w * w;
        for (let d = 0; d < 3; d++) {
          const Di = D[i * 3 + d]!;
          const e = base + d * width + c;
          E[e] = Di * j0;
          E[e + 1] = Di * j1;
          E[e + 2] = Di * j2;
          E[e + 3] = Di * w;
        }
        if (extra >= 0) {
          gradient[extra] = gradient[extra]! + je * ri;
          S[c * width + extra] = S[c * width + extra]! + j0 * je;
          S[(c + 1) * width + extra] = S[(c + 1) * width + extra]! + j1 * je;
          S[(c + 2) * width + extra] = S[(c + 2) * width + extra]! + j2 * je;
          S[(c + 3) * width + extra] = S[(c + 3) * width + extra]! + w * je;
          S[extra * width + extra] = S[extra * width + extra]! + je * je;
          for (let d = 0; d < 3; d++) {
            const e = base + d * width + extra;
            E[e] = E[e]! + D[i * 3 + d]! * je;
          }
        }
      }
      this.#eliminateReading(j, lambda);
    }

    for (let i = 0; i < width; i++) diagonal[i] = S[i * width + i]!;
    for (let i = 0; i < width; i++) {
      S[i * width + i] = S[i * width + i]! * (1 + lambda);
      this.#reducedGradient[i] = this.#reducedGradient[i]! + gradient[i]!;
    }
    for (let j = 0; j < count; j++) subtractSquares(S, E, j * 3 * width, 3, width);
    for (let k = 0; k < sightings; k++) {
      if (!this.#eliminateSighting(k, lambda)) return NaN;
    }
    this.#pinGauge();
    if (!cholesky(S, width)) return NaN;
    this.#damping = lambda;

    const step = this.#step;
    for (let i = 0; i < width; i++) step[i] = -this.#reducedGradient[i]!;
    substituteLower(S, step, width);
    substituteUpper(S, step, width);
    let predicted = 0;
    for (let i = 0; i < width; i++) {
      predicted += step[i]! * (lambda * diagonal[i]! * step[i]! - gradient[i]!);
    }
    this.#trial.theta.set(this.#point.theta);
    for (let i = 0; i < width; i++) this.#trial.theta[i] = this.#trial.theta[i]! + step[i]!;
    const tau = new Float64Array(2);
    for (let k = 0; k < sightings; k++) predicted += this.#moveSighting(k, lambda, tau);
    for (let j = 0; j < count; j++) predicted += this.#moveReading(j, sighting[j]!, lambda);
    return predicted / 2;
  }

  /** Divides E, G and the gradient of one reading by the Cholesky factor of its 3×3 block, and passes them on. */
  #eliminateReading(j: number, lambda: number): void {
    const width = this.width;
    const [r, D, E, L, h] = [this.#r, this.#D, this.#E, this.#L, this.#h];
    let [u00, u01, u02, u11, u12, u22, g0, g1, g2] = [0, 0, 0, 0, 0, 0, 0, 0, 0];
    for (let i = 0; i < ROWS; i++) {
      const [d0, d1, d2] = [D[i * 3]!, D[i * 3 + 1]!, D[i * 3 + 2]!];
      const ri = r[i]!;
      u00 += d0 * d0;
      u01 += d0 * d1;
      u02 += d0 * d2;
      u11 += d1 * d1;
      u12 += d1 * d2;
      u22 += d2 * d2;
      g0 += d0 * ri;
      g1 += d1 * ri;
      g2 += d2 * ri;
    }
    this.#gradientDelta[j * 3] = g0;
    this.#gradientDelta[j * 3 + 1] = g1;
    this.#gradientDelta[j * 3 + 2] = g2;
    this.#diagonalDelta[j * 3] = u00;
    this.#diagonalDelta[j * 3 + 1] = u11;
    this.#diagonalDelta[j * 3 + 2] = u22;
    const l00 = Math.sqrt(u00 * (1 + lambda));
    const l10 = u01 / l00;
    const l20 = u02 / l00;
    const l11 = Math.sqrt(u11 * (1 + lambda) - l10 * l10);
    const l21 = (u12 - l20 * l10) / l11;
    const l22 = Math.sqrt(u22 * (1 + lambda) - l20 * l20 - l21 * l21);
    L.set([l00, l10, l20, l11, l21, l22], j * 6);

    const h0 = g0 / l00;
    const h1 = (g1 - l10 * h0) / l11;
    const h2 = (g2 - l20 * h0 - l21 * h1) / l22;
    h[j * 3] = h0;
    h[j * 3 + 1] = h1;
    h[j * 3 + 2] = h2;
    const [e0, e1, e2] = [j * 3 * width, (j * 3 + 1) * width, (j * 3 + 2) * width];
    const reduced = this.#reducedGradient;
    for (let c = 0; c < width; c++) {
      const a0 = E[e0 + c]! / l00;
      const a1 = (E[e1 + c]! - l10 * a0) / l11;
      const a2 = (E[e2 + c]! - l20 * a0 - l21 * a1) / l22;
      E[e0 + c] = a0;
      E[e1 + c] = a1;
      E[e2 + c] = a2;
      reduced[c] = reduced[c]! - a0 * h0 - a1 * h1 - a2 * h2;
    }

    const k = this.#data.sighting[j]!;
    if (k < 0) return;
    const G = this.#G;
    const byTau = this.#byTau;
    const [V, W, hTau] = [this.#V, this.#W, this.#hTau];
    for (let t = 0; t < 2; t++) {
      const q0 = (D[(6 + t) * 3]! * byTau) / l00;
      const q1 = (D[(6 + t) * 3 + 1]! * byTau - l10 * q0) / l11;
      const q2 = (D[(6 + t) * 3 + 2]! * byTau - l20 * q0 - l21 * q1) / l22;
      G[j * 6 + t] = q0;
      G[j * 6 + 2 + t] = q1;
      G[j * 6 + 4 + t] = q2;
      const gradient = byTau * r[6 + t]!;
      this.#gradientTau[k * 2 + t] = this.#gradientTau[k * 2 + t]! + gradient;
      this.#diagonalTau[k * 2 + t] = this.#diagonalTau[k * 2 + t]! + byTau * byTau;
      hTau[k * 2 + t] = hTau[k * 2 + t]! + gradient - q0 * h0 - q1 * h1 - q2 * h2;
      const w = (k * 2 + t) * width;
      for (let c = 0; c < width; c++) {
        W[w + c] = W[w + c]! - q0 * E[e0 + c]! - q1 * E[e1 + c]! - q2 * E[e2 + c]!;
      }
    }
    const [p0, p1, p2] = [G[j * 6]!, G[j * 6 + 2]!, G[j * 6 + 4]!];
    const [q0, q1, q2] = [G[j * 6 + 1]!, G[j * 6 + 3]!, G[j * 6 + 5]!];
    const v = k * 3;
    V[v] = V[v]! - p0 * p0 - p1 * p1 - p2 * p2;
    V[v + 1] = V[v + 1]! - p0 * q0 - p1 * q1 - p2 * q2;
    V[v + 2] = V[v + 2]! - q0 * q0 - q1 * q1 - q2 * q2;
  }

  #eliminateSighting(k: number, lambda: number): boolean {
    const width = this.width;
    const [V, W, hTau, diagonal] = [this.#V, this.#W, this.#hTau, this.#diagonalTau];
    const v00 = V[k * 3]! + diagonal[k * 2]! * (1 + lambda);
    const v11 = V[k * 3 + 2]! + diagonal[k * 2 + 1]! * (1 + lambda);
    const l00 = Math.sqrt(v00);
    const l10 = V[k * 3 + 1]! / l00;
    const l11 = Math.sqrt(v11 - l10 * l10);
    if (!(l00 > 0) || !(l11 > 0)) return false;
    V.set([l00, l10, l11], k * 3);
    const h0 = hTau[k * 2]! / l00;
    const h1 = (hTau[k * 2 + 1]! - l10 * h0) / l11;
    hTau[k * 2] = h0;
    hTau[k * 2 + 1] = h1;
    const [w0, w1] = [k * 2 * width, (k * 2 + 1) * width];
    const reduced = this.#reducedGradient;
    for (let c = 0; c < width; c++) {
      const a0 = W[w0 + c]! / l00;
      const a1 = (W[w1 + c]! - l10 * a0) / l11;
      W[w0 + c] = a0;
      W[w1 + c] = a1;
      reduced[c] = reduced[c]! - a0 * h0 - a1 * h1;
    }
    subtractSquares(this.#system, W, w0, 2, width);
    return true;
  }

  /** Adds a stiff spring along each direction of θ that changes no residual, as stiff as the system is on average. */
  #pinGauge(): void {
    const width = this.width;
    const S = this.#system;
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
    return this.#diagonal.reduce((sum, value) => sum + value, 0) / this.width;
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
      const norm = Math.hypot(...v);
      basis.push(v.map((value) => value / norm));
    }
    return basis;
  }

  /** Back-substitutes one sighting's τ into the trial frame; returns its part of twice the predicted decrease. */
  #moveSighting(k: number, lambda: number, tau: Float64Array): number {
    const width = this.width;
    const [V, W, hTau, step] = [this.#V, this.#W, this.#hTau, this.#step];
    let a0 = -hTau[k * 2]!;
    let a1 = -hTau[k * 2 + 1]!;
    for (let c = 0; c < width; c++) {
      a0 -= W[k * 2 * width + c]! * step[c]!;
      a1 -= W[(k * 2 + 1) * width + c]! * step[c]!;
    }
    tau[1] = a1 / V[k * 3 + 2]!;
    tau[0] = (a0 - V[k * 3 + 1]! * tau[1]!) / V[k * 3]!;
    // kept for the readings of this sighting, whose δ depend on it
    hTau[k * 2] = tau[0]!;
    hTau[k * 2 + 1] = tau[1]!;

    turnFrame(this.#point.frames, this.#trial.frames, k, tau[0]!, tau[1]!);
    let part = 0;
    for (let t = 0; t < 2; t++) {
      part +=
        tau[t]! *
        (lambda * this.#diagonalTau[k * 2 + t]! * tau[t]! - this.#gradientTau[k * 2 + t]!);
    }
    return part;
  }

  /** Back-substitutes one reading's δ into the trial attitude; returns its part of twice the predicted decrease. */
  #moveReading(j: number, k: number, lambda: number): number {
    const width = this.width;
    const [E, G, L, h, step] = [this.#E, this.#G, this.#L, this.#h, this.#step];
    const a = [0, 0, 0];
    for (let d = 0; d < 3; d++) {
      const e = (j * 3 + d) * width;
      let sum = -h[j * 3 + d]!;
      for (let c = 0; c < width; c++) sum -= E[e + c]! * step[c]!;
      if (k >= 0) {
        sum -=
          G[j * 6 + 2 * d]! * this.#hTau[k * 2]! + G[j * 6 + 2 * d + 1]! * this.#hTau[k * 2 + 1]!;
      }
      a[d] = sum;
    }
    const [l00, l10, l20, l11, l21, l22] = L.subarray(j * 6, j * 6 + 6) as unknown as [
      ...[number, number, number, number, number, number],
    ];
    const d2 = a[2]! / l22;
    const d1 = (a[1]! - l21 * d2) / l11;
    const d0 = (a[0]! - l10 * d1 - l20 * d2) / l00;
    turnAttitude(this.#point.attitudes, this.#trial.attitudes, j, d0, d1, d2);
    const [gradient, diagonal] = [this.#gradientDelta, this.#diagonalDelta];
    let part = 0;
    [d0, d1, d2].forEach((d, i) => {
      part += d * (lambda * diagonal[j * 3 + i]! * d - gradient[j * 3 + i]!);
    });
    return part;
  }

  trial(): number {
    return this.#costAt(this.#trial);
  }

  accept(): void {
    [this.#point, this.#trial] = [this.#trial, this.#point];
    this.#damping = NaN;
  }

  /** Makes sure that the system stands factored at the current point, with no damping to speak of. */
  #factored(): boolean {
    return this.#damping <= 1e-8 || Number.isFinite(this.solve(0));
  }

  /**
   * Covariance of θ (width × width) at the current point: the inverse of the reduced normal matrix, with the gauge
   * pinned.
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
      substituteLower(this.#system, column, width);
      substituteUpper(this.#system, column, width);
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
    if (!this.#factored()) return undefined;
    const { count, sighting } = this.#data;
    const hat = new Float64Array(count * ROWS);
    const chiSquare = new Float64Array(count);
    const tally = () => ({ squares: 0, redundancy: 0 });
    const kinds = { acc: tally(), mag: tally(), aim: tally() };
    const M = new Float64Array(ROWS * this.width);
    const C = new Float64Array(ROWS * ROWS);
    const v = new Float64Array(ROWS);
    for (let j = 0; j < count; j++) {
      this.#projectedRows(j, M);
      forwardRows(this.#system, M, ROWS, this.width);
      const rows = sighting[j]! < 0 ? 6 : ROWS;
      for (let i = 0; i < rows; i++) {
        for (let c = i; c < rows; c++) C[i * ROWS + c] = (i === c ? 1 : 0) - this.#overlap(M, i, c);
        const kind = kinds[KIND_OF_ROW[i]!];
        hat[j * ROWS + i] = 1 - C[i * ROWS + i]! + this.#ownPart(i);
        kind.squares += this.#r[i]! ** 2;
        kind.redundancy += 1 - hat[j * ROWS + i]!;
        v[i] = this.#r[i]!;
        // v lies across D already, so the part of H along D may be left out of its covariance
        C[i * ROWS + i] = C[i * ROWS + i]! + 1e-9;
      }
      for (let i = rows; i < ROWS; i++) {
        C.fill(0, i * ROWS, (i + 1) * ROWS);
        for (let c = 0; c < i; c++) C[c * ROWS + i] = 0;
        C[i * ROWS + i] = 1;
        v[i] = 0;
      }
      if (cholesky(C, ROWS)) {
        substituteLower(C, v, ROWS);
        chiSquare[j] = v.reduce((sum, value) => sum + value * value, 0);
      } else {
        chiSquare[j] = NaN; // the fit rests on this reading alone in some direction; nothing checks it
      }
    }
    return { hat, chiSquare, kinds };
  }

  /**
   * The part of the reduced normal matrix (width × width) that each kind of residual makes: they add up to it.
   *
   * @returns undefined where the readings do not determine θ
   */
  normalByKind(): Record<Kind, Float64Array> | undefined {
    if (!this.#factored()) return undefined;
    const width = this.width;
    const square = () => new Float64Array(width * width);
    const parts = { acc: square(), mag: square(), aim: square() };
    const M = new Float64Array(ROWS * width);
    for (let j = 0; j < this.#data.count; j++) {
      this.#projectedRows(j, M);
      for (let i = 0; i < ROWS; i++) addSquare(parts[KIND_OF_ROW[i]!], M, i * width, width);
    }
    return parts;
  }

  /**
   * What the other readings say of these: the answer without them, and how badly it predicts them. To first order, and
   * without solving again: with e their residuals and H their block of the hat matrix, both across their own δ and τ,
   * the residuals become (I − H)⁻¹ e when they are left out (Cook and Weisberg 1982, Residuals and influence in
   * regression, section 2.2, for groups).
   *
   * @param members a whole sighting, or one free attitude
   * @returns the sum of squares of the predicted residuals, and θ without them; undefined where the other readings
   * alone do not determine θ
   */
  leaveOut(members: readonly number[]): { squares: number; theta: Float64Array } | undefined {
    if (!this.#factored()) return undefined;
    const width = this.width;
    const rows = members.length * ROWS;
    const M = new Float64Array(rows * width);
    const e = new Float64Array(rows);
    members.forEach((j, m) => {
      this.#projectedRows(j, M.subarray(m * ROWS * width, (m + 1) * ROWS * width));
      e.set(this.#r, m * ROWS);
    });
    forwardRows(this.#system, M, rows, width);
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
    substituteUpper(C, e, rows);
    // θ moves by S⁻¹ Mᵀ e: M is L⁻¹ applied already, one more L⁻ᵀ is left
    const change = new Float64Array(width);
    for (let i = 0; i < rows; i++) {
      for (let k = 0; k < width; k++) change[k] = change[k]! + M[i * width + k]! * e[i]!;
    }
    substituteUpper(this.#system, change, width);
    return {
      squares: e.reduce((sum, value) => sum + value * value, 0),
      theta: this.#point.theta.map((value, i) => value + change[i]!),
    };
  }

  /**
   * Writes one reading's 8×width derivative by θ after its own δ and its sighting's τ have followed: what is left of
   * J_θ across D and J_τ. Keeps D L⁻ᵀ and the part along τ for {@link #ownPart} and {@link #overlap}.
   */
  #projectedRows(j: number, M: Float64Array): void {
    this.#linearise(j);
    this.#denseRows(M);
    const width = this.width;
    const [E, W, G, D, L, V] = [this.#E, this.#W, this.#G, this.#D, this.#L, this.#V];
    const k = this.#data.sighting[j]!;
    const l = j * 6;
    const e = j * 3 * width;
    for (let i = 0; i < ROWS; i++) {
      const a0 = D[i * 3]! / L[l]!;
      const a1 = (D[i * 3 + 1]! - L[l + 1]! * a0) / L[l + 3]!;
      const a2 = (D[i * 3 + 2]! - L[l + 2]! * a0 - L[l + 4]! * a1) / L[l + 5]!;
      this.#inDelta[i * 3] = a0;
      this.#inDelta[i * 3 + 1] = a1;
      this.#inDelta[i * 3 + 2] = a2;
      const row = i * width;
      let [t0, t1] = [0, 0];
      if (k >= 0) {
        const g = j * 6;
        t0 = -a0 * G[g]! - a1 * G[g + 2]! - a2 * G[g + 4]!;
        t1 = -a0 * G[g + 1]! - a1 * G[g + 3]! - a2 * G[g + 5]!;
        if (i === 6) t0 += this.#byTau;
        if (i === 7) t1 += this.#byTau;
        t0 /= V[k * 3]!;
        t1 = (t1 - V[k * 3 + 1]! * t0) / V[k * 3 + 2]!;
      }
      this.#inTau[i * 2] = t0;
      this.#inTau[i * 2 + 1] = t1;
      const w = k * 2 * width;
      for (let c = 0; c < width; c++) {
        let left =
          M[row + c]! - a0 * E[e + c]! - a1 * E[e + width + c]! - a2 * E[e + 2 * width + c]!;
        if (k >= 0) left -= t0 * W[w + c]! + t1 * W[w + width + c]!;
        M[row + c] = left;
      }
    }
  }

  /** Entry of the hat matrix between rows i and c of one reading, without the part along its own δ. */
  #overlap(M: Float64Array, i: number, c: number): number {
    const width = this.width;
    const T = this.#inTau;
    let sum = T[i * 2]! * T[c * 2]! + T[i * 2 + 1]! * T[c * 2 + 1]!;
    for (let e = 0; e < width; e++) sum += M[i * width + e]! * M[c * width + e]!;
    return sum;
  }

  /** Diagonal entry of the part of the hat matrix along the reading's own δ. */
  #ownPart(i: number): number {
    const d = this.#inDelta;
    return d[i * 3]! ** 2 + d[i * 3 + 1]! ** 2 + d[i * 3 + 2]! ** 2;
  }

  /** Writes the 8×width derivative by θ of the reading last linearised. */
  #denseRows(M: Float64Array): void {
    const width = this.width;
    const { acc: wAcc, mag: wMag } = this.#weights;
    M.fill(0);
    for (let i = 0; i < 3; i++) {
      for (let c = 0; c < 3; c++) {
        M[i * width + 4 * i + c] = -wAcc * this.#slope[i]! * this.#g[c]!;
        M[(3 + i) * width + 12 + 4 * i + c] = -wMag * this.#b[c]!;
      }
      M[i * width + 4 * i + 3] = -wAcc;
      M[(3 + i) * width + 12 + 4 * i + 3] = -wMag;
      M[(3 + i) * width + DIP] = this.#byDip[i]!;
      if (this.#bowed) M[i * width + DIP + 1 + i] = wAcc * this.#bend[i]!;
    }
  }

  /**
   * For the check against finite differences: residuals and their derivative by (θ, δ, τ) of one reading, as one dense
   * 8×(width+5) matrix.
   */
  jacobianOf(j: number): { residuals: Float64Array; jacobian: Float64Array } {
    this.#linearise(j);
    const width = this.width;
    const theta = new Float64Array(ROWS * width);
    this.#denseRows(theta);
    const jacobian = new Float64Array(ROWS * (width + 5));
    for (let i = 0; i < ROWS; i++) {
      jacobian.set(theta.subarray(i * width, (i + 1) * width), i * (width + 5));
      jacobian.set(this.#D.subarray(i * 3, i * 3 + 3), i * (width + 5) + width);
      if (i >= 6 && this.#data.sighting[j]! >= 0) {
        jacobian[i * (width + 5) + width + 3 + (i - 6)] = this.#byTau;
      }
    }
    return { residuals: this.#r.slice(), jacobian };
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
    this.#residualsOf(j, moved);
    return this.#r.slice();
  }
}

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

/** Frames of the sightings (rows d, P₀, P₁), each along the mean of its readings' sights. */
function meanDirections(data: Observations, attitudes: Float64Array): Float64Array {
  const frames = new Float64Array(data.sightings * 9);
  for (let j = 0; j < data.count; j++) {
    const k = data.sighting[j]!;
    if (k < 0) continue;
    for (let c = 0; c < 3; c++) {
      frames[k * 9 + c] = frames[k * 9 + c]! + attitudes[j * 9 + 3 * c]!;
    }
  }
  for (let k = 0; k < data.sightings; k++) {
    const d = frames.subarray(k * 9, k * 9 + 3);
    const norm = Math.hypot(d[0]!, d[1]!, d[2]!) || 1;
    const [x, y, z] = [d[0]! / norm, d[1]! / norm, d[2]! / norm];
    // any axis not along d starts the tangent plane
    const [ax, ay, az] = Math.abs(z) < 0.9 ? [0, 0, 1] : [1, 0, 0];
    const along = ax * x + ay * y + az * z;
    const [px, py, pz] = [ax - along * x, ay - along * y, az - along * z];
    const p = Math.hypot(px, py, pz);
    const [p0, p1, p2] = [px / p, py / p, pz / p];
    frames.set([x, y, z, p0, p1, p2, y * p2 - z * p1, z * p0 - x * p2, x * p1 - y * p0], k * 9);
  }
  return frames;
}

/** Attitude j of `to` becomes that of `from`, turned in the body: R exp([δ]×). */
function turnAttitude(
  from: Float64Array,
  to: Float64Array,
  j: number,
  d0: number,
  d1: number,
  d2: number,
): void {
  const turn = rotation(d0, d1, d2);
  for (let row = j * 9; row < j * 9 + 9; row += 3) {
    for (let c = 0; c < 3; c++) {
      to[row + c] =
        from[row]! * turn[c]! + from[row + 1]! * turn[3 + c]! + from[row + 2]! * turn[6 + c]!;
    }
  }
}

/** Frame k of `to` becomes that of `from`, its direction d moved towards d + τ₀P₀ + τ₁P₁ and the axes with it. */
function turnFrame(from: Float64Array, to: Float64Array, k: number, t0: number, t1: number): void {
  const f = k * 9;
  // that rotation turns about d × Pτ = τ₀ P₁ − τ₁ P₀
  const turn = rotation(
    t0 * from[f + 6]! - t1 * from[f + 3]!,
    t0 * from[f + 7]! - t1 * from[f + 4]!,
    t0 * from[f + 8]! - t1 * from[f + 5]!,
  );
  for (let row = f; row < f + 9; row += 3) {
    for (let c = 0; c < 3; c++) {
      to[row + c] =
        turn[c * 3]! * from[row]! +
        turn[c * 3 + 1]! * from[row + 1]! +
        turn[c * 3 + 2]! * from[row + 2]!;
    }
  }
}

/** Rotation matrix exp([v]×), row by row (Rodrigues' formula). */
function rotation(x: number, y: number, z: number): Float64Array {
  const angle2 = x * x + y * y + z * z;
  const angle = Math.sqrt(angle2);
  // sin(a)/a and (1 − cos a)/a², by series where division would lose digits
  const s = angle < 1e-4 ? 1 - angle2 / 6 : Math.sin(angle) / angle;
  const c = angle < 1e-4 ? 0.5 - angle2 / 24 : (1 - Math.cos(angle)) / angle2;
  const m = new Float64Array(9);
  m[0] = 1 - c * (y * y + z * z);
  m[1] = c * x * y - s * z;
  m[2] = c * x * z + s * y;
  m[3] = c * x * y + s * z;
  m[4] = 1 - c * (x * x + z * z);
  m[5] = c * y * z - s * x;
  m[6] = c * x * z - s * y;
  m[7] = c * y * z + s * x;
  m[8] = 1 - c * (x * x + y * y);
  return m;
}
