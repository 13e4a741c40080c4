import {
  CalibrationProblem,
  DIP,
  type NoiseScales,
  type Observations,
} from './calibration-problem.ts';
import { uncertaintyFrom, type Uncertainty } from './covariance.ts';
import { extent, fitEllipsoid } from './ellipsoid.ts';
import {
  angleBetween,
  attitude,
  cross,
  degrees,
  inverse,
  sightDirection,
  unit,
  type Mat3,
} from './geometry.ts';
import { applyCoefficients, asStored, mountingMatrix, type Coefficients } from './model.ts';
import { chiSquareQuantile } from './quantiles.ts';
import type { Mounting, Reading, Vec3 } from './reading.ts';
import { levenbergMarquardt, type SolverSummary, type Stop } from './solver.ts';
import { directionStatistics } from './spread.ts';
import { closedFormStart, rollZero, type Evidence } from './start.ts';

export type { Stop } from './solver.ts';
export type { Uncertainty } from './covariance.ts';

/** From readings to coefficients that can be judged: the whole estimate of one calibration. */

export interface FitOptions {
  /** `straight` (default) has 24 coefficients; `bowed` has three more, the accelerometer's curvature. */
  model?: 'straight' | 'bowed';
  /** Counts that make u of order one; from the board's declaration. Else the ellipsoid's radius, with a warning. */
  scales?: { acc: number; mag: number };
  /** Standard deviation of a reading per axis, counts, as the board declares it: a start, not a truth. */
  noise?: { acc: number; mag: number };
  /** How the chips sit, as declared. */
  mounting?: { acc: Mounting; mag: Mounting };
  /** Whether the plan's azimuths count from magnetic north, or only from each other. Default: absolute. */
  planAzimuths?: 'absolute' | 'relative';
  /** Sign of the dip at this place: +1 where the field points down (most of the northern hemisphere). */
  dipSign?: 1 | -1;
  /** Set bad readings aside by itself (default), or use every reading given. */
  screening?: boolean;
}

/** One reading, seen through the coefficients. Angles in radians; an angle without meaning is absent. */
export interface FittedReading {
  id: string;
  sighting?: string;
  /** False where the reading was set aside: the fit never saw it. */
  used: boolean;
  azimuth?: number;
  inclination?: number;
  roll?: number;
  /** Lengths of the calibrated vectors; one where all is well. */
  gravity: number;
  field: number;
  dip?: number;
  /** Raw counts less what the fitted attitude predicts. Absent where not used. */
  accResidual?: Vec3;
  magResidual?: Vec3;
  /** Angle between this reading's sight and its sighting's mean direction. Absent where not used, or alone. */
  aimError?: number;
  /** Leverage-aware size of the residuals: about one is normal, over two and a half is not. Absent where not used. */
  misfit?: number;
}

export interface SightingSpread {
  sighting: string;
  /** How many readings it is taken over. */
  n: number;
  /** √(Σθ²/(n−1)), θ the angle to the mean direction, radians. Absent for n < 2. */
  spread?: number;
}

export interface Fit {
  ok: true;
  /** Rounded to binary32, as a board stores them; all that follows is computed from these. */
  coefficients: Coefficients;
  /** Fitted dip, radians, down positive. */
  dip: number;
  /** Standard deviations found: counts, counts, radians. `aim` is absent without sightings. */
  noise: { acc: number; mag: number; aim?: number };
  readings: FittedReading[];
  sightings: SightingSpread[];
  /** Mean over the sightings that have a spread; absent without any. Of readings the fit saw. */
  meanSpread?: number;
  uncertainty: Uncertainty;
  setAside: { id: string; reason: string }[];
  stopped: Stop;
  /** Steps tried by the solver, over all its runs. */
  iterations: number;
  warnings: string[];
}

/**
 * - `too_few`: fewer readings than the unknowns need
 * - `undetermined`: the readings do not determine the answer, however many there are
 * - `ambiguous`: they leave more than one answer, and neither plan nor mounting tells which
 * - `contradiction`: the readings cannot be of one board at one place, or not in the order of the plan
 * - `not_converged`: the solver found no minimum
 */
export type RefusalCause =
  'too_few' | 'undetermined' | 'ambiguous' | 'contradiction' | 'not_converged';

export interface FitRefusal {
  ok: false;
  cause: RefusalCause;
  /** What is wrong, in words. */
  message: string;
  /** What to do next, in words. */
  next: string;
}

/** Aiming error before anything is known of it: common practice by hand at a mark some metres off. */
const AIM = (0.1 * Math.PI) / 180;
/** Noise per axis, over scale, where the board declares none. */
const NOISE = 0.003;
/** No component is taken to be finer than this: below, weights would outgrow the arithmetic. */
const FINEST: NoiseScales = { acc: 1e-8, mag: 1e-8, aim: 1e-8 };
/** A set without a bad reading has this chance of losing one to screening. */
const FALSE_ALARM = 0.01;
/** Most of the readings that screening may set aside: beyond, the set as a whole is in question. */
const MOST_SET_ASIDE = 0.25;
/** Standard error of azimuth × cos inclination, mean over all attitudes, over which nothing is determined. */
const HOPELESS = (10 * Math.PI) / 180;

/**
 * Fits coefficients to readings by maximum likelihood, with the noise found from the readings.
 *
 * @param readings finite counts, ids unique
 * @throws RangeError where an id comes twice, a count is not finite, or a mounting cannot be read
 */
export function fit(readings: readonly Reading[], options: FitOptions = {}): Fit | FitRefusal {
  demandUsable(readings);
  const warnings: string[] = [];
  const scales = options.scales ?? radii(readings);
  if (!options.scales) {
    warnings.push(
      `No scale was given; counts were divided by the radius of each sensor's ellipsoid (${round(scales.acc)} and ${round(scales.mag)}), and the coefficients hold only with these scales.`,
    );
  }
  const evidence: Evidence = {
    azimuths: options.planAzimuths ?? 'absolute',
    ...(options.dipSign ? { dipSign: options.dipSign } : {}),
    ...(options.mounting ? { mounting: matrices(options.mounting) } : {}),
  };
  const scaled = readings.map((reading) => ({
    ...reading,
    acc: over(reading.acc, scales.acc),
    mag: over(reading.mag, scales.mag),
  }));

  const start = closedFormStart(scaled, evidence);
  if ('cause' in start) return { ok: false, ...start };
  warnings.push(...start.warnings);

  let state = stateFrom(scaled, start, options.model ?? 'straight');
  let noise: NoiseScales = {
    acc: options.noise ? options.noise.acc / scales.acc : NOISE,
    mag: options.noise ? options.noise.mag / scales.mag : NOISE,
    aim: AIM,
  };
  const used = scaled.map(() => true);
  const setAside: string[] = [];
  let estimate: Estimate;
  let iterations = 0;
  for (;;) {
    estimate = refine(observe(scaled, used, start.sightFound), state, noise);
    iterations += estimate.summary.iterations;
    ({ noise } = estimate);
    state = estimate.state;
    if (options.screening === false || !estimate.checks) break;
    const worst = worstReading(estimate);
    if (worst === undefined) break;
    if (setAside.length + 1 > MOST_SET_ASIDE * readings.length) {
      warnings.push(
        'So many readings disagree that setting them aside one by one was stopped: the site, the board or the plan is in question as a whole.',
      );
      break;
    }
    const index = estimate.data.index[worst]!;
    used[index] = false;
    setAside.push(readings[index]!.id);
    state = without(state, worst);
  }

  const { summary, data } = estimate;
  if (summary.stopped === 'no_progress' || summary.stopped === 'iterations') {
    return {
      ok: false,
      cause: 'not_converged',
      message: `The solver found no best answer (${summary.stopped} after ${iterations} steps): the readings may not be of one board at one place.`,
      next: 'Look for readings taken while moving, near steel, or of another board, and leave them out.',
    };
  }

  // settle where roll is zero, then read everything off the coefficients that a board would hold
  const before = coefficientsOf(state.theta, scales);
  const kept = data.index.map((i) => readings[i]!);
  const seen = kept.map(({ acc, mag }) => applyCoefficients(before, acc, mag));
  state = turnedAboutSight(
    state,
    start.sightFound
      ? rollZero(seen, kept, { acc: before.A, mag: before.B }, evidence.mounting)
      : 0,
  );
  const problem = new CalibrationProblem(data, state.theta, state.attitudes);
  problem.noise = noise;
  const covariance = problem.covariance();
  const uncertainty =
    covariance && uncertaintyFrom([...state.theta], [...covariance], estimate.freedom);
  if (!uncertainty || !(uncertainty.azimuth < HOPELESS)) {
    return { ok: false, cause: 'undetermined', ...undetermined(state.theta, covariance) };
  }
  const coefficients = asStored(coefficientsOf(state.theta, scales));
  const residuals = problem.residuals();
  const dip = state.theta[DIP]!;

  const all = readings.map((reading) => viewOf(reading, coefficients));
  data.index.forEach((i, j) => {
    const part = (from: number, sigma: number, scale: number) =>
      Array.from(residuals.subarray(j * 8 + from, j * 8 + from + 3), (r) => r * sigma * scale);
    all[i]!.used = true;
    all[i]!.accResidual = part(0, noise.acc, scales.acc) as unknown as Vec3;
    all[i]!.magResidual = part(3, noise.mag, scales.mag) as unknown as Vec3;
    const chiSquare = estimate.checks?.[j];
    if (chiSquare !== undefined && Number.isFinite(chiSquare)) {
      all[i]!.misfit = Math.sqrt(chiSquare / freedomOf(data, j));
    }
  });
  const sightings = spreads(readings, all, coefficients);
  const withSpread = sightings.flatMap(({ spread }) => (spread === undefined ? [] : [spread]));
  return {
    ok: true,
    coefficients,
    dip,
    noise: {
      acc: noise.acc * scales.acc,
      mag: noise.mag * scales.mag,
      ...(data.sightings > 0 ? { aim: noise.aim } : {}),
    },
    readings: all,
    sightings,
    ...(withSpread.length > 0
      ? { meanSpread: withSpread.reduce((sum, spread) => sum + spread, 0) / withSpread.length }
      : {}),
    uncertainty,
    setAside: setAside.map((id) => ({
      id,
      reason: whyBad(id, readings, all, coefficients, dip, { ...noise }),
    })),
    stopped: summary.stopped,
    iterations,
    warnings,
  };
}

interface State {
  theta: Float64Array;
  attitudes: Float64Array;
}

interface Data extends Observations {
  /** Index of each observation in the readings given. */
  index: number[];
}

interface Estimate {
  data: Data;
  state: State;
  noise: NoiseScales;
  /** χ² of each observation's residuals; absent where the readings do not determine θ. */
  checks?: Float64Array;
  freedom: number;
  summary: SolverSummary;
}

function demandUsable(readings: readonly Reading[]): void {
  const ids = new Set<string>();
  for (const { id, acc, mag } of readings) {
    if (ids.has(id)) throw new RangeError(`reading ${id} comes twice`);
    ids.add(id);
    if (![...acc, ...mag].every(Number.isFinite)) {
      throw new RangeError(`reading ${id} holds a count that is not a finite number`);
    }
  }
}

function matrices({ acc, mag }: { acc: Mounting; mag: Mounting }): { acc: Mat3; mag: Mat3 } {
  const read = (mounting: Mounting) => {
    const matrix = mountingMatrix(mounting);
    if (!matrix) throw new RangeError(`'${mounting}' is not a mounting such as +y-x+z`);
    return matrix;
  };
  return { acc: read(acc), mag: read(mag) };
}

/** Radius of each sensor's ellipsoid, counts; where there is none, the extent of the points stands in. */
function radii(readings: readonly Reading[]): { acc: number; mag: number } {
  const radius = (points: Vec3[]) => {
    const ellipsoid = fitEllipsoid(points);
    return ellipsoid
      ? 3 / (ellipsoid.T[0] + ellipsoid.T[4] + ellipsoid.T[8])
      : extent(points).radius || 1;
  };
  return {
    acc: Math.fround(radius(readings.map(({ acc }) => acc))),
    mag: Math.fround(radius(readings.map(({ mag }) => mag))),
  };
}

const over = (v: Vec3, scale: number): Vec3 => [v[0] / scale, v[1] / scale, v[2] / scale];

const round = (value: number) => Number(value.toPrecision(6));

/** Forward parameters and one attitude per reading, from a first answer. */
function stateFrom(
  readings: readonly Reading[],
  start: { A: Mat3; o: Vec3; B: Mat3; p: Vec3; dip: number },
  model: 'straight' | 'bowed',
): State {
  // curvature starts at none
  const theta = new Float64Array(model === 'bowed' ? DIP + 4 : DIP + 1);
  const [F, H] = [inverse(start.A), inverse(start.B)];
  for (let i = 0; i < 3; i++) {
    theta.set([...F.slice(3 * i, 3 * i + 3), start.o[i]!], 4 * i);
    theta.set([...H.slice(3 * i, 3 * i + 3), start.p[i]!], 12 + 4 * i);
  }
  theta[DIP] = start.dip;
  const first: Coefficients = {
    model: 'straight',
    accScale: 1,
    magScale: 1,
    q: [0, 0, 0],
    ...start,
  };
  const attitudes = new Float64Array(readings.length * 9);
  readings.forEach(({ acc, mag }, j) => {
    const { g, b } = applyCoefficients(first, acc, mag);
    const east = cross(g, b);
    // a reading whose two vectors are parallel has no attitude; the solver finds one from any start
    if (Math.hypot(...east) < 1e-6) {
      attitudes.set(attitude(0, 0, 0), j * 9);
      return;
    }
    const [down, e] = [unit(g), unit(east)];
    attitudes.set([...cross(e, down), ...e, ...down], j * 9);
  });
  return { theta, attitudes };
}

function coefficientsOf(theta: Float64Array, scales: { acc: number; mag: number }): Coefficients {
  const matrix = (from: number) =>
    inverse(
      [0, 4, 8].flatMap((i) => [...theta.subarray(from + i, from + i + 3)]) as unknown as Mat3,
    );
  const vector = (from: number): Vec3 => [theta[from]!, theta[from + 4]!, theta[from + 8]!];
  const bowed = theta.length > DIP + 1;
  return {
    model: bowed ? 'bowed' : 'straight',
    accScale: scales.acc,
    magScale: scales.mag,
    o: vector(3),
    A: matrix(0),
    p: vector(15),
    B: matrix(12),
    q: bowed ? ([...theta.subarray(DIP + 1)] as unknown as Vec3) : [0, 0, 0],
  };
}

/** The used readings as the problem wants them; a sighting needs two of them to say anything. */
function observe(
  readings: readonly Reading[],
  used: readonly boolean[],
  sightFound: boolean,
): Data {
  const index = readings.flatMap((_, i) => (used[i] ? [i] : []));
  const sizes = new Map<string, number>();
  for (const i of index) {
    const { sighting } = readings[i]!;
    if (sighting !== undefined) sizes.set(sighting, (sizes.get(sighting) ?? 0) + 1);
  }
  const numbers = new Map<string, number>();
  const numberOf = (sighting: string | undefined) => {
    if (sighting === undefined || !sightFound || sizes.get(sighting)! < 2) return -1;
    if (!numbers.has(sighting)) numbers.set(sighting, numbers.size);
    return numbers.get(sighting)!;
  };
  return {
    index,
    count: index.length,
    acc: Float64Array.from(index.flatMap((i) => [...readings[i]!.acc])),
    mag: Float64Array.from(index.flatMap((i) => [...readings[i]!.mag])),
    sighting: Int32Array.from(index.map((i) => numberOf(readings[i]!.sighting))),
    sightings: numbers.size,
  };
}

/** Degrees of freedom of one reading's residuals once its own attitude is taken out of them. */
const freedomOf = (data: Data, j: number) => (data.sighting[j]! < 0 ? 3 : 5);

/** Change of log σ under which a component stands: far under what 56 readings tell of it (some 7 %). */
const STANDS = 2e-3;

/**
 * Solves for θ, and for the noise beside it: variance components by σ² ← σ² vᵀv / r, r the redundancy of the group's
 * residuals (Förstner 1979, Ein Verfahren zur Schätzung von Varianz- und Kovarianzkomponenten), repeated until they
 * stand. At that point each group's weighted squares equal its redundancy, as restricted maximum likelihood has it.
 * The repetition converges linearly, so each component is carried on as its last two changes promise (Aitken).
 */
function refine(data: Data, from: State, first: NoiseScales): Estimate {
  const problem = new CalibrationProblem(data, from.theta, from.attitudes);
  const floor = 1e-12 * data.count;
  const noise = { ...first };
  const before = { acc: 0, mag: 0, aim: 0 };
  let iterations = 0;
  const run = (tolerance: number) => {
    problem.noise = noise;
    const summary = levenbergMarquardt(problem, { floor, tolerance, lambda: 1e-9 });
    iterations += summary.iterations;
    return summary;
  };
  for (let round = 0; round < 30; round++) {
    // a tenth of a standard error is near enough while the weights still move
    const { cost } = run(1e-5);
    const leverage = problem.leverage();
    if (!leverage || cost <= floor) break;
    const groups = byGroup(data, problem.residuals(), leverage.hat);
    let change = 0;
    for (const group of GROUPS) {
      const { squares, freedom } = groups[group];
      if (freedom < 1) continue; // too little to tell; what was declared stays
      const step = Math.log(squares / freedom) / 2;
      change = Math.max(change, Math.abs(step));
      const ratio = step / before[group];
      const further = ratio > 0 && ratio < 0.8 ? step / (1 - ratio) : step;
      before[group] = further === step ? step : 0;
      noise[group] = Math.max(FINEST[group], noise[group] * Math.exp(further));
    }
    if (change < STANDS) break;
  }
  const summary = run(1e-14);
  const leverage = problem.leverage();
  const groups = leverage && byGroup(data, problem.residuals(), leverage.hat);
  return {
    data,
    noise,
    state: { theta: problem.theta, attitudes: problem.attitudes },
    freedom: groups ? GROUPS.reduce((sum, group) => sum + groups[group].freedom, 0) : 0,
    summary: { ...summary, iterations },
    ...(leverage ? { checks: leverage.chiSquare } : {}),
  };
}

const GROUPS = ['acc', 'mag', 'aim'] as const;

/** Sum of squares of the weighted residuals of each kind, and their redundancy. */
function byGroup(data: Data, residuals: Float64Array, hat: Float64Array) {
  const groups = {
    acc: { squares: 0, freedom: 0 },
    mag: { squares: 0, freedom: 0 },
    aim: { squares: 0, freedom: 0 },
  };
  for (let j = 0; j < data.count; j++) {
    for (let i = 0; i < 8; i++) {
      if (i >= 6 && data.sighting[j]! < 0) continue;
      const group = groups[i < 3 ? 'acc' : i < 6 ? 'mag' : 'aim'];
      group.squares += residuals[j * 8 + i]! ** 2;
      group.freedom += 1 - hat[j * 8 + i]!;
    }
  }
  return groups;
}

/**
 * The observation that agrees least with the others, where it disagrees too much to be chance. Its χ² is held against
 * the median of all, since bad readings swell the noise found and would else hide each other.
 */
function worstReading({ data, checks }: Estimate): number | undefined {
  // one pair of quantiles for free attitudes, one for readings in a sighting
  const quantiles = new Map(
    [3, 5].map((freedom) => [
      freedom,
      {
        middle: chiSquareQuantile(0.5, freedom),
        limit: chiSquareQuantile(1 - FALSE_ALARM / data.count, freedom),
      },
    ]),
  );
  const ratios = Array.from(
    checks!,
    (chiSquare, j) => chiSquare / quantiles.get(freedomOf(data, j))!.middle,
  );
  const middle = Math.min(1, median(ratios.filter(Number.isFinite)));
  let worst: number | undefined;
  let most = 1;
  checks!.forEach((chiSquare, j) => {
    const excess = chiSquare / middle / quantiles.get(freedomOf(data, j))!.limit;
    if (excess > most) [worst, most] = [j, excess];
  });
  return worst;
}

function median(values: number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted.length === 0 ? 1 : sorted[Math.floor(sorted.length / 2)]!;
}

/** The state less one observation. */
function without({ theta, attitudes }: State, j: number): State {
  const left = new Float64Array(attitudes.length - 9);
  left.set(attitudes.subarray(0, j * 9));
  left.set(attitudes.subarray(j * 9 + 9), j * 9);
  return { theta, attitudes: left };
}

/** The same answer with every roll greater by `angle`. */
function turnedAboutSight({ theta, attitudes }: State, angle: number): State {
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  // a body vector v becomes T v, so that F becomes F Tᵀ and each attitude R Tᵀ: rows turn alike
  const turnRow = (v: Float64Array, at: number) => {
    const [y, z] = [v[at + 1]!, v[at + 2]!];
    v[at + 1] = c * y + s * z;
    v[at + 2] = c * z - s * y;
  };
  const next = { theta: theta.slice(), attitudes: attitudes.slice() };
  for (let row = 0; row < DIP; row += 4) turnRow(next.theta, row);
  for (let row = 0; row < attitudes.length; row += 3) turnRow(next.attitudes, row);
  return next;
}

function viewOf({ id, sighting, acc, mag }: Reading, coefficients: Coefficients): FittedReading {
  const { azimuth, inclination, roll, gravity, field, dip } = applyCoefficients(
    coefficients,
    acc,
    mag,
  );
  return {
    id,
    used: false,
    gravity,
    field,
    ...(sighting === undefined ? {} : { sighting }),
    ...(azimuth === undefined ? {} : { azimuth }),
    ...(inclination === undefined ? {} : { inclination }),
    ...(roll === undefined ? {} : { roll }),
    ...(dip === undefined ? {} : { dip }),
  };
}

/** Spread of each sighting over the readings the fit saw; notes each of those readings' own aiming error. */
function spreads(
  readings: readonly Reading[],
  all: readonly FittedReading[],
  coefficients: Coefficients,
): SightingSpread[] {
  const members = new Map<string, number[]>();
  readings.forEach(({ sighting }, i) => {
    if (sighting !== undefined && all[i]!.used) {
      members.set(sighting, [...(members.get(sighting) ?? []), i]);
    }
  });
  return [...members].map(([sighting, indices]) => {
    const sights = indices.map((i) => sightOf(readings[i]!, coefficients));
    const statistics = directionStatistics(sights.filter((sight) => sight !== undefined));
    const spread = statistics?.spread;
    if (statistics && spread !== undefined) {
      indices.forEach((i, k) => {
        if (sights[k]) all[i]!.aimError = angleBetween(sights[k], statistics.mean);
      });
    }
    return { sighting, n: statistics?.n ?? 0, ...(spread === undefined ? {} : { spread }) };
  });
}

function sightOf({ acc, mag }: Reading, coefficients: Coefficients): Vec3 | undefined {
  const { g, b } = applyCoefficients(coefficients, acc, mag);
  return sightDirection(g, b);
}

/** Names what is wrong with a reading that was set aside, by the evidence that stands out most. */
function whyBad(
  id: string,
  readings: readonly Reading[],
  all: readonly FittedReading[],
  coefficients: Coefficients,
  dip: number,
  noise: NoiseScales,
): string {
  const i = readings.findIndex((reading) => reading.id === id);
  const view = all[i]!;
  const percent = (length: number) => `${((length - 1) * 100).toFixed(1)} %`;
  const evidence = [
    {
      size: Math.abs(view.gravity - 1) / noise.acc,
      words: `gravity's length is off by ${percent(view.gravity)}: the board was moving`,
    },
    {
      size: Math.abs(view.field - 1) / noise.mag,
      words: `the field's length is off by ${percent(view.field)}: the field was disturbed`,
    },
  ];
  if (view.dip !== undefined) {
    evidence.push({
      size: Math.abs(view.dip - dip) / Math.hypot(noise.acc, noise.mag),
      words: `the dip is off by ${degrees(view.dip - dip).toFixed(1)}°: the field was disturbed, or the board was moving`,
    });
  }
  const companions = readings.filter(
    (reading, k) => all[k]!.used && reading.sighting === readings[i]!.sighting,
  );
  const sight = sightOf(readings[i]!, coefficients);
  if (readings[i]!.sighting !== undefined && companions.length > 0 && sight) {
    const sights = companions.map((reading) => sightOf(reading, coefficients));
    const mean = directionStatistics(sights.filter((other) => other !== undefined))?.mean;
    if (mean) {
      const off = angleBetween(sight, mean);
      evidence.push({
        size: off / Math.hypot(noise.aim, noise.acc, noise.mag),
        words: `it points ${degrees(off).toFixed(1)}° away from the rest of its sighting: wrong aim`,
      });
    }
  }
  return evidence.reduce((a, b) => (b.size > a.size ? b : a)).words;
}

/** Words for an answer that came out with no certainty: which unknown is the loosest. */
function undetermined(
  theta: Float64Array,
  covariance: Float64Array | undefined,
): { message: string; next: string } {
  const next =
    'Take readings in more directions, each with all four rolls: up, down, level, and on each side.';
  if (!covariance) {
    return { message: 'The readings do not determine the coefficients.', next };
  }
  const width = theta.length;
  let loosest = 0;
  for (let i = 0; i < width; i++) {
    if (covariance[i * width + i]! > covariance[loosest * width + loosest]!) loosest = i;
  }
  const sensor = loosest < 12 ? 'accelerometer' : 'magnetometer';
  const axis = 'xyz'[Math.floor((loosest % 12) / 4)];
  const what =
    loosest >= DIP
      ? 'the dip'
      : `the ${sensor}'s ${loosest % 4 === 3 ? 'offset' : 'gain'} along its ${axis} axis`;
  return {
    message: `The readings do not determine the answer; least of all ${what}.`,
    next,
  };
}
