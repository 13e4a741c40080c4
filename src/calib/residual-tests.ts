import { EigenvalueDecomposition, inverse as inverseOf, Matrix } from 'ml-matrix';
import { CalibrationProblem, DIP, type Kind } from './calibration-problem.ts';
import type { Fit } from './fit.ts';
import { solvedAgain } from './held-out.ts';
import { dot, fieldDirection, inverse, plus, rotate, times, type Mat3 } from './geometry.ts';
import { holmAdjusted } from './holm.ts';
import { chiSquareProbability, fisherTail } from './quantiles.ts';
import type { Reading, Vec3 } from './reading.ts';
import type { Data } from './state.ts';

/**
 * Is there anything in a fit's residuals that noise alone would not leave there?
 *
 * A fit with three unknowns per reading leaves residuals that are far from independent. With r the residuals, each over
 * its standard deviation, J their derivative by every unknown (coefficients, attitudes, sightings) and
 * M = 1 − J (JᵀJ)⁺ Jᵀ, where nothing is wrong r = M ε, ε independent with variance one. All tests take M into account:
 * - noise: σ̂²/σ² of each kind against χ²/ν, two-sided. ν comes from the information that the residuals hold of the
 *   kinds' variances, T_kl = |M_kl|² (sum of squares of a block): var σ̂²/σ² = 2 (T⁻¹)_kk, ν = 1/(T⁻¹)_kk. Searle,
 *   Casella and McCulloch 1992, Variance components, section 6.6 (restricted maximum likelihood).
 * - serial: Q = Σ r_t r_{t+1} of one chip axis, t in order of reading, is a quadratic form rᵀA r with mean tr(MA) and
 *   variance 2 tr(MAMA); normal to good approximation. Durbin and Watson 1950, Testing for serial correlation in least
 *   squares regression I, Biometrika 37, has the moments.
 * - order, temperature, attitude: would the squares fall if the model had further terms Z? F-test of the added terms,
 *   (fall/k) / (rest/(ν−k)), fall = sᵀ (ZᵀMZ)⁺ s with s = ZᵀM r, k the rank of ZᵀMZ. Cook and Weisberg 1982, Residuals
 *   and influence in regression, section 2.2 (added variables). 1/ν = Σ a_k a_l (T⁻¹)_kl, a_k the
 *   part of each kind of noise in what the terms are held against (after Satterthwaite 1946).
 *
 * Terms: order and temperature, a straight line in the offset of each chip axis; gravity and field, all functions of
 * the direction of down (of the field) in the body up to the third degree, in the length of that vector (of gravity
 * fourth powers too, as a cubic response along an axis leaves them); dip, functions of both directions up to the second
 * degree, in the angle between them. Whatever part of a term the model can follow itself drops out with M.
 *
 * Many tests at once: p-values are adjusted after Holm (1979), A simple sequentially rejective multiple test
 * procedure, Scand. J. Statist. 6, so that the chance of any false finding among all of them is at most the level.
 */

export type ResidualTestName =
  | 'noise_acc'
  | 'noise_mag'
  | `serial_${'acc' | 'mag'}_${'x' | 'y' | 'z'}`
  | 'order_acc'
  | 'order_mag'
  | 'temperature_acc'
  | 'temperature_mag'
  | 'attitude_gravity'
  | 'attitude_field'
  | 'attitude_dip';

/**
 * - `as_expected`: noise alone would do this
 * - `departs`: noise alone would hardly do this
 * - `cannot_tell`: not tested; `why` says for want of what
 */
export type ResidualVerdict = 'as_expected' | 'departs' | 'cannot_tell';

/**
 * - `not_declared`: no noise is declared to compare with
 * - `no_temperature`: fewer than three readings tell their temperature, or all the same
 * - `too_few`: too little is left in the residuals once the model has taken its part
 * - `in_the_model`: the model follows these terms itself
 */
export type NotTold = 'not_declared' | 'no_temperature' | 'too_few' | 'in_the_model';

export interface ResidualTest {
  name: ResidualTestName;
  verdict: ResidualVerdict;
  why?: NotTold;
  /** χ² (noise), standard normal (serial) or F (the others). Absent where nothing was tested, as are the next three. */
  statistic?: number;
  /** Degrees of freedom: one of χ², none of the normal, two of F. */
  freedom?: number[];
  /** Probability of a statistic as extreme as this where nothing is wrong, by itself, and adjusted for the many tests. */
  p?: number;
  adjusted?: number;
  /** Noise tests: noise found over noise declared. */
  ratio?: number;
  /** Serial tests: autocorrelation at lag one, less what the fit itself brings into the residuals. */
  correlation?: number;
  /**
   * Order and temperature: change of the offset along each chip axis from the first reading to the last, or from the
   * coldest to the warmest, counts. Absent where the readings do not determine all three.
   */
  change?: Vec3;
}

export interface ResidualTestOptions {
  /** Standard deviation of a reading per axis, counts, as the board declares it. */
  declared?: { acc: number; mag: number };
  /** Chance of any false finding among all the tests. Default 0.01. */
  level?: number;
}

/**
 * @param readings those that were fitted, in the order in which they were taken
 * @returns every test, in a fixed order
 * @throws RangeError where the readings are not those of the fit
 */
export function testResiduals(
  fit: Fit,
  readings: readonly (Reading & { temperature?: number })[],
  { declared, level = 0.01 }: ResidualTestOptions = {},
): ResidualTest[] {
  const point = settle(fit, readings);
  const terms = [...offsetTerms(point, readings), ...attitudeTerms(point, fit)];
  const space = residualSpace(
    point,
    terms.flatMap(({ columns }) => columns),
  );

  const tests: ResidualTest[] = [];
  for (const chip of ['acc', 'mag'] as const) {
    const name = `noise_${chip}` as const;
    const k = KINDS.indexOf(chip);
    tests.push(noiseTest(name, fit.noise[chip], declared?.[chip], 1 / space.variances.get(k, k)));
  }
  for (let component = 0; component < 6; component++) {
    const name =
      `serial_${CHIP_OF[component]!}_${'xyz'[component % 3] as 'x' | 'y' | 'z'}` as const;
    tests.push({ name, ...serialTest(point.data, space, component) });
  }
  let first = 0;
  for (const { name, columns, why, span } of terms) {
    tests.push(
      why
        ? { name, verdict: 'cannot_tell', why }
        : { name, ...addedTermsTest(space, first, columns.length, span) },
    );
    first += columns.length;
  }
  return judged(tests, level);
}

/** Residuals per reading; of a free attitude only the first six. */
const ROWS = 8;
const KINDS = ['acc', 'mag', 'aim'] as const;
const CHIP_OF = ['acc', 'acc', 'acc', 'mag', 'mag', 'mag'] as const;
const kindOf = (row: number): Kind => CHIP_OF[row] ?? 'aim';
/** Degrees of freedom that must be left beside the terms tested. */
const FEWEST = 5;
/** Readings for which the sum of lag-one products is near enough to normal. */
const FEWEST_IN_ORDER = 10;
/** Of a term's squares, what must be left over once the model has followed it. */
const FOLLOWED = 1e-4;

/** The problem at its solution, with the noise that was found. */
interface Point {
  problem: CalibrationProblem;
  data: Data;
  /** One over the standard deviation of each kind, counts over scale and radians. */
  weights: Record<Kind, number>;
  /** Directions of down and field in the body in each observation, as fitted; unit length. */
  seen: { g: Vec3; b: Vec3 }[];
  scales: { acc: number; mag: number };
}

function settle(fit: Fit, readings: readonly Reading[]): Point {
  if (
    readings.length !== fit.readings.length ||
    readings.some(({ id }, i) => id !== fit.readings[i]!.id)
  ) {
    throw new RangeError('the readings are not those of the fit, in its order');
  }
  const { problem, data, scales, noise } = solvedAgain(fit, readings);
  return {
    problem,
    data,
    weights: { acc: 1 / noise.acc, mag: 1 / noise.mag, aim: 1 / noise.aim },
    // fitted, not read: what a reading shows carries the same noise as its residuals
    seen: data.index.map((_, j) => {
      const row = (from: number) =>
        [...problem.attitudes.subarray(j * 9 + from, j * 9 + from + 3)] as unknown as Vec3;
      const [north, g] = [row(0), row(6)];
      const [n, , d] = fieldDirection(problem.theta[DIP]!);
      return { g, b: plus(times(north, n), times(g, d)) };
    }),
    scales,
  };
}

/** Further terms that the model might have had: what they would add to the weighted residuals, eight per reading. */
interface Terms {
  name: ResidualTestName;
  columns: Float64Array[];
  /** Counts by which the whole span of a line exceeds its coefficient. */
  span?: number;
  why?: NotTold;
}

/** A straight line with order, and with temperature, in each chip's offset. */
function offsetTerms(
  { data, weights, scales }: Point,
  readings: readonly { temperature?: number }[],
): Terms[] {
  const order = data.index.map((i) => (2 * i) / Math.max(1, readings.length - 1) - 1);
  const temperatures = data.index.map((i) => readings[i]!.temperature);
  const known = temperatures.filter((t) => t !== undefined && Number.isFinite(t)) as number[];
  const middle = (Math.max(...known) + Math.min(...known)) / 2;
  const half = (Math.max(...known) - Math.min(...known)) / 2;
  // a reading that does not tell its temperature counts as one in the middle: that spoils no level, only some power
  const warmth = temperatures.map((t) =>
    t !== undefined && Number.isFinite(t) ? (t - middle) / half : 0,
  );
  const noTemperature = known.length < 3 || half === 0;
  return ([order, warmth] as const).flatMap((line, which) =>
    (['acc', 'mag'] as const).map((chip): Terms => {
      const name = `${which === 0 ? 'order' : 'temperature'}_${chip}` as const;
      if (which === 1 && noTemperature) return { name, columns: [], why: 'no_temperature' };
      return { name, columns: alongChip(chip, line, weights[chip]), span: 2 * scales[chip] };
    }),
  );
}

/** One column for each axis of a chip, with a value per reading. */
function alongChip(chip: 'acc' | 'mag', values: readonly number[], weight: number): Float64Array[] {
  const from = chip === 'acc' ? 0 : 3;
  return [0, 1, 2].map((axis) => {
    const column = new Float64Array(values.length * ROWS);
    values.forEach((value, j) => (column[j * ROWS + from + axis] = weight * value));
    return column;
  });
}

/** Functions of attitude in the length of gravity, in the length of the field, and in the dip. */
function attitudeTerms({ data, weights, seen }: Point, { coefficients }: Fit): Terms[] {
  const [F, H] = [inverse(coefficients.A), inverse(coefficients.B)];
  const { q } = coefficients;
  const columns = (
    from: 0 | 3,
    push: (at: { g: Vec3; b: Vec3 }) => Vec3,
    functions: (at: { g: Vec3; b: Vec3 }) => number[],
  ): Float64Array[] => {
    const values = seen.map(functions);
    const found = (values[0] ?? []).map(() => new Float64Array(data.count * ROWS));
    seen.forEach((at, j) => {
      const along = push(at);
      found.forEach((column, f) => {
        for (let i = 0; i < 3; i++) {
          column[j * ROWS + from + i] =
            (from === 0 ? weights.acc : weights.mag) * along[i]! * values[j]![f]!;
        }
      });
    });
    return found;
  };
  return [
    {
      name: 'attitude_gravity',
      columns: columns(
        0,
        ({ g }) => {
          const t = rotate(F, g);
          return t.map((x, i) => x / Math.sqrt(1 + 4 * q[i]! * x)) as unknown as Vec3;
        },
        ({ g }) => [...squares(g), ...cubes(g), ...fourths(g)],
      ),
    },
    {
      name: 'attitude_field',
      columns: columns(
        3,
        ({ b }) => rotate(H, b),
        ({ b }) => [...squares(b), ...cubes(b)],
      ),
    },
    {
      name: 'attitude_dip',
      columns: columns(
        3,
        ({ g, b }) => towards(H, b, g),
        ({ g, b }) => [...g, ...squares(g), ...b, ...squares(b)],
      ),
    },
  ];
}

/** Change of H b when b turns towards g. */
const towards = (H: Mat3, b: Vec3, g: Vec3): Vec3 => {
  const across = plus(g, times(b, -dot(g, b)));
  const norm = Math.hypot(...across);
  return norm < 1e-9 ? [0, 0, 0] : rotate(H, times(across, 1 / norm));
};

// on the unit sphere squares span the constant and the second degree, cubes the first and the third
const squares = ([x, y, z]: Vec3) => [x * x, y * y, z * z, x * y, y * z, z * x];
const cubes = ([x, y, z]: Vec3) => [
  ...[x * x * x, y * y * y, z * z * z, x * y * z],
  ...[x * x * y, x * x * z, y * y * x, y * y * z, z * z * x, z * z * y],
];

const fourths = (v: Vec3) => v.map((x) => x ** 4);

/** Readings that share a sighting, or one free attitude, and the projector B across their own unknowns. */
interface Group {
  members: number[];
  /** Rows of each member: eight, or six of a free attitude. */
  rows: number;
  /** (members × rows) square. */
  B: Float64Array;
}

/** M = ⊕B − U Uᵀ, and what it leaves of the residuals and of the further terms. */
interface ResidualSpace {
  groups: Group[];
  groupOf: Group[];
  /** Position of an observation in its group. */
  slot: number[];
  /** Orthonormal columns, eight rows per reading: what the coefficients follow across the readings' own unknowns. */
  U: Float64Array[];
  /** Weighted, eight rows per reading. */
  residuals: Float64Array;
  /** M Z, one column for each term, and the squares of each column of Z before. */
  left: Float64Array[];
  whole: number[];
  /** T⁻¹, in the order of KINDS: half the covariance of the kinds' σ̂²/σ². Zero where a kind was not found here. */
  variances: Matrix;
}

function residualSpace({ problem, data }: Point, terms: readonly Float64Array[]): ResidualSpace {
  const { width } = problem;
  const height = data.count * ROWS;
  const followed = Array.from({ length: width }, () => new Float64Array(height));
  const left = terms.map((term) => term.slice());
  const groupOf: Group[] = [];
  const slot: number[] = [];
  const groups = membersOf(data).map(({ members, free }): Group => {
    const rows = free ? 6 : ROWS;
    const own = Array.from(
      { length: 3 * members.length + (free ? 0 : 2) },
      () => new Float64Array(members.length * rows),
    );
    members.forEach((j, m) => {
      const { jacobian } = problem.jacobianOf(j);
      for (let i = 0; i < rows; i++) {
        const row = jacobian.subarray(i * (width + 5), (i + 1) * (width + 5));
        for (let c = 0; c < width; c++) followed[c]![j * ROWS + i] = row[c]!;
        for (let c = 0; c < 3; c++) own[3 * m + c]![m * rows + i] = row[width + c]!;
        for (let c = 3; c < 5 && !free; c++) {
          own[3 * (members.length - 1) + c]![m * rows + i] = row[width + c]!;
        }
      }
    });
    const basis = orthonormal(own);
    for (const column of [...followed, ...left]) {
      const part = new Float64Array(members.length * rows);
      members.forEach((j, m) => part.set(column.subarray(j * ROWS, j * ROWS + rows), m * rows));
      takeOut(part, basis);
      members.forEach((j, m) => column.set(part.subarray(m * rows, (m + 1) * rows), j * ROWS));
    }
    const group = { members, rows, B: across(basis, members.length * rows) };
    members.forEach((j, m) => ((groupOf[j] = group), (slot[j] = m)));
    return group;
  });
  // the turn about the sight, which no residual shows, leaves no column of its own
  const U = orthonormal(followed);
  for (const column of left) takeOut(column, U);
  return {
    groups,
    groupOf,
    slot,
    U,
    residuals: problem.residuals(),
    left,
    whole: terms.map((term) => inner(term, term)),
    variances: varianceCovariance(groups, U),
  };
}

function membersOf({ sighting, count }: Data): { members: number[]; free: boolean }[] {
  const together = new Map<number, number[]>();
  const alone: { members: number[]; free: boolean }[] = [];
  for (let j = 0; j < count; j++) {
    const k = sighting[j]!;
    if (k < 0) alone.push({ members: [j], free: true });
    else together.set(k, [...(together.get(k) ?? []), j]);
  }
  return [...[...together.values()].map((members) => ({ members, free: false })), ...alone];
}

/** An orthonormal basis of what the columns span (Gram and Schmidt, each column taken twice); overwrites them. */
function orthonormal(columns: readonly Float64Array[]): Float64Array[] {
  const basis: Float64Array[] = [];
  for (const column of columns) {
    const before = inner(column, column);
    takeOut(column, basis);
    takeOut(column, basis);
    const after = inner(column, column);
    if (after > 1e-18 * before) basis.push(column.map((value) => value / Math.sqrt(after)));
  }
  return basis;
}

function takeOut(column: Float64Array, basis: readonly Float64Array[]): void {
  for (const v of basis) {
    const along = inner(v, column);
    for (let i = 0; i < v.length; i++) column[i] = column[i]! - along * v[i]!;
  }
}

function inner(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i]! * b[i]!;
  return sum;
}

/** The projector 1 − Q Qᵀ across an orthonormal basis. */
function across(basis: readonly Float64Array[], size: number): Float64Array {
  const B = new Float64Array(size * size);
  for (let i = 0; i < size; i++) {
    for (let c = 0; c < size; c++) {
      let sum = i === c ? 1 : 0;
      for (const v of basis) sum -= v[i]! * v[c]!;
      B[i * size + c] = sum;
    }
  }
  return B;
}

/** T⁻¹ from T_kl = |M_kl|², M = ⊕B − U Uᵀ. */
function varianceCovariance(groups: readonly Group[], U: readonly Float64Array[]): Matrix {
  const rank = U.length;
  const T = new Float64Array(9);
  const G = KINDS.map(() => new Float64Array(rank * rank));
  const redundancy = [0, 0, 0];
  for (const { members, rows, B } of groups) {
    const size = members.length * rows;
    const kind = Array.from({ length: size }, (_, i) => KINDS.indexOf(kindOf(i % rows)));
    const u = members.flatMap((j) =>
      Array.from({ length: rows }, (_, i) => rowOf(U, j * ROWS + i)),
    );
    for (let i = 0; i < size; i++) {
      const k = kind[i]!;
      addProduct(G[k]!, u[i]!, u[i]!);
      redundancy[k]! += B[i * size + i]! - inner(u[i]!, u[i]!);
      for (let c = 0; c < size; c++) {
        const b = B[i * size + c]!;
        T[3 * k + kind[c]!]! += b * (b - 2 * inner(u[i]!, u[c]!));
      }
    }
  }
  for (let k = 0; k < 3; k++) {
    for (let l = 0; l < 3; l++) T[3 * k + l]! += inner(G[k]!, G[l]!);
  }
  // a kind with less than one redundant residual was not found from the readings, but left as declared
  const found = [0, 1, 2].filter((k) => redundancy[k]! >= 1);
  const variances = Matrix.zeros(3, 3);
  if (found.length === 0) return variances;
  const known = inverseOf(Matrix.from1DArray(3, 3, T).selection(found, found));
  found.forEach((k, i) => found.forEach((l, c) => variances.set(k, l, known.get(i, c))));
  return variances;
}

/** One row of a matrix that is held by columns. */
function rowOf(columns: readonly Float64Array[], row: number): Float64Array {
  const values = new Float64Array(columns.length);
  for (let k = 0; k < values.length; k++) values[k] = columns[k]![row]!;
  return values;
}

/** Adds v wᵀ. */
function addProduct(m: Float64Array, v: Float64Array, w: Float64Array): void {
  for (let i = 0; i < v.length; i++) {
    for (let c = 0; c < w.length; c++) m[i * w.length + c] = m[i * w.length + c]! + v[i]! * w[c]!;
  }
}

function noiseTest(
  name: 'noise_acc' | 'noise_mag',
  found: number,
  declared: number | undefined,
  freedom: number,
): ResidualTest {
  if (declared === undefined) return { name, verdict: 'cannot_tell', why: 'not_declared' };
  if (!(freedom >= 1 && Number.isFinite(freedom))) {
    return { name, verdict: 'cannot_tell', why: 'too_few' };
  }
  const ratio = found / declared;
  const statistic = freedom * ratio ** 2;
  const below = chiSquareProbability(statistic, freedom);
  return {
    name,
    verdict: 'as_expected',
    statistic,
    freedom: [freedom],
    p: Math.min(1, 2 * Math.min(below, 1 - below)),
    ratio,
  };
}

/** Lag-one products of one chip axis against their mean and variance under M. */
function serialTest(
  { count }: Data,
  { groupOf, slot, U, residuals }: ResidualSpace,
  component: number,
): Omit<ResidualTest, 'name'> {
  if (count < FEWEST_IN_ORDER) return { verdict: 'cannot_tell', why: 'too_few' };
  const row = (t: number) => t * ROWS + component;
  const inside = (t: number) => t >= 0 && t < count;
  /** Entry of ⊕B between this axis in two readings. */
  const b = (t: number, s: number): number => {
    const group = groupOf[t];
    if (!group || group !== groupOf[s]) return 0;
    const { rows, members, B } = group;
    return B[(slot[t]! * rows + component) * rows * members.length + slot[s]! * rows + component]!;
  };
  // A has ½ beside its diagonal: V = A U row by row, and (BA)_ts = ½ (b(t, s−1) + b(t, s+1))
  const u = Array.from({ length: count }, (_, t) => rowOf(U, row(t)));
  const V = u.map((_, t) => {
    const [before, after] = [u[t - 1], u[t + 1]];
    const mean = new Float64Array(U.length);
    for (let k = 0; k < mean.length; k++) mean[k] = ((before?.[k] ?? 0) + (after?.[k] ?? 0)) / 2;
    return mean;
  });
  const BA = (t: number, s: number) => (b(t, s - 1) + b(t, s + 1)) / 2;

  let [product, size, mean, square] = [0, 0, 0, 0];
  const UAU = new Float64Array(U.length ** 2);
  for (let t = 0; t < count; t++) {
    const r = residuals[row(t)]!;
    size += r * r;
    if (t > 0) {
      product += r * residuals[row(t - 1)]!;
      mean += b(t, t - 1);
    }
    mean -= inner(u[t]!, V[t]!);
    addProduct(UAU, u[t]!, V[t]!);
    const { members } = groupOf[t]!;
    for (const s of new Set(members.flatMap((k) => [k - 1, k + 1]).filter(inside))) {
      square += BA(t, s) * BA(s, t);
    }
    for (const s of members) square -= 2 * b(t, s) * inner(V[t]!, V[s]!);
  }
  // Uᵀ A U is symmetric
  square += inner(UAU, UAU);
  if (!(square > 0 && size > 0)) return { verdict: 'cannot_tell', why: 'too_few' };
  const statistic = (product - mean) / Math.sqrt(2 * square);
  return {
    verdict: 'as_expected',
    statistic,
    freedom: [],
    p: 1 - chiSquareProbability(statistic ** 2, 1),
    correlation: (product - mean) / size,
  };
}

/** F-test of some of the terms: of `count` from `first` on. */
function addedTermsTest(
  { left, whole, residuals, variances }: ResidualSpace,
  first: number,
  count: number,
  span: number | undefined,
): Omit<ResidualTest, 'name'> {
  // each term in units of its own length, so that what is left of it compares with one
  const size = whole.slice(first, first + count).map((square) => 1 / Math.sqrt(square || 1));
  const Z = left.slice(first, first + count).map((v, i) => v.map((value) => value * size[i]!));
  const information = Matrix.zeros(count, count);
  Z.forEach((v, i) => Z.forEach((w, c) => information.set(i, c, c < i ? 0 : inner(v, w))));
  for (let i = 0; i < count; i++) {
    for (let c = 0; c < i; c++) information.set(i, c, information.get(c, i));
  }
  const score = Z.map((v) => inner(v, residuals));
  const { realEigenvalues, eigenvectorMatrix } = new EigenvalueDecomposition(information, {
    assumeSymmetric: true,
  });
  let [fall, k] = [0, 0];
  const share = [0, 0, 0];
  const coefficients = score.map(() => 0);
  realEigenvalues.forEach((value, e) => {
    if (value < FOLLOWED) return;
    const v = eigenvectorMatrix.getColumn(e);
    const along = v.reduce((sum, x, i) => sum + x * score[i]!, 0);
    fall += along ** 2 / value;
    k += 1;
    for (let row = 0; row < residuals.length; row++) {
      let z = 0;
      for (let i = 0; i < count; i++) z += v[i]! * Z[i]![row]!;
      share[KINDS.indexOf(kindOf(row % ROWS))]! += z ** 2 / value;
    }
    v.forEach((x, i) => (coefficients[i]! += (x * size[i]! * along) / value));
  });
  if (k === 0) return { verdict: 'cannot_tell', why: 'in_the_model' };
  const mean = Matrix.columnVector(share.map((value) => value / k));
  const scatter = mean.transpose().mmul(variances).mmul(mean).get(0, 0);
  const all = Math.min(1e6, 1 / scatter);
  if (all - k < FEWEST) return { verdict: 'cannot_tell', why: 'too_few' };
  // the noise was found so that the squares equal their degrees of freedom, these terms' part among them
  const rest = Math.max(1e-9, all - fall);
  const statistic = fall / k / (rest / (all - k));
  return {
    verdict: 'as_expected',
    statistic,
    freedom: [k, all - k],
    p: fisherTail(statistic, k, all - k),
    ...(span !== undefined && k === count
      ? { change: coefficients.map((value) => value * span) as unknown as Vec3 }
      : {}),
  };
}

/** Adjusts the p-values after Holm, and gives the verdicts. */
function judged(tests: readonly ResidualTest[], level: number): ResidualTest[] {
  const told = tests.filter(({ p }) => p !== undefined);
  const holm = holmAdjusted(told.map(({ p }) => p!));
  const adjusted = new Map(told.map(({ name }, i) => [name, holm[i]]));
  return tests.map((test) => {
    const p = adjusted.get(test.name);
    return p === undefined
      ? test
      : { ...test, adjusted: p, verdict: p < level ? 'departs' : 'as_expected' };
  });
}
