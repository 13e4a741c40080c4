import { meanSquares, traceOf } from './covariance.ts';
import { DIP, type NoiseScales } from './calibration-problem.ts';
import type { Fit, FittedReading } from './fit.ts';
import {
  angleBetween,
  attitude,
  cross,
  direction,
  multiply,
  radians,
  transpose,
  turn,
  unit,
  wrap,
  type Mat3,
} from './geometry.ts';
import { applyCoefficients } from './model.ts';
import { leastTurning, type PlannedSighting } from './plan.ts';
import {
  gram,
  Joined,
  lessen,
  OWN,
  ROWS,
  scatterOf,
  tell,
  traceOfQuotient,
  type Sym2,
  type Told,
} from './reading-information.ts';
import type { Aim, Reading, Vec3 } from './reading.ts';

/**
 * The next reading that helps most, and how many are still needed.
 *
 * What is made small is Φ = tr(M C), the mean square standard error of azimuth × cos inclination over all attitudes: the
 * square of `Uncertainty.azimuth` (A-optimal design; Atkinson, Donev and Tobias 2007, Optimum experimental designs, with
 * SAS, chapter 10). Readings with rows X and the covariance V of those rows turn C into C − C Xᵀ (V + X C Xᵀ)⁻¹ X C
 * and lower Φ by
 *
 *   tr( (V + X C Xᵀ)⁻¹ X C M C Xᵀ )
 *
 * (Fedorov 1972, Theory of optimal experiments, for one row). Each line's candidates share two small Gram matrices, of X
 * in C and in C M C, from which any single reading or pair is judged without touching C again.
 *
 * One reading alone along a new line says nothing of the sight axis: only the second one does. So pairs along a line are
 * weighed beside single readings, by the fall of log Φ per reading, and the better half of the best pair is taken first.
 * Nothing binds the choice after it, which is weighed afresh.
 *
 * Φ does not depend on the counts still to come (to first order), so a whole plan can be made before any reading exists.
 */

/** What is known of an instrument so far. Plain data. */
export interface Knowledge {
  /** Forward parameters as in calibration-problem.ts, and their covariance (width × width, row by row). */
  theta: readonly number[];
  covariance: readonly number[];
  /** Of a reading: counts over scale per axis, and radians of aim. */
  noise: NoiseScales;
  /** Sightings begun, with the attitude (body to world) of each reading taken. */
  begun: readonly BegunSighting[];
}

export interface BegunSighting {
  name: string;
  attitudes: readonly Mat3[];
}

/** Where readings may be taken: every direction at every roll. Radians. */
export interface Candidates {
  directions: readonly { azimuth: number; inclination: number }[];
  rolls: readonly number[];
}

export interface NextReading {
  /** Radians. Along a vertical line azimuth is zero by convention, and roll is counted from there. */
  aim: Required<Aim>;
  /** The sighting it belongs to: one begun before, or a number not yet used. */
  sighting: string;
  /** True where it is the first of a new sighting. */
  opens: boolean;
  /** Standard error of azimuth × cos inclination over all attitudes once it is taken, radians. */
  azimuth: number;
}

export interface Forecast {
  /** Standard error of azimuth × cos inclination over all attitudes as it stands, radians. */
  now: number;
  /** The readings that follow, each the best after those before it. */
  readings: NextReading[];
  /** How many of them reach what was wanted; absent where all of them do not. */
  needed?: number;
}

/** Aiming error before anything is known of it: common practice by hand at a mark some metres off. */
const AIM = radians(0.1);
/**
 * How little is known before the first reading, one standard deviation: gains and cross terms, offsets, dip (radians)
 * and curvature. Several times what chips do, so that readings soon outweigh it: by the time all is determined it
 * changes the figure by less than one part in ten thousand.
 */
const UNKNOWN = { gain: 0.5, accOffset: 0.5, magOffset: 2, dip: 0.5, curvature: 0.2 };
/** How far the sight may be off the mounting's axis where no sighting shows it: one standard deviation each way. */
const SIGHT_UNKNOWN = radians(5);
/** A new line nearer than this to one begun would tell less than the line itself. */
const SAME_LINE = radians(10);
/** A roll nearer than this to one taken repeats it. */
const SAME_ROLL = radians(20);
/** A sight nearer than this to the vertical is aimed as vertical. */
const VERTICAL = radians(3);
/** A choice must be better by more than rounding, so that of equals the first is taken. */
const BETTER = 1 + 1e-7;

/** Faces, corners and edges of a cube, 26 directions, at eight rolls an eighth of a turn apart. */
export function spreadAims(): Candidates {
  const steps = [0, 1, -1];
  const directions = steps
    .flatMap((x) => steps.flatMap((y) => steps.map((z): Vec3 => [x, y, z])))
    .filter((v) => v.some((c) => c !== 0))
    .map(aimAlong);
  return { directions, rolls: [0, 1, 2, 3, 4, 5, 6, 7].map((eighth) => (eighth * Math.PI) / 4) };
}

/** What a fit knows. @param readings those given to the fit, in its order */
export function knowledgeFrom(
  fit: Pick<Fit, 'coefficients' | 'noise' | 'uncertainty'> & {
    readings: readonly Pick<FittedReading, 'sighting' | 'used'>[];
  },
  readings: readonly Reading[],
): Knowledge {
  const { coefficients, noise, uncertainty } = fit;
  const begun = new Map<string, Mat3[]>();
  readings.forEach(({ acc, mag }, i) => {
    // the fit's own word for it: it may have found the sightings itself
    const { sighting, used } = fit.readings[i]!;
    if (sighting === undefined || !used) return;
    const { g, b } = applyCoefficients(coefficients, acc, mag);
    const [down, east] = [unit(g), unit(cross(g, b))];
    const taken: Mat3 = [...cross(east, down), ...east, ...down];
    // a reading without an attitude tells nothing of where its line points
    if (taken.every(Number.isFinite)) begun.set(sighting, [...(begun.get(sighting) ?? []), taken]);
  });
  return {
    theta: uncertainty.theta,
    covariance: noise.aim === undefined ? withSightUnknown(uncertainty) : uncertainty.covariance,
    noise: {
      acc: noise.acc / coefficients.accScale,
      mag: noise.mag / coefficients.magScale,
      aim: noise.aim ?? AIM,
    },
    begun: [...begun].map(([name, attitudes]) => ({ name, attitudes })),
  };
}

/**
 * What is known before any fit: chips that sit as the body does, with no offsets, and next to no certainty of it.
 *
 * @param noise counts over scale per axis; aim in radians, 0.1° if not given
 * @param dip of the field at the place, radians, down positive
 * @throws RangeError where the field is vertical: no azimuth has a meaning there
 */
export function nominalKnowledge({
  noise,
  dip,
  model = 'straight',
}: {
  noise: { acc: number; mag: number; aim?: number };
  dip: number;
  model?: 'straight' | 'bowed';
}): Knowledge {
  if (!(Math.abs(dip) < radians(89.9))) {
    throw new RangeError('azimuth has no meaning where the field is vertical');
  }
  const width = model === 'bowed' ? DIP + 4 : DIP + 1;
  const theta = new Array<number>(width).fill(0);
  const covariance = new Array<number>(width * width).fill(0);
  for (let i = 0; i < width; i++) {
    let deviation = UNKNOWN.gain;
    if (i > DIP) deviation = UNKNOWN.curvature;
    else if (i === DIP) deviation = UNKNOWN.dip;
    else if (i % 4 === 3) deviation = i < 12 ? UNKNOWN.accOffset : UNKNOWN.magOffset;
    else if (i % 4 === Math.floor((i % 12) / 4)) theta[i] = 1;
    covariance[i * width + i] = deviation ** 2;
  }
  theta[DIP] = dip;
  return { theta, covariance, noise: { aim: AIM, ...noise }, begun: [] };
}

/** What will be known after more readings. A reading without a sighting is a free attitude. */
export function knowledgeAfter(
  { theta, covariance, noise, begun }: Knowledge,
  taken: readonly { sighting?: string; attitude: Mat3 }[],
): Knowledge {
  const lines = begun.map(({ name, attitudes }) => ({
    name,
    attitudes: [...attitudes],
    old: attitudes.length,
  }));
  const free: Mat3[] = [];
  for (const { sighting, attitude } of taken) {
    if (sighting === undefined) free.push(attitude);
    else {
      const line = lines.find(({ name }) => name === sighting);
      if (line) line.attitudes.push(attitude);
      else lines.push({ name: sighting, attitudes: [attitude], old: 0 });
    }
  }
  const C = Float64Array.from(covariance);
  const told = tell(theta, noise, [
    ...lines.map(({ attitudes }) => attitudes),
    ...free.map((one) => [one]),
  ]);
  told.forEach((line, k) => {
    const joined = new Joined(theta.length);
    const { old, attitudes } = lines[k] ?? { old: 0, attitudes: [free[k - lines.length]] };
    attitudes.forEach((_, j) => {
      const added = joined.join(line, j);
      if (j >= old) lessen(C, added);
    });
  });
  return {
    theta,
    covariance: [...C],
    noise,
    begun: lines.map(({ name, attitudes }) => ({ name, attitudes })),
  };
}

/**
 * The reading that helps most.
 *
 * @returns undefined where every candidate is taken
 */
export function nextReading(
  knowledge: Knowledge,
  candidates: Candidates = spreadAims(),
): NextReading | undefined {
  const prospect = new Prospect(knowledge, candidates);
  const choice = prospect.best();
  return choice && prospect.take(choice);
}

/**
 * How many more readings, each the best one after those before it, until the standard error of azimuth × cos inclination
 * is at most `wanted` (radians). The noise is taken to stay as it is.
 *
 * @param most give up after so many
 */
export function readingsNeeded(
  knowledge: Knowledge,
  wanted: number,
  { most = 56, candidates = spreadAims() }: { most?: number; candidates?: Candidates } = {},
): Forecast {
  const prospect = new Prospect(knowledge, candidates);
  const now = prospect.azimuth;
  const readings: NextReading[] = [];
  while (!(prospect.azimuth <= wanted)) {
    const left = most - readings.length;
    const choice = left > 0 ? prospect.best(left) : undefined;
    if (!choice) return { now, readings };
    readings.push(prospect.take(choice));
  }
  return { now, readings, needed: readings.length };
}

/**
 * A plan of `count` readings, each the best after those before it, put in the order of least turning from line to line
 * (in the order in which they were opened where there are more than 16 lines).
 *
 * @returns the plan, and the standard error of azimuth × cos inclination that it leads to, radians
 */
export function advisedPlan(
  count: number,
  knowledge: Knowledge,
  candidates: Candidates = spreadAims(),
): { plan: PlannedSighting[]; azimuth: number } {
  const { now, readings } = readingsNeeded(knowledge, 0, { most: count, candidates });
  const lines = new Map<
    string,
    { fresh: boolean; azimuth: number; inclination: number; rolls: number[] }
  >();
  for (const { sighting, opens, aim } of readings) {
    const line = lines.get(sighting);
    if (line) line.rolls.push(aim.roll);
    else lines.set(sighting, { fresh: opens, ...aim, rolls: [aim.roll] });
  }
  const along = ({ azimuth, inclination }: { azimuth: number; inclination: number }) =>
    direction(azimuth, inclination);
  const fromStart = (line: { azimuth: number; inclination: number }) =>
    angleBetween([1, 0, 0], along(line));
  let order = [...lines];
  if (order.length > 0 && order.length <= 16) {
    order.sort(([, a], [, b]) => fromStart(a) - fromStart(b));
    order = leastTurning(order.map(([, line]) => along(line))).map((i) => order[i]!);
  }
  const names = new Set(knowledge.begun.map(({ name }) => name));
  return {
    plan: order.map(([name, { fresh, azimuth, inclination, rolls }]) => ({
      name: fresh ? freshName(names) : name,
      azimuth,
      inclination,
      rolls: rolls.sort((a, b) => a - b),
    })),
    azimuth: readings.at(-1)?.azimuth ?? now,
  };
}

/** A line, the readings that may be taken along it, and what those taken say. */
interface Line {
  azimuth: number;
  inclination: number;
  /** Absent until it is opened. */
  name?: string;
  joined: Joined;
  rolls: number[];
  free: boolean[];
  told: Told;
}

interface Choice {
  line: Line;
  roll: number;
}

/** What lies ahead: a covariance that shrinks as readings are chosen. */
class Prospect {
  readonly #width: number;
  readonly #C: Float64Array;
  readonly #M: Float64Array;
  readonly #lines: Line[];
  readonly #names: Set<string>;
  #phi: number;

  constructor({ theta, covariance, noise, begun }: Knowledge, candidates: Candidates) {
    this.#width = theta.length;
    this.#C = Float64Array.from(covariance);
    this.#M = meanSquares(theta).azimuth;
    this.#phi = traceOf(this.#M, this.#C);
    this.#names = new Set(begun.map(({ name }) => name));

    const old = begun.map(({ name, attitudes }) => {
      const aim = aimAlong(meanSight(attitudes));
      const taken = attitudes.map((R) => rollAlong(aim, R));
      const free = (roll: number) =>
        taken.every((other) => Math.abs(turn(other, roll)) > SAME_ROLL);
      return { name, ...aim, attitudes, rolls: candidates.rolls.filter(free) };
    });
    const ways = old.map(({ azimuth, inclination }) => direction(azimuth, inclination));
    const fresh = candidates.directions
      .filter(({ azimuth, inclination }) => {
        const way = direction(azimuth, inclination);
        return ways.every((other) => angleBetween(way, other) > SAME_LINE);
      })
      .map((aim) => ({ ...aim, attitudes: [], rolls: [...candidates.rolls] }));
    const lines = [...old, ...fresh];
    const told = tell(
      theta,
      noise,
      lines.map(({ azimuth, inclination, rolls, attitudes }) => [
        ...rolls.map((roll) => attitude(azimuth, inclination, roll)),
        ...attitudes,
      ]),
    );
    this.#lines = lines.map(({ attitudes, ...line }, k) => {
      const joined = new Joined(this.#width);
      attitudes.forEach((_, j) => joined.join(told[k]!, line.rolls.length + j));
      return { ...line, joined, free: line.rolls.map(() => true), told: told[k]! };
    });
  }

  /** Standard error of azimuth × cos inclination over all attitudes, radians. */
  get azimuth(): number {
    return Math.sqrt(Math.max(0, this.#phi));
  }

  /**
   * The best single reading, or the better half of the best pair along one line where that promises more each.
   *
   * @param left how many readings are still to be taken, where that is known: the last one has no other half
   */
  best(left = Infinity): Choice | undefined {
    const Q = gram(this.#C, this.#M, this.#width);
    let top = 0;
    let choice: Choice | undefined;
    const better = (fall: number, readings: number) => {
      // the whole of Φ is never gained; rounding may say so
      const score = -Math.log(Math.max(1e-12, 1 - fall / this.#phi)) / readings;
      if (!(score > top * BETTER)) return false;
      top = score;
      return true;
    };
    for (const line of this.#lines) {
      const grams = new Grams(line, this.#C, Q);
      const free = line.rolls.flatMap((_, i) => (line.free[i] ? [i] : []));
      const single = new Map(free.map((i) => [i, grams.fall([i])]));
      for (const [roll, fall] of single) if (better(fall, 1)) choice = { line, roll };
      if (left < 2) continue;
      for (const a of free) {
        for (const b of free) {
          if (b <= a || !better(grams.fall([a, b]), 2)) continue;
          choice = { line, roll: single.get(b)! > single.get(a)! * BETTER ? b : a };
        }
      }
    }
    return choice;
  }

  take({ line, roll }: Choice): NextReading {
    lessen(this.#C, line.joined.join(line.told, roll));
    this.#phi = traceOf(this.#M, this.#C);
    line.free[roll] = false;
    const opens = line.name === undefined;
    line.name ??= freshName(this.#names);
    const { azimuth, inclination } = line;
    return {
      aim: { azimuth, inclination, roll: line.rolls[roll]! },
      sighting: line.name,
      opens,
      azimuth: this.azimuth,
    };
  }
}

/** Gram matrices of a line's rows in C and in Q = C M C, and the fall of Φ that readings along it bring. */
class Grams {
  readonly #size: number;
  readonly #inC: Float64Array;
  readonly #inQ: Float64Array;
  /** Where the line's mean K̄ stands among the rows. */
  readonly #mean: number;

  constructor(
    private readonly line: Line,
    C: Float64Array,
    Q: Float64Array,
  ) {
    const { rolls, told, joined } = line;
    const width = joined.mean.length / 2;
    this.#mean = rolls.length * ROWS;
    this.#size = this.#mean + 2;
    const rows = new Float64Array(this.#size * width);
    rows.set(told.rows.subarray(0, this.#mean * width));
    rows.set(joined.mean, this.#mean * width);
    this.#inC = gram(rows, C, width);
    this.#inQ = gram(rows, Q, width);
  }

  /**
   * How much Φ falls by readings at these rolls (indices), no more than two.
   *
   * Their rows: N of each; and K less a reference, which is K̄ of the readings taken along the line or, where there are
   * none, the first reading's own K. The reference's covariance is shared by all that are compared with it.
   */
  fall(rolls: readonly number[]): number {
    const { told, joined } = this.line;
    const begun = joined.count > 0;
    const compared = begun ? rolls : rolls.slice(1);
    const reference = begun ? this.#mean : rolls[0]! * ROWS + OWN;
    const shared = begun ? joined.scatter : scatterOf(told, rolls[0]!);
    const own = rolls.length * OWN;
    const n = own + compared.length * 2;
    const rows = [
      ...rolls.flatMap((roll) => [0, 1, 2].map((i) => roll * ROWS + i)),
      ...compared.flatMap((roll) => [roll * ROWS + OWN, roll * ROWS + OWN + 1]),
    ];
    const P = this.#differences(this.#inC, rows, own, reference);
    const T = this.#differences(this.#inQ, rows, own, reference);
    for (let i = 0; i < own; i++) P[i * n + i]! += 1;
    const addTo = (at: number, [xx, xy, yy]: Sym2) => {
      P[at]! += xx;
      P[at + 1]! += xy;
      P[at + n]! += xy;
      P[at + n + 1]! += yy;
    };
    compared.forEach((roll, i) => {
      addTo((own + 2 * i) * (n + 1), scatterOf(told, roll));
      compared.forEach((_, k) => addTo((own + 2 * i) * n + own + 2 * k, shared));
    });
    return traceOfQuotient(P, T, n);
  }

  /** The Gram matrix of some rows, those from `own` on less the reference's two rows by turns. */
  #differences(
    gram: Float64Array,
    rows: readonly number[],
    own: number,
    reference: number,
  ): Float64Array {
    const n = rows.length;
    const size = this.#size;
    const out = new Float64Array(n * n);
    for (let i = 0; i < n; i++) {
      const a = rows[i]!;
      const p = i < own ? -1 : reference + ((i - own) % 2);
      for (let k = 0; k <= i; k++) {
        const b = rows[k]!;
        const q = k < own ? -1 : reference + ((k - own) % 2);
        let value = gram[a * size + b]!;
        if (p >= 0) value -= gram[p * size + b]!;
        if (q >= 0) value -= gram[a * size + q]!;
        if (p >= 0 && q >= 0) value += gram[p * size + q]!;
        out[i * n + k] = value;
        out[k * n + i] = value;
      }
    }
    return out;
  }
}

/** The least whole number that names no sighting yet; noted as used. */
function freshName(names: Set<string>): string {
  let number = 1;
  while (names.has(String(number))) number++;
  names.add(String(number));
  return String(number);
}

/** Azimuth and inclination of a direction; azimuth is zero where it is as good as vertical. */
function aimAlong([north, east, down]: Vec3): { azimuth: number; inclination: number } {
  const level = Math.hypot(north, east);
  const inclination = Math.atan2(-down, level);
  return Math.abs(Math.abs(inclination) - Math.PI / 2) < VERTICAL
    ? { azimuth: 0, inclination: Math.sign(inclination) * (Math.PI / 2) }
    : { azimuth: wrap(Math.atan2(east, north)), inclination };
}

function meanSight(attitudes: readonly Mat3[]): Vec3 {
  const sum = [0, 0, 0];
  for (const R of attitudes) [0, 3, 6].forEach((at, i) => (sum[i]! += R[at]!));
  return sum as unknown as Vec3;
}

/** Roll of an attitude about the line it was taken along: good for vertical lines too. */
function rollAlong(aim: { azimuth: number; inclination: number }, R: Mat3): number {
  const about = multiply(transpose(attitude(aim.azimuth, aim.inclination, 0)), R);
  return wrap(Math.atan2(about[7] - about[5], about[4] + about[8]));
}

/**
 * The covariance with the sight's uncertainty put in: a fit without sightings leaves it out, as its sight is that of the
 * mounting. Turning the body about y or z turns every row of F and H as a vector.
 */
function withSightUnknown({ theta, covariance }: Fit['uncertainty']): number[] {
  const width = theta.length;
  const out = [...covariance];
  for (const axis of [
    [0, 1, 0],
    [0, 0, 1],
  ] as const) {
    const v = new Float64Array(width);
    for (let row = 0; row < DIP; row += 4) {
      v.set(cross(axis, [theta[row]!, theta[row + 1]!, theta[row + 2]!]), row);
    }
    for (let i = 0; i < width; i++) {
      for (let c = 0; c < width; c++) out[i * width + c]! += SIGHT_UNKNOWN ** 2 * v[i]! * v[c]!;
    }
  }
  return out;
}
