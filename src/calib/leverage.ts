import { cholesky, forwardRows, substituteLower, substituteUpper } from './cholesky.ts';
import type { Elimination } from './elimination.ts';
import { KIND_OF_ROW, KINDS, ROWS, SPAN, type Kind, type Residuals } from './residuals.ts';

/**
 * What a solved system says of its own residuals: how far the fit followed each of them, what is left to check them by,
 * and what the other readings say of a few.
 *
 * With H = J (JᵀJ)⁻¹ Jᵀ the hat matrix over all unknowns, residuals are v = Q e, Q = 1 − H, of errors e of unit variance,
 * and have the covariance Q: a reading near the edge of the coverage cannot hide behind its small residual. Inside one
 * reading Q = P − P J X Jᵀ P: P takes out its own δ, the rest its sighting's τ and θ, X their covariance.
 */

export interface Leverage {
  /** vᵀ Q⁺ v of each reading's weighted residuals v: χ² with 5 (3 for a free attitude) degrees where all is well. */
  chiSquare: Float64Array;
  /** Redundancy of each kind of residual, tr Q: how much of it is left to check the others by. In the order of KINDS. */
  redundancy: Float64Array;
}

/** @param C covariance of θ, as the system has it */
export function leverageOf(model: Residuals, system: Elimination, C: Float64Array): Leverage {
  const { count } = model.data;
  const across = new AcrossDelta(model, system, C, true);
  const chiSquare = new Float64Array(count);
  const redundancy = new Float64Array(3);
  const v = new Float64Array(ROWS);
  for (let j = 0; j < count; j++) {
    const K = across.of(j);
    system.complement(j);
    addRedundancy(model, system, j, K, redundancy);
    // v lies across D already, so that in its covariance 1 may stand for P
    for (let i = 0; i < ROWS; i++) {
      v[i] = model.r[j * ROWS + i];
      for (let c = i; c < ROWS; c++) K[i * ROWS + c] = -K[i * ROWS + c];
      K[i * ROWS + i] += 1 + 1e-9;
    }
    // where the fit rests on this reading alone in some direction, nothing checks it
    if (!cholesky(K, ROWS)) {
      chiSquare[j] = NaN;
      continue;
    }
    substituteLower(K, v, ROWS);
    chiSquare[j] = sumOfSquares(v);
  }
  return { chiSquare, redundancy };
}

/** What the estimate of the noise needs to know. */
export interface Redundancies {
  /** As in {@link Leverage}. */
  redundancy: Float64Array;
  /** Sums of P² between two kinds, 3×3: about those of Q², which is P where θ and τ have many readings each. */
  coupling: Float64Array;
}

/** @param C covariance of θ, as the system has it */
export function redundanciesOf(
  model: Residuals,
  system: Elimination,
  C: Float64Array,
): Redundancies {
  const across = new AcrossDelta(model, system, C, true);
  const { P } = system;
  const redundancy = new Float64Array(3);
  const coupling = new Float64Array(9);
  for (let j = 0; j < model.data.count; j++) {
    const K = across.diagonal(j);
    system.complement(j);
    addRedundancy(model, system, j, K, redundancy);
    const rows = rowsOf(model, j);
    for (let i = 0; i < rows; i++) {
      const kind = 3 * KIND_OF_ROW[i];
      for (let c = 0; c < rows; c++) {
        coupling[kind + KIND_OF_ROW[c]] += P[i * ROWS + c] * P[i * ROWS + c];
      }
    }
  }
  return { redundancy, coupling };
}

/** How many residuals a reading has: a free attitude was aimed at nothing. */
const rowsOf = ({ data }: Residuals, j: number): number => (data.sighting[j] < 0 ? 6 : ROWS);

function addRedundancy(
  model: Residuals,
  { P }: Elimination,
  j: number,
  K: Float64Array,
  redundancy: Float64Array,
): void {
  for (let i = 0; i < rowsOf(model, j); i++) {
    redundancy[KIND_OF_ROW[i]] += P[i * ROWS + i] - K[i * ROWS + i];
  }
}

/**
 * The parts of tr(X N) that each kind of residual makes, N the reduced normal matrix: how much each noise adds to a
 * variance.
 *
 * @param X symmetric, width × width
 */
export function traceByKind(
  model: Residuals,
  system: Elimination,
  X: Float64Array,
): Record<Kind, number> {
  const across = new AcrossDelta(model, system, X, false);
  const parts = { acc: 0, mag: 0, aim: 0 };
  for (let j = 0; j < model.data.count; j++) {
    const K = across.diagonal(j);
    for (let i = 0; i < ROWS; i++) parts[KINDS[KIND_OF_ROW[i]]] += K[i * ROWS + i];
  }
  return parts;
}

/** P J X Jᵀ P of one reading after another, for a covariance X of θ carried on to the sightings. */
class AcrossDelta {
  readonly #K = new Float64Array(ROWS * ROWS);
  readonly #Y = new Float64Array(ROWS * 3);
  readonly #rowX: Float64Array;
  // covariance of τ with θ, 2×width per sighting, and of τ itself, xx xy yy
  readonly #cross: Float64Array;
  readonly #tau: Float64Array;

  /** @param own whether τ, which follows θ as −V⁻¹W θ, has its own variance V⁻¹ beside */
  constructor(
    private readonly model: Residuals,
    private readonly system: Elimination,
    private readonly X: Float64Array,
    own: boolean,
  ) {
    const { width, data } = model;
    this.#rowX = new Float64Array(width);
    this.#cross = new Float64Array(data.sightings * 2 * width);
    this.#tau = new Float64Array(data.sightings * 3);
    const y = new Float64Array(2 * width);
    for (let k = 0; k < data.sightings; k++) this.#carryOn(k, own, y);
  }

  #carryOn(k: number, own: boolean, y: Float64Array): void {
    const { V, W } = this.system;
    const X = this.X;
    const cross = this.#cross;
    const tau = this.#tau;
    const { width } = this.model;
    const l00 = V[k * 3];
    const l10 = V[k * 3 + 1];
    const l11 = V[k * 3 + 2];
    const w = k * 2 * width;
    for (let c = 0; c < width; c++) {
      y[width + c] = W[w + width + c] / l11;
      y[c] = (W[w + c] - l10 * y[width + c]) / l00;
    }
    let t00 = 0;
    let t01 = 0;
    let t11 = 0;
    for (let i = 0; i < width; i++) {
      let x0 = 0;
      let x1 = 0;
      for (let c = 0; c < width; c++) {
        const x = X[i * width + c];
        x0 += x * y[c];
        x1 += x * y[width + c];
      }
      cross[w + i] = -x0;
      cross[w + width + i] = -x1;
      t00 += x0 * y[i];
      t01 += x0 * y[width + i];
      t11 += x1 * y[width + i];
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

  /** Upper triangle of the 8×8 matrix; the next call overwrites it. */
  of(j: number): Float64Array {
    this.#between(j);
    this.#halve(j);
    const { A } = this.system;
    const K = this.#K;
    const Y = this.#Y;
    const base = j * ROWS * 3;
    for (let i = 0; i < ROWS; i++) {
      const a = base + i * 3;
      const y = i * 3;
      for (let c = i; c < ROWS; c++) {
        const b = base + c * 3;
        const z = c * 3;
        K[i * ROWS + c] -=
          A[a] * Y[z] +
          A[a + 1] * Y[z + 1] +
          A[a + 2] * Y[z + 2] +
          Y[y] * A[b] +
          Y[y + 1] * A[b + 1] +
          Y[y + 2] * A[b + 2];
      }
    }
    return K;
  }

  /** The same matrix, of which only the diagonal is right. */
  diagonal(j: number): Float64Array {
    this.#between(j);
    this.#halve(j);
    const { A } = this.system;
    const K = this.#K;
    const Y = this.#Y;
    for (let i = 0; i < ROWS; i++) {
      const a = (j * ROWS + i) * 3;
      const y = i * 3;
      K[i * ROWS + i] -= 2 * (A[a] * Y[y] + A[a + 1] * Y[y + 1] + A[a + 2] * Y[y + 2]);
    }
    return K;
  }

  /** Fills K = J X Jᵀ, J by θ and τ. */
  #between(j: number): void {
    const { J, byTau, data, width, extra } = this.model;
    const X = this.X;
    const K = this.#K;
    const x = this.#rowX;
    const cross = this.#cross;
    const tau = this.#tau;
    const base = j * 6 * SPAN;
    const k = data.sighting[j];
    const slope = byTau[j];
    K.fill(0);
    for (let i = 0; i < 6; i++) {
      const row = base + i * SPAN;
      // J_i X, from the first column that is needed on
      const at = 4 * i * width;
      for (let c = 4 * i; c < width; c++) {
        x[c] =
          J[row] * X[at + c] +
          J[row + 1] * X[at + width + c] +
          J[row + 2] * X[at + 2 * width + c] +
          J[row + 3] * X[at + 3 * width + c] +
          J[row + 4] * X[extra[i] * width + c];
      }
      for (let c = i; c < 6; c++) {
        const other = base + c * SPAN;
        const sum =
          x[4 * c] * J[other] +
          x[4 * c + 1] * J[other + 1] +
          x[4 * c + 2] * J[other + 2] +
          x[4 * c + 3] * J[other + 3] +
          x[extra[c]] * J[other + 4];
        K[i * ROWS + c] = sum;
        K[c * ROWS + i] = sum;
      }
      if (k < 0) continue;
      for (let t = 0; t < 2; t++) {
        const w = (k * 2 + t) * width;
        const sum =
          cross[w + 4 * i] * J[row] +
          cross[w + 4 * i + 1] * J[row + 1] +
          cross[w + 4 * i + 2] * J[row + 2] +
          cross[w + 4 * i + 3] * J[row + 3] +
          cross[w + extra[i]] * J[row + 4];
        K[i * ROWS + 6 + t] = sum * slope;
        K[(6 + t) * ROWS + i] = sum * slope;
      }
    }
    if (k < 0) return;
    const square = slope * slope;
    K[6 * ROWS + 6] = square * tau[k * 3];
    K[6 * ROWS + 7] = square * tau[k * 3 + 1];
    K[7 * ROWS + 6] = square * tau[k * 3 + 1];
    K[7 * ROWS + 7] = square * tau[k * 3 + 2];
  }

  /**
   * Fills Y. With P = 1 − A Aᵀ and Z = K A, P K P = K − A Zᵀ − Z Aᵀ + A (AᵀZ) Aᵀ, or K − A Yᵀ − Y Aᵀ with
   * Y = Z − A (AᵀZ) / 2.
   */
  #halve(j: number): void {
    const { A } = this.system;
    const K = this.#K;
    const Y = this.#Y;
    const base = j * ROWS * 3;
    let [t00, t01, t02, t11, t12, t22] = [0, 0, 0, 0, 0, 0];
    for (let i = 0; i < ROWS; i++) {
      let z0 = 0;
      let z1 = 0;
      let z2 = 0;
      for (let c = 0; c < ROWS; c++) {
        const k = K[i * ROWS + c];
        const a = base + c * 3;
        z0 += k * A[a];
        z1 += k * A[a + 1];
        z2 += k * A[a + 2];
      }
      Y[i * 3] = z0;
      Y[i * 3 + 1] = z1;
      Y[i * 3 + 2] = z2;
      const a = base + i * 3;
      t00 += A[a] * z0;
      t01 += A[a] * z1;
      t02 += A[a] * z2;
      t11 += A[a + 1] * z1;
      t12 += A[a + 1] * z2;
      t22 += A[a + 2] * z2;
    }
    for (let i = 0; i < ROWS; i++) {
      const a0 = A[base + i * 3] / 2;
      const a1 = A[base + i * 3 + 1] / 2;
      const a2 = A[base + i * 3 + 2] / 2;
      Y[i * 3] -= a0 * t00 + a1 * t01 + a2 * t02;
      Y[i * 3 + 1] -= a0 * t01 + a1 * t11 + a2 * t12;
      Y[i * 3 + 2] -= a0 * t02 + a1 * t12 + a2 * t22;
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
 * itself is worth; and how θ changes without them. Undefined where the other readings alone do not determine θ
 */
export function leaveOut(
  model: Residuals,
  system: Elimination,
  members: readonly number[],
): { squares: number; chiSquare: number; change: Float64Array } | undefined {
  const { width } = model;
  const rows = members.length * ROWS;
  const M = new Float64Array(rows * width);
  const e = new Float64Array(rows);
  members.forEach((j, m) => {
    projectedRows(model, system, j, M, m * ROWS * width);
    e.set(model.r.subarray(j * ROWS, (j + 1) * ROWS), m * ROWS);
  });
  forwardRows(system.S, M, rows, width);
  const C = new Float64Array(rows * rows);
  for (let i = 0; i < rows; i++) {
    for (let c = i; c < rows; c++) {
      let sum = i === c ? 1 : 0;
      for (let k = 0; k < width; k++) sum -= M[i * width + k] * M[c * width + k];
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
    for (let k = 0; k < width; k++) change[k] += M[i * width + k] * e[i];
  }
  substituteUpper(system.S, change, width);
  return { squares: sumOfSquares(e), chiSquare, change };
}

/** Writes P (J_θ − J_τ V⁻¹ W), 8×width, of one reading from `out[at]` on. */
function projectedRows(
  { J, byTau, data, width, extra }: Residuals,
  system: Elimination,
  j: number,
  out: Float64Array,
  at: number,
): void {
  system.complement(j);
  const { P, V, W } = system;
  const k = data.sighting[j];
  for (let i = 0; i < ROWS; i++) {
    const row = at + i * width;
    for (let c = 0; c < 6; c++) {
      const p = P[i * ROWS + c];
      const other = (j * 6 + c) * SPAN;
      for (let a = 0; a < SPAN; a++) {
        out[row + (a < 4 ? 4 * c + a : extra[c])] += p * J[other + a];
      }
    }
    if (k < 0) continue;
    // −J_τ V⁻¹ W with W divided by V's factor already
    const l00 = V[k * 3];
    const l10 = V[k * 3 + 1];
    const l11 = V[k * 3 + 2];
    const b0 = (byTau[j] * P[i * ROWS + 6]) / l00;
    const b1 = (byTau[j] * P[i * ROWS + 7] - l10 * b0) / l11;
    const w = k * 2 * width;
    for (let c = 0; c < width; c++) out[row + c] -= b0 * W[w + c] + b1 * W[w + width + c];
  }
}

function sumOfSquares(v: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < v.length; i++) sum += v[i] * v[i];
  return sum;
}
