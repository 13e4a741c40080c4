import { EigenvalueDecomposition, Matrix, SVD } from 'ml-matrix';
import { describeGap } from './coverage.ts';
import { fitEllipsoid, type Ellipsoid } from './ellipsoid.ts';
import { cross, dot, multiply, plus, rotate, times, unit, type Mat3 } from './geometry.ts';
import { allMountings, mountingMatrix } from './model.ts';
import { againstAims, closeness, rollOffset, type Known } from './orientation.ts';
import type { Reading, Vec3 } from './reading.ts';
import { findSightings } from './sightings.ts';

/**
 * A first answer in closed form, good enough for the solver to finish: an ellipsoid through each sensor's readings; the
 * rotation between the sensors from the constant angle between down and field; the sight as the common axis of the
 * turns inside the sightings; and the choices that counts alone leave open, made by plan or mounting, never guessed.
 */

/** What helps to choose where counts leave a choice. */
export interface Evidence {
  mounting?: { acc: Mat3; mag: Mat3 };
  azimuths: 'absolute' | 'relative';
  dipSign?: 1 | -1;
}

export interface Start {
  A: Mat3;
  o: Vec3;
  B: Mat3;
  p: Vec3;
  dip: number;
  /** Whether the sightings gave the sight axis; if not, it came from the mounting. */
  sightFound: boolean;
  /** Sighting of each reading as found from attitudes, where none was given; −1 for a reading alone. */
  sightings?: number[];
  warnings: string[];
}

export interface NoStart {
  cause: 'too_few' | 'undetermined' | 'ambiguous' | 'contradiction';
  message: string;
  next: string;
  /** How many readings there must be at least; with `too_few`. */
  fewest?: number;
}

/** Fewest readings that determine the answer at all, with nothing to spare. */
const FEWEST = 12;
/** Digits enough for a start: a thousandth of the cost. */
const ROUGHLY = 1e-3;
/** Readings that give the ellipsoids of a start: more would only cost time. */
const SHAPE = 500;
/** Readings that judge between candidates, which differ by right angles. */
const JURY = 20;
/** Aims are taken to be good to this; a candidate further off than the best by CLEAR is ruled out. */
const TRUST = 0.45;
const CLEAR = 0.25;
/** A sight further than this from the declared one is another axis, radians. */
const SIGHT_ASKEW = 0.35;
/** A mounting is followed where the found axes lie this close to it, see {@link closeness}. */
const CLOSE = 0.85;

/** @param readings with counts already divided by the scales */
export function closedFormStart(readings: readonly Reading[], evidence: Evidence): Start | NoStart {
  if (readings.length < FEWEST) {
    return {
      cause: 'too_few',
      fewest: FEWEST,
      message: `${readings.length} readings are not enough: the answer has 24 unknowns, and at least ${FEWEST} readings in different attitudes are needed.`,
      next: 'Take more readings; 56 in the cube plan are customary, 24 well spread ones make a usable calibration.',
    };
  }
  const some = spreadOver(readings, SHAPE);
  const accelerometer = fitEllipsoid(
    some.map((reading) => reading.acc),
    ROUGHLY,
  );
  const magnetometer = fitEllipsoid(
    some.map((reading) => reading.mag),
    ROUGHLY,
  );
  const gap =
    describeGap(readings, accelerometer === undefined, 'acc') ??
    describeGap(readings, magnetometer === undefined, 'mag');
  if (gap) return { cause: 'undetermined', ...gap };
  const down = readings.map((reading) => onSphere(accelerometer!, reading.acc));
  const field = readings.map((reading) => onSphere(magnetometer!, reading.mag));
  const joint = constantAngle(down, field);
  if (!joint) {
    return {
      cause: 'undetermined',
      message:
        'The readings do not tell how the two sensors are turned against each other: too many share one direction.',
      next: 'Take readings in more directions, with all four rolls in each.',
    };
  }

  const fields = field.map((m) => rotate(joint.X, m));
  const found: Found = {
    accelerometer: accelerometer!,
    magnetometer: magnetometer!,
    joint,
    down,
    fields,
  };
  const sightings = readings.every(({ sighting }) => sighting === undefined)
    ? sightingsAlong(found, evidence)
    : undefined;
  const known = sightings ? labelled(readings, sightings) : readings;
  const axis = commonAxis(known, down, fields);
  const jury: Found = {
    ...found,
    down: spreadOver(down, JURY),
    fields: spreadOver(fields, JURY),
  };
  const heard = spreadOver(known, JURY);
  const chosen = axis
    ? chooseAlongSight(jury, axis, heard, evidence)
    : chooseByMounting(jury, heard, evidence);
  if ('cause' in chosen) return chosen;
  const { Q, sign, warnings } = chosen;
  return {
    A: multiply(Q, accelerometer!.T),
    o: accelerometer!.centre,
    B: multiply(multiply(Q, scaled(joint.X, sign)), magnetometer!.T),
    p: magnetometer!.centre,
    dip: sign * Math.asin(Math.max(-1, Math.min(1, joint.sine))),
    sightFound: axis !== undefined,
    ...(sightings ? { sightings } : {}),
    warnings,
  };
}

/** The golden section: its multiples, less whole numbers, lie evenly and never fall in step with anything. */
const GOLDEN = (Math.sqrt(5) - 1) / 2;

/**
 * At most so many of a list, in its order and from all over it. A stride would fall in step with the rolls of the
 * sightings: readings of one roll alone cannot tell a mirrored answer.
 */
function spreadOver<T>(all: readonly T[], most: number): T[] {
  if (all.length <= most) return [...all];
  const places = new Set<number>();
  for (let i = 0; i < most; i++) places.add(Math.floor(all.length * ((i * GOLDEN) % 1)));
  return all.filter((_, j) => places.has(j));
}

/** Readings with the sightings that were found for them. */
export const labelled = (readings: readonly Reading[], sightings: readonly number[]): Reading[] =>
  readings.map((reading, j) =>
    sightings[j] < 0 ? reading : { ...reading, sighting: String(sightings[j] + 1) },
  );

/**
 * Sightings found from attitudes. With a declared mounting the common axis must be its sight: a board turned about
 * another axis again and again looks just the same.
 */
function sightingsAlong({ down, fields }: Found, { mounting }: Evidence): number[] | undefined {
  const seen = findSightings(down, fields);
  if (!seen) return undefined;
  if (mounting) {
    const [x, y, z] = mounting.acc;
    if (Math.abs(dot(seen.axis, [x, y, z])) < Math.cos(SIGHT_ASKEW)) return undefined;
  }
  return seen.sighting;
}

interface Found {
  accelerometer: Ellipsoid;
  magnetometer: Ellipsoid;
  joint: { X: Mat3; sine: number };
  /** Unit vectors in the accelerometer's own frame. */
  down: Vec3[];
  fields: Vec3[];
}

/** An answer: Q from the accelerometer's frame into the body, and the sign of the field beside it. */
interface Candidate {
  Q: Mat3;
  sign: 1 | -1;
}

const onSphere = ({ centre, T }: Ellipsoid, x: Vec3): Vec3 =>
  unit(rotate(T, [x[0] - centre[0], x[1] - centre[1], x[2] - centre[2]]));

const scaled = (m: Mat3, k: number): Mat3 => m.map((value) => value * k) as unknown as Mat3;

const toMat3 = (m: Matrix): Mat3 => m.to1DArray() as unknown as Mat3;

const toMatrix = (m: Mat3): Matrix => Matrix.from1DArray(3, 3, m as unknown as number[]);

/** Orthogonal matrix nearest to m (polar factor; may be mirrored), and the sum of the singular values. */
function nearestOrthogonal(m: Matrix): { Q: Matrix; trace: number } {
  const svd = new SVD(m);
  return {
    Q: svd.leftSingularVectors.mmul(svd.rightSingularVectors.transpose()),
    trace: svd.diagonal.reduce((sum, value) => sum + value, 0),
  };
}

/**
 * The orthogonal X and sine of dip with aᵀ X m = sin I for every pair of unit vectors: the vector of least residual of
 * that linear system in X and sin I, made orthogonal. The pair (−X, −sin I) is as good; which it is, others decide.
 */
function constantAngle(
  down: readonly Vec3[],
  field: readonly Vec3[],
): { X: Mat3; sine: number } | undefined {
  const normal = new Float64Array(100);
  const row = new Float64Array(10);
  row[9] = -1;
  for (let j = 0; j < down.length; j++) {
    const a = down[j];
    const m = field[j];
    for (let i = 0; i < 9; i++) row[i] = a[Math.floor(i / 3)] * m[i % 3];
    for (let i = 0; i < 10; i++) {
      for (let c = 0; c < 10; c++) normal[10 * i + c] += row[i] * row[c];
    }
  }
  const { order, vector: v } = principal(normal, 10);
  if (order[1] < 1e-6 * order[9]) return undefined;
  const { Q, trace } = nearestOrthogonal(Matrix.from1DArray(3, 3, v.slice(0, 9)));
  if (!(trace > 0.1)) return undefined;
  const X = toMat3(Q);
  // with X fixed, the sine is the mean of what the readings show
  const sine = down.reduce((sum, a, j) => sum + dot(a, rotate(X, field[j])), 0) / down.length;
  return { X, sine };
}

/**
 * The sight in the accelerometer's frame, up to sign. Inside a sighting only turns about the sight happen, so its
 * components along down and along the field stay: it is the direction in which they vary least.
 */
function commonAxis(
  readings: readonly Reading[],
  down: readonly Vec3[],
  fields: readonly Vec3[],
): Vec3 | undefined {
  const members = new Map<string, number[]>();
  readings.forEach(({ sighting }, j) => {
    if (sighting === undefined) return;
    const others = members.get(sighting);
    if (others) others.push(j);
    else members.set(sighting, [j]);
  });
  const scatter = new Float64Array(9);
  for (const sighting of members.values()) {
    for (const vectors of [down, fields]) {
      let sum: Vec3 = [0, 0, 0];
      for (const j of sighting) sum = plus(sum, vectors[j]);
      const middle = times(sum, -1 / sighting.length);
      for (const j of sighting) {
        const d = plus(vectors[j], middle);
        for (let i = 0; i < 9; i++) scatter[i] += d[Math.floor(i / 3)] * d[i % 3];
      }
    }
  }
  const { order, vector } = principal(scatter, 3);
  // no turn inside any sighting, or about no single axis
  if (order[1] < 0.05 || order[1] < 5 * order[0]) return undefined;
  return unit(vector as unknown as Vec3);
}

/** Eigenvalues of a symmetric n×n matrix, least first, and the eigenvector of the least. */
function principal(m: Float64Array, n: number): { order: number[]; vector: number[] } {
  const eigen = new EigenvalueDecomposition(Matrix.from1DArray(n, n, m), { assumeSymmetric: true });
  const values = eigen.realEigenvalues;
  const least = values.indexOf(Math.min(...values));
  return {
    order: [...values].sort((a, b) => a - b),
    vector: eigen.eigenvectorMatrix.getColumn(least),
  };
}

const bodyOf = ({ down, fields }: Found, { Q, sign }: Candidate) =>
  down.map((a, j) => {
    const f = rotate(Q, fields[j]);
    return { g: rotate(Q, a), b: [sign * f[0], sign * f[1], sign * f[2]] as Vec3 };
  });

/** Q followed by a turn of the body's y and z about the sight, that adds `angle` to every roll. */
function rolled(Q: Mat3, angle: number): Mat3 {
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  return multiply([1, 0, 0, 0, c, s, 0, -s, c], Q);
}

/** The sensors' matrices under a candidate, as directions only (their lengths near one). */
function matricesOf(found: Found, { Q, sign }: Candidate): { acc: Mat3; mag: Mat3 } {
  const unitScale = (m: Mat3) => scaled(m, Math.sqrt(3) / Math.hypot(...m));
  return {
    acc: unitScale(multiply(Q, found.accelerometer.T)),
    mag: unitScale(multiply(multiply(Q, scaled(found.joint.X, sign)), found.magnetometer.T)),
  };
}

/**
 * The turn about the sight that brings matrices nearest to mountings. With rows 2 and 3 turned by an angle, the sum of
 * products is C cos + S sin, greatest at atan2(S, C).
 */
export function turnOntoMounting(matrices: readonly Mat3[], mountings: readonly Mat3[]): number {
  let [C, S] = [0, 0];
  matrices.forEach((m, i) => {
    const to = mountings[i];
    for (let c = 0; c < 3; c++) {
      C += m[3 + c] * to[3 + c] + m[6 + c] * to[6 + c];
      S += m[6 + c] * to[3 + c] - m[3 + c] * to[6 + c];
    }
  });
  return Math.atan2(S, C);
}

const mountings48 = allMountings.map((mounting) => mountingMatrix(mounting)!);

/** The axis-aligned mounting that a matrix lies nearest to, up to a turn about the sight. */
function nearestMounting(acc: Mat3): Mat3 {
  let best = mountings48[0];
  let most = -Infinity;
  for (const mounting of mountings48) {
    const turned = rolled(acc, turnOntoMounting([acc], [mounting]));
    const near = closeness(turned, mounting);
    if (near > most + 1e-9) [best, most] = [mounting, near];
  }
  return best;
}

/**
 * The turn about the sight that sets where roll is zero. No azimuth or inclination depends on it; by convention roll is
 * zero where the plan's rolls have it in the mean; without a plan, where the chips lie as mounted; without either, where
 * the accelerometer lies nearest to an axis-aligned mounting.
 */
export function rollZero(
  downs: readonly Vec3[],
  known: readonly Known[],
  matrices: { acc: Mat3; mag: Mat3 },
  mounting: Evidence['mounting'],
): number {
  const byPlan = rollOffset(downs, known);
  if (byPlan !== undefined) return byPlan;
  if (mounting) {
    return turnOntoMounting([matrices.acc, matrices.mag], [mounting.acc, mounting.mag]);
  }
  return turnOntoMounting([matrices.acc], [nearestMounting(matrices.acc)]);
}

/** Eight answers share a sight axis: forward or back, mirrored or not, field or its opposite. */
function chooseAlongSight(
  found: Found,
  axis: Vec3,
  readings: readonly Reading[],
  evidence: Evidence,
): (Candidate & { warnings: string[] }) | NoStart {
  const side = unit(cross(axis, Math.abs(axis[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0]));
  const third = cross(axis, side);
  const signs = [1, -1] as const;
  const candidates = signs.flatMap((forward) =>
    signs.flatMap((hand) =>
      signs.map((sign): Candidate => {
        const Q = [
          ...axis.map((value) => value * forward),
          ...side,
          ...third.map((value) => value * hand),
        ] as unknown as Mat3;
        const candidate = { Q, sign };
        const angle = rollZero(
          found.down.map((a) => rotate(Q, a)),
          readings,
          matricesOf(found, candidate),
          evidence.mounting,
        );
        return { Q: rolled(Q, angle), sign };
      }),
    ),
  );
  return choose(found, candidates, readings, evidence);
}

/** Without a sight axis the mounting gives it: as declared, or the one of 48 that agrees with the aims. */
function chooseByMounting(
  found: Found,
  readings: readonly Reading[],
  evidence: Evidence,
): (Candidate & { warnings: string[] }) | NoStart {
  const warnings = [
    'No sighting was turned about the sight, so the sight axis comes from how the chips are mounted, not from readings: azimuth and inclination carry that alignment error whole.',
  ];
  const accMountings = evidence.mounting ? [evidence.mounting.acc] : mountings48;
  const candidates = accMountings.flatMap((acc) =>
    ([1, -1] as const).map((sign): Candidate => {
      // turn the accelerometer (and, where declared, the magnetometer) as near to the mounting as can be
      const own = matricesOf(found, { Q: [1, 0, 0, 0, 1, 0, 0, 0, 1], sign });
      const target = toMatrix(acc).mmul(toMatrix(own.acc).transpose());
      if (evidence.mounting) {
        target.add(toMatrix(evidence.mounting.mag).mmul(toMatrix(own.mag).transpose()));
      }
      return { Q: toMat3(nearestOrthogonal(target).Q), sign };
    }),
  );
  const chosen = choose(found, candidates, readings, evidence);
  return 'cause' in chosen ? chosen : { ...chosen, warnings: [...warnings, ...chosen.warnings] };
}

/** Rules candidates out by aims, then by the sign of dip, then by mounting; refuses where more than one is left. */
function choose(
  found: Found,
  candidates: readonly Candidate[],
  readings: readonly Reading[],
  { mounting, azimuths, dipSign }: Evidence,
): (Candidate & { warnings: string[] }) | NoStart {
  const warnings: string[] = [];
  const judged = candidates.map((candidate) => {
    const off = againstAims(bodyOf(found, candidate), readings);
    const azimuth = azimuths === 'absolute' ? off.azimuth : off.relativeAzimuth;
    const matrices = matricesOf(found, candidate);
    return {
      ...candidate,
      aims: Math.hypot(off.inclination, azimuth, off.roll),
      mounted: mounting
        ? (closeness(matrices.acc, mounting.acc) + closeness(matrices.mag, mounting.mag)) / 2
        : 1,
    };
  });
  const nearest = Math.min(...judged.map(({ aims }) => aims));
  const hasAims = Math.max(...judged.map(({ aims }) => aims)) > 0;
  let left = judged.filter(({ aims }) => aims <= nearest + CLEAR);
  if (hasAims && nearest > TRUST) {
    if (!mounting) {
      return {
        cause: 'contradiction',
        message:
          'The readings do not agree with the aims of the plan, whichever way the chips sit: they were probably taken in another order or towards other marks.',
        next: 'Check the plan columns, or give the mounting of the chips and leave the plan out.',
      };
    }
    warnings.push('The readings do not agree with the aims of the plan; the plan was not used.');
    left = judged;
  }
  if (dipSign !== undefined && Math.abs(found.joint.sine) > 0.02) {
    const agreeing = left.filter(({ sign }) => sign * found.joint.sine * dipSign > 0);
    if (agreeing.length > 0) left = agreeing;
    else
      warnings.push(
        'The dip found has another sign than the one given; the readings were followed.',
      );
  }
  if (mounting) {
    const best = Math.max(...left.map(({ mounted }) => mounted));
    left = left.filter(({ mounted }) => mounted >= best - 0.1);
    if (best < CLOSE) {
      warnings.push(
        'The chips do not sit as their declared mounting says, or the plan was followed differently; check the mounting.',
      );
    }
  }
  if (left.length === 1) return { Q: left[0].Q, sign: left[0].sign, warnings };
  return { cause: 'ambiguous', ...openQuestion(left) };
}

/** Words for what still differs between the candidates that are left. */
function openQuestion(left: readonly Candidate[]): { message: string; next: string } {
  const differ = (f: (candidate: Candidate) => number) =>
    new Set(left.map((candidate) => Math.sign(f(candidate)))).size > 1;
  if (left.length === 2 && differ(({ sign }) => sign)) {
    return {
      message:
        'The readings fit a field that dips down and, turned half round, one that dips up; nothing given tells which.',
      next: 'Say whether the field dips down (most of the northern half of the world) or up here, or set out magnetic north for the plan, or give the mounting of the chips.',
    };
  }
  return {
    message: `The readings leave ${left.length} answers open: which end of the sight is forward, or whether a chip is mirrored.`,
    next: 'Give the aims of the plan (azimuth, inclination and roll), or the mounting of both chips.',
  };
}
