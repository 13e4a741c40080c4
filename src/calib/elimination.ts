import { turnAttitude, turnFrame } from './attitude-moves.ts';
import { cholesky, substituteLower, substituteUpper, subtractSquares } from './cholesky.ts';
import { DIP, ROWS, SPAN, type Point, type Residuals } from './residuals.ts';

/**
 * The damped normal equations of a linear model, made small: (JᵀJ + λ diag(JᵀJ)) step = −Jᵀr.
 *
 * Elimination (Schur complement, as in Triggs et al. 2000, Bundle adjustment: a modern synthesis, section 6): first
 * each reading's δ, then each sighting's τ. What remains is as wide as θ, and work grows linearly with the readings.
 * With D the derivative of a reading's residuals by δ, eliminating δ leaves Jᵀ P J and Jᵀ P r, where
 * P = 1 − D (DᵀD)⁻¹ Dᵀ is only 8×8; and a sensor's residual depends on five entries of θ alone. Nothing as wide as θ is
 * ever formed for a reading.
 *
 * The decrease that the linear model predicts for the step is ½ (stepᵀ M step + λ stepᵀ diag(JᵀJ) step), M the damped
 * matrix; and stepᵀ M step is what the eliminations have found on their way: the sum of squares of the right side, each
 * part divided by its own Cholesky factor.
 */
export class Elimination {
  // per reading the Cholesky factor L of DᵀD (6 numbers) and A = D L⁻ᵀ (8×3), so that P = 1 − A Aᵀ
  readonly L: Float64Array;
  readonly A: Float64Array;
  /** Per sighting the factor of its 2×2 block, three numbers. */
  readonly V: Float64Array;
  /** Per sighting its 2×width block with θ, divided by that factor. */
  readonly W: Float64Array;
  /** What is left for θ, width × width: upper triangle, and once solved its factor in the lower one. */
  readonly S: Float64Array;
  /** P of the reading last looked at. */
  readonly P = new Float64Array(ROWS * ROWS);
  /** Right side for θ, then the step. */
  readonly step: Float64Array;

  readonly #model: Residuals;
  // P r of the reading last looked at
  readonly #Pr = new Float64Array(ROWS);
  readonly #hTau: Float64Array;
  readonly #tau: Float64Array;
  // diagonal of JᵀJ by θ, and by either τ of a sighting
  readonly #diagonal: Float64Array;
  readonly #diagonalTau: Float64Array;
  /** λ of the system, and stepᵀ M step as far as it is found. */
  #lambda = 0;
  #energy = 0;

  constructor(model: Residuals) {
    const { width, data } = model;
    this.#model = model;
    this.L = new Float64Array(data.count * 6);
    this.A = new Float64Array(data.count * ROWS * 3);
    this.V = new Float64Array(data.sightings * 3);
    this.W = new Float64Array(data.sightings * 2 * width);
    this.S = new Float64Array(width * width);
    this.step = new Float64Array(width);
    this.#hTau = new Float64Array(data.sightings * 2);
    this.#tau = new Float64Array(data.sightings * 2);
    this.#diagonal = new Float64Array(width);
    this.#diagonalTau = new Float64Array(data.sightings);
  }

  /**
   * Makes the linear model at a point, and eliminates all its readings and sightings, with λ on every diagonal.
   *
   * @param information and pull of a prior on θ: its part of the matrix, and of the gradient
   * @returns false where a sighting's direction is not determined
   */
  reduce(
    point: Point,
    lambda: number,
    prior?: { information: Float64Array; pull: Float64Array },
  ): boolean {
    const { data, width } = this.#model;
    this.#lambda = lambda;
    this.#energy = 0;
    for (const part of [this.S, this.step, this.V, this.W, this.#hTau]) part.fill(0);
    this.#diagonal.fill(0);
    this.#diagonalTau.fill(0);
    if (prior) {
      this.S.set(prior.information);
      this.step.set(prior.pull);
      for (let i = 0; i < width; i++) this.#diagonal[i] = prior.information[i * width + i];
    }
    this.#model.lookAt(point);
    for (let j = 0; j < data.count; j++) {
      this.#model.linearise(j, point);
      this.#project(j);
      this.complement(j);
      this.#addToTheta(j);
      this.#addToSighting(j);
    }
    for (let k = 0; k < data.sightings; k++) if (!this.#eliminateSighting(k)) return false;
    for (let i = 0; i < width; i++) this.S[i * width + i] += lambda * this.#diagonal[i];
    return true;
  }

  /** How stiff the system is on average: mean of the diagonal of JᵀJ by θ. */
  stiffness(): number {
    let sum = 0;
    for (let i = 0; i < this.#diagonal.length; i++) sum += this.#diagonal[i];
    return sum / this.#diagonal.length;
  }

  /** Solves for θ; false where S is not positive definite. */
  solve(): boolean {
    const { width } = this.#model;
    const S = this.S;
    const step = this.step;
    if (!cholesky(S, width)) return false;
    substituteLower(S, step, width);
    for (let i = 0; i < width; i++) {
      this.#energy += step[i] * step[i];
      step[i] = -step[i];
    }
    substituteUpper(S, step, width);
    return true;
  }

  /** Writes the point a step away from another. @returns the decrease of cost that the linear model predicts */
  move(from: Point, to: Point): number {
    const { data, width } = this.#model;
    let damped = 0;
    for (let i = 0; i < width; i++) {
      to.theta[i] = from.theta[i] + this.step[i];
      damped += this.#diagonal[i] * this.step[i] * this.step[i];
    }
    for (let k = 0; k < data.sightings; k++) damped += this.#moveSighting(k, from, to);
    for (let j = 0; j < data.count; j++) damped += this.#moveReading(j, from, to);
    return (this.#energy + this.#lambda * damped) / 2;
  }

  /** Factors DᵀD (1 + λ on its diagonal) = L Lᵀ of one reading; fills A = D L⁻ᵀ and P r = r − A Aᵀ r. */
  #project(j: number): void {
    const { D, r } = this.#model;
    const A = this.A;
    const L = this.L;
    const Pr = this.#Pr;
    const more = 1 + this.#lambda;
    const d = j * ROWS * 3;
    let u00 = 0;
    let u01 = 0;
    let u02 = 0;
    let u11 = 0;
    let u12 = 0;
    let u22 = 0;
    for (let at = 0; at < ROWS * 3; at += 3) {
      const d0 = D[at];
      const d1 = D[at + 1];
      const d2 = D[at + 2];
      u00 += d0 * d0;
      u01 += d0 * d1;
      u02 += d0 * d2;
      u11 += d1 * d1;
      u12 += d1 * d2;
      u22 += d2 * d2;
    }
    const l00 = Math.sqrt(u00 * more);
    const l10 = u01 / l00;
    const l20 = u02 / l00;
    const l11 = Math.sqrt(u11 * more - l10 * l10);
    const l21 = (u12 - l20 * l10) / l11;
    const l22 = Math.sqrt(u22 * more - l20 * l20 - l21 * l21);
    const l = j * 6;
    L[l] = l00;
    L[l + 1] = l10;
    L[l + 2] = l20;
    L[l + 3] = l11;
    L[l + 4] = l21;
    L[l + 5] = l22;
    const i0 = 1 / l00;
    const i1 = 1 / l11;
    const i2 = 1 / l22;
    let q0 = 0;
    let q1 = 0;
    let q2 = 0;
    for (let i = 0; i < ROWS; i++) {
      const at = d + 3 * i;
      const a0 = D[3 * i] * i0;
      const a1 = (D[3 * i + 1] - l10 * a0) * i1;
      const a2 = (D[3 * i + 2] - l20 * a0 - l21 * a1) * i2;
      const ri = r[j * ROWS + i];
      A[at] = a0;
      A[at + 1] = a1;
      A[at + 2] = a2;
      q0 += a0 * ri;
      q1 += a1 * ri;
      q2 += a2 * ri;
    }
    for (let i = 0; i < ROWS; i++) {
      const at = d + 3 * i;
      Pr[i] = r[j * ROWS + i] - A[at] * q0 - A[at + 1] * q1 - A[at + 2] * q2;
    }
    this.#energy += q0 * q0 + q1 * q1 + q2 * q2;
  }

  /** Fills {@link P} = 1 − A Aᵀ of one reading. */
  complement(j: number): void {
    const A = this.A;
    const P = this.P;
    const d = j * ROWS * 3;
    for (let i = 0; i < ROWS; i++) {
      const a0 = A[d + i * 3];
      const a1 = A[d + i * 3 + 1];
      const a2 = A[d + i * 3 + 2];
      for (let c = i; c < ROWS; c++) {
        const b = d + c * 3;
        const value = (i === c ? 1 : 0) - a0 * A[b] - a1 * A[b + 1] - a2 * A[b + 2];
        P[i * ROWS + c] = value;
        P[c * ROWS + i] = value;
      }
    }
  }

  /** Adds one reading's Jᵀ P J and Jᵀ P r to the system for θ. */
  #addToTheta(j: number): void {
    const { J, width, bowed, extra } = this.#model;
    const P = this.P;
    const Pr = this.#Pr;
    const S = this.S;
    const h = this.step;
    const diagonal = this.#diagonal;
    const base = j * 6 * SPAN;
    for (let i = 0; i < 6; i++) {
      const row = base + i * SPAN;
      const own = J[row + 4];
      // what the rows of the magnetometer add in the column of the dip
      let dip = 0;
      for (let c = 3; c < 6; c++) dip += P[i * ROWS + c] * J[base + c * SPAN + 4];
      const x0 = J[row];
      const x1 = J[row + 1];
      const x2 = J[row + 2];
      const x3 = J[row + 3];
      const at = 4 * i;
      for (let a = 0; a < 4; a++) {
        const value = J[row + a];
        h[at + a] += value * Pr[i];
        diagonal[at + a] += value * value;
        S[(at + a) * width + DIP] += value * dip;
      }
      // most of the work of a fit is here, hence no loop over the 4×4 entries
      for (let c = i; c < 6; c++) {
        const other = base + c * SPAN;
        const p = P[i * ROWS + c];
        const y0 = p * J[other];
        const y1 = p * J[other + 1];
        const y2 = p * J[other + 2];
        const y3 = p * J[other + 3];
        let s = at * width + 4 * c;
        S[s] += x0 * y0;
        S[s + 1] += x0 * y1;
        S[s + 2] += x0 * y2;
        S[s + 3] += x0 * y3;
        s += width;
        S[s] += x1 * y0;
        S[s + 1] += x1 * y1;
        S[s + 2] += x1 * y2;
        S[s + 3] += x1 * y3;
        s += width;
        S[s] += x2 * y0;
        S[s + 1] += x2 * y1;
        S[s + 2] += x2 * y2;
        S[s + 3] += x2 * y3;
        s += width;
        S[s] += x3 * y0;
        S[s + 1] += x3 * y1;
        S[s + 2] += x3 * y2;
        S[s + 3] += x3 * y3;
      }
      const x = extra[i];
      h[x] += own * Pr[i];
      diagonal[x] += own * own;
      if (i >= 3 || bowed) S[DIP * width + x] += own * dip;
      if (!bowed) continue;
      for (let c = 0; c < 3; c++) {
        const curvature = P[i * ROWS + c] * J[base + c * SPAN + 4];
        for (let a = 0; a < 4; a++) {
          S[(at + a) * width + extra[c]] += J[row + a] * curvature;
        }
        if (i <= c) S[x * width + extra[c]] += own * curvature;
      }
    }
  }

  /** Adds one reading's derivatives by its sighting's τ. */
  #addToSighting(j: number): void {
    const { J, byTau, data, width, extra } = this.#model;
    const k = data.sighting[j];
    if (k < 0) return;
    const P = this.P;
    const V = this.V;
    const W = this.W;
    const slope = byTau[j];
    const base = j * 6 * SPAN;
    for (let t = 0; t < 2; t++) {
      const p = (6 + t) * ROWS;
      this.#hTau[k * 2 + t] += slope * this.#Pr[6 + t];
      const w = (k * 2 + t) * width;
      for (let i = 0; i < 6; i++) {
        const scale = slope * P[p + i];
        const row = base + i * SPAN;
        const at = w + 4 * i;
        W[at] += scale * J[row];
        W[at + 1] += scale * J[row + 1];
        W[at + 2] += scale * J[row + 2];
        W[at + 3] += scale * J[row + 3];
        W[w + extra[i]] += scale * J[row + 4];
      }
    }
    const square = slope * slope;
    V[k * 3] += square * P[6 * ROWS + 6];
    V[k * 3 + 1] += square * P[6 * ROWS + 7];
    V[k * 3 + 2] += square * P[7 * ROWS + 7];
    this.#diagonalTau[k] += square;
  }

  #eliminateSighting(k: number): boolean {
    const { width } = this.#model;
    const V = this.V;
    const W = this.W;
    const hTau = this.#hTau;
    const h = this.step;
    const damping = this.#lambda * this.#diagonalTau[k];
    const l00 = Math.sqrt(V[k * 3] + damping);
    const l10 = V[k * 3 + 1] / l00;
    const l11 = Math.sqrt(V[k * 3 + 2] + damping - l10 * l10);
    if (!(l00 > 0) || !(l11 > 0)) return false;
    V[k * 3] = l00;
    V[k * 3 + 1] = l10;
    V[k * 3 + 2] = l11;
    const h0 = hTau[k * 2] / l00;
    const h1 = (hTau[k * 2 + 1] - l10 * h0) / l11;
    hTau[k * 2] = h0;
    hTau[k * 2 + 1] = h1;
    this.#energy += h0 * h0 + h1 * h1;
    const w0 = k * 2 * width;
    const w1 = (k * 2 + 1) * width;
    for (let c = 0; c < width; c++) {
      const a0 = W[w0 + c] / l00;
      const a1 = (W[w1 + c] - l10 * a0) / l11;
      W[w0 + c] = a0;
      W[w1 + c] = a1;
      h[c] -= a0 * h0 + a1 * h1;
    }
    subtractSquares(this.S, W, w0, w1, width);
    return true;
  }

  /** Back-substitutes one sighting's τ. @returns stepᵀ diag(JᵀJ) step of it */
  #moveSighting(k: number, from: Point, to: Point): number {
    const { width } = this.#model;
    const V = this.V;
    const W = this.W;
    const step = this.step;
    const w = k * 2 * width;
    let a0 = -this.#hTau[k * 2];
    let a1 = -this.#hTau[k * 2 + 1];
    for (let c = 0; c < width; c++) {
      a0 -= W[w + c] * step[c];
      a1 -= W[w + width + c] * step[c];
    }
    const t1 = a1 / V[k * 3 + 2];
    const t0 = (a0 - V[k * 3 + 1] * t1) / V[k * 3];
    this.#tau[k * 2] = t0;
    this.#tau[k * 2 + 1] = t1;
    turnFrame(from.frames, to.frames, k, t0, t1);
    return this.#diagonalTau[k] * (t0 * t0 + t1 * t1);
  }

  /** Back-substitutes one reading's δ = −L⁻ᵀ Aᵀ (r + J θ + J τ). @returns stepᵀ diag(JᵀJ) step of it */
  #moveReading(j: number, from: Point, to: Point): number {
    const { r, J, byTau, data, extra } = this.#model;
    const A = this.A;
    const L = this.L;
    const step = this.step;
    const k = data.sighting[j];
    let s0 = 0;
    let s1 = 0;
    let s2 = 0;
    for (let i = 0; i < ROWS; i++) {
      let y = r[j * ROWS + i];
      if (i < 6) {
        const row = (j * 6 + i) * SPAN;
        const at = 4 * i;
        y +=
          J[row] * step[at] +
          J[row + 1] * step[at + 1] +
          J[row + 2] * step[at + 2] +
          J[row + 3] * step[at + 3] +
          J[row + 4] * step[extra[i]];
      } else if (k >= 0) {
        y += byTau[j] * this.#tau[k * 2 + i - 6];
      }
      const at = (j * ROWS + i) * 3;
      s0 += A[at] * y;
      s1 += A[at + 1] * y;
      s2 += A[at + 2] * y;
    }
    const l = j * 6;
    const l00 = L[l];
    const l10 = L[l + 1];
    const l20 = L[l + 2];
    const l11 = L[l + 3];
    const l21 = L[l + 4];
    const l22 = L[l + 5];
    const d2 = -s2 / l22;
    const d1 = (-s1 - l21 * d2) / l11;
    const d0 = (-s0 - l10 * d1 - l20 * d2) / l00;
    turnAttitude(from.attitudes, to.attitudes, j, d0, d1, d2);
    const damped =
      l00 * l00 * d0 * d0 +
      (l10 * l10 + l11 * l11) * d1 * d1 +
      (l20 * l20 + l21 * l21 + l22 * l22) * d2 * d2;
    return damped / (1 + this.#lambda);
  }
}
