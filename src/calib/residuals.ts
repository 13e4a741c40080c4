/**
 * The readings of a calibration against a board: residuals and their derivatives, nothing allocated for a reading.
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
 * ∂(P_k·x)/∂τ_k = −d·x. A check by finite differences stands in the tests.
 */

/** Residuals per reading: three of each sensor and two of aim. */
export const ROWS = 8;
/** Entries of θ that one sensor's residual depends on. */
export const SPAN = 5;
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

/** The kinds of residuals, each with a noise of its own. */
export type Kind = keyof NoiseScales;
export const KINDS = ['acc', 'mag', 'aim'] as const;
/** Index in {@link KINDS} of each of a reading's residuals. */
export const KIND_OF_ROW = [0, 0, 0, 1, 1, 1, 2, 2] as const;

/** Values of the unknowns. */
export interface Point {
  theta: Float64Array;
  /** Body to world, row by row, nine per reading. */
  attitudes: Float64Array;
  /** Rows d, P₀, P₁: right-handed, nine per sighting. */
  frames: Float64Array;
}

export class Residuals {
  /** Number of unknowns in θ. */
  readonly width: number;
  readonly bowed: boolean;
  /** The fifth column of θ that a sensor's row depends on: the dip, or the curvature of a bowed chip's axis. */
  readonly extra: Int32Array;

  // the linear model, as linearise leaves it
  /** Weighted residuals, eight per reading. */
  readonly r: Float64Array;
  /** Derivatives by δ, 8×3, of the reading last linearised: they are used up at once. */
  readonly D = new Float64Array(ROWS * 3);
  /** The five derivatives by θ of each sensor's row, 6×5 per reading: F_i or H_i, the offset, {@link extra}. */
  readonly J: Float64Array;
  /** Derivative of either residual of aim by its own τ, one per reading. */
  readonly byTau: Float64Array;

  #weights: NoiseScales = { acc: 1, mag: 1, aim: 1 };
  #cosDip = 1;
  #sinDip = 0;
  readonly #one = new Float64Array(ROWS);

  constructor(
    readonly data: Observations,
    width: number,
  ) {
    const { count } = data;
    this.width = width;
    this.bowed = width > DIP + 1;
    this.extra = Int32Array.from([0, 1, 2, 3, 4, 5], (row) =>
      row < 3 && this.bowed ? DIP + 1 + row : DIP,
    );
    this.r = new Float64Array(count * ROWS);
    this.J = new Float64Array(count * 6 * SPAN);
    this.byTau = new Float64Array(count);
  }

  set noise({ acc, mag, aim }: NoiseScales) {
    this.#weights = { acc: 1 / acc, mag: 1 / mag, aim: 1 / aim };
  }

  /** Weighted residuals of all readings, eight each. */
  all(point: Point): Float64Array {
    const out = new Float64Array(this.data.count * ROWS);
    this.lookAt(point);
    for (let j = 0; j < this.data.count; j++) this.#write(j, point, out, j * ROWS);
    return out;
  }

  /** Weighted residuals of one reading. */
  of(j: number, point: Point): Float64Array {
    const out = new Float64Array(ROWS);
    this.lookAt(point);
    this.#write(j, point, out, 0);
    return out;
  }

  /** Sums of squares of the weighted residuals, in the order of {@link KINDS}. */
  squares(point: Point): [number, number, number] {
    const r = this.#one;
    let acc = 0;
    let mag = 0;
    let aim = 0;
    this.lookAt(point);
    for (let j = 0; j < this.data.count; j++) {
      this.#write(j, point, r, 0);
      acc += r[0] * r[0] + r[1] * r[1] + r[2] * r[2];
      mag += r[3] * r[3] + r[4] * r[4] + r[5] * r[5];
      aim += r[6] * r[6] + r[7] * r[7];
    }
    return [acc, mag, aim];
  }

  /** Fills the linear model of one reading at a point, which {@link lookAt} has been told of. */
  linearise(j: number, point: Point): void {
    this.#write(j, point, this.r, j * ROWS);
    this.#deriveSensors(j, point);
    this.#deriveAim(j, point);
  }

  /** Takes from a point what all its readings share. */
  lookAt({ theta }: Point): void {
    this.#cosDip = Math.cos(theta[DIP]);
    this.#sinDip = Math.sin(theta[DIP]);
  }

  /** Writes one reading's weighted residuals from `out[at]` on; NaN where the curvature has no root. */
  #write(j: number, { theta, attitudes, frames }: Point, out: Float64Array, at: number): void {
    const { acc, mag, sighting } = this.data;
    const { acc: wAcc, mag: wMag, aim: wAim } = this.#weights;
    const cosDip = this.#cosDip;
    const sinDip = this.#sinDip;
    const R = j * 9;
    const g0 = attitudes[R + 6];
    const g1 = attitudes[R + 7];
    const g2 = attitudes[R + 8];
    const b0 = cosDip * attitudes[R] + sinDip * g0;
    const b1 = cosDip * attitudes[R + 1] + sinDip * g1;
    const b2 = cosDip * attitudes[R + 2] + sinDip * g2;
    for (let i = 0; i < 3; i++) {
      const f = 4 * i;
      let s = theta[f] * g0 + theta[f + 1] * g1 + theta[f + 2] * g2;
      if (this.bowed) s = (2 * s) / (1 + Math.sqrt(1 + 4 * theta[DIP + 1 + i] * s));
      out[at + i] = wAcc * (acc[j * 3 + i] - s - theta[f + 3]);
      const h = 12 + f;
      const t = theta[h] * b0 + theta[h + 1] * b1 + theta[h + 2] * b2;
      out[at + 3 + i] = wMag * (mag[j * 3 + i] - t - theta[h + 3]);
    }
    const k = sighting[j];
    if (k < 0) {
      out[at + 6] = 0;
      out[at + 7] = 0;
      return;
    }
    const p = k * 9 + 3;
    const x0 = attitudes[R];
    const x1 = attitudes[R + 3];
    const x2 = attitudes[R + 6];
    out[at + 6] = wAim * (frames[p] * x0 + frames[p + 1] * x1 + frames[p + 2] * x2);
    out[at + 7] = wAim * (frames[p + 3] * x0 + frames[p + 4] * x1 + frames[p + 5] * x2);
  }

  #deriveSensors(j: number, { theta, attitudes }: Point): void {
    const { acc: wAcc, mag: wMag } = this.#weights;
    const cosDip = this.#cosDip;
    const sinDip = this.#sinDip;
    const J = this.J;
    const D = this.D;
    const R = j * 9;
    const n0 = attitudes[R];
    const n1 = attitudes[R + 1];
    const n2 = attitudes[R + 2];
    const g0 = attitudes[R + 6];
    const g1 = attitudes[R + 7];
    const g2 = attitudes[R + 8];
    for (let i = 0; i < 3; i++) {
      const f0 = theta[4 * i];
      const f1 = theta[4 * i + 1];
      const f2 = theta[4 * i + 2];
      let slope = 1;
      let extra = 0;
      if (this.bowed) {
        const t = f0 * g0 + f1 * g1 + f2 * g2;
        const root = Math.sqrt(1 + 4 * theta[DIP + 1 + i] * t);
        const s = (2 * t) / (1 + root);
        slope = 1 / root;
        extra = wAcc * s * s * slope;
      }
      const k = -wAcc * slope;
      const row = (j * 6 + i) * SPAN;
      J[row] = k * g0;
      J[row + 1] = k * g1;
      J[row + 2] = k * g2;
      J[row + 3] = -wAcc;
      J[row + 4] = extra;
      const d = 3 * i;
      D[d] = k * (f1 * g2 - f2 * g1);
      D[d + 1] = k * (f2 * g0 - f0 * g2);
      D[d + 2] = k * (f0 * g1 - f1 * g0);
    }
    const b0 = cosDip * n0 + sinDip * g0;
    const b1 = cosDip * n1 + sinDip * g1;
    const b2 = cosDip * n2 + sinDip * g2;
    // ∂b/∂I
    const c0 = cosDip * g0 - sinDip * n0;
    const c1 = cosDip * g1 - sinDip * n1;
    const c2 = cosDip * g2 - sinDip * n2;
    for (let i = 3; i < 6; i++) {
      const h0 = theta[4 * i];
      const h1 = theta[4 * i + 1];
      const h2 = theta[4 * i + 2];
      const row = (j * 6 + i) * SPAN;
      J[row] = -wMag * b0;
      J[row + 1] = -wMag * b1;
      J[row + 2] = -wMag * b2;
      J[row + 3] = -wMag;
      J[row + 4] = -wMag * (h0 * c0 + h1 * c1 + h2 * c2);
      const d = 3 * i;
      D[d] = -wMag * (h1 * b2 - h2 * b1);
      D[d + 1] = -wMag * (h2 * b0 - h0 * b2);
      D[d + 2] = -wMag * (h0 * b1 - h1 * b0);
    }
  }

  #deriveAim(j: number, { attitudes, frames }: Point): void {
    const k = this.data.sighting[j];
    if (k < 0) {
      this.D.fill(0, 6 * 3);
      return;
    }
    const wAim = this.#weights.aim;
    const R = j * 9;
    for (let t = 0; t < 2; t++) {
      const p = k * 9 + 3 + 3 * t;
      let onY = 0;
      let onZ = 0;
      for (let c = 0; c < 3; c++) {
        onY += frames[p + c] * attitudes[R + 3 * c + 1];
        onZ += frames[p + c] * attitudes[R + 3 * c + 2];
      }
      const d = (6 + t) * 3;
      this.D[d] = 0;
      this.D[d + 1] = -wAim * onZ;
      this.D[d + 2] = wAim * onY;
    }
    const f = k * 9;
    const along =
      frames[f] * attitudes[R] +
      frames[f + 1] * attitudes[R + 3] +
      frames[f + 2] * attitudes[R + 6];
    this.byTau[j] = -wAim * along;
  }
}
