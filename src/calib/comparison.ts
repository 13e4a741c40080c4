import { aboutSight, housingTurn, orthogonalPart, turnAboutSight } from './chip-turn.ts';
import { attitudesEverywhere } from './covariance.ts';
import {
  bodyVectors,
  cross,
  determinant,
  inverse,
  length,
  multiply,
  radians,
  times,
  transpose,
  turn,
  wrap,
  type Mat3,
} from './geometry.ts';
import { applyCoefficients, countsReading, type Coefficients } from './model.ts';
import type { Vec3 } from './reading.ts';

/**
 * Two sets of coefficients of one instrument, held against each other in physical terms: what happened to the chips
 * between them, and by how much the angles differ that they make of the same counts. Ratios and radians.
 *
 * Write F and o of each set as counts: a chip gives F v + o for a vector v in the body. A chip as `to` describes it,
 * read through `from`, then shows D v + d, with D = F_from⁻¹ F_to and d = F_from⁻¹ (o_to − o_from). Apart from a common
 * turn about the sight, D = S R is parted into a rotation R and a symmetric stretch S (polar decomposition). All is
 * in the body axes of `from`, and of the straight part of the model: curvature stands beside it.
 */

/** How one chip changed from one set to the other. */
export interface ChipChange {
  /** How far its zero moved, along body x, y, z; in units of 1 g, or of the field. */
  offset: Vec3;
  /** How much more sensitive it became along body x, y, z: 0.01 is one percent. */
  gain: Vec3;
  /**
   * How far the pairs yz, zx and xy of body axes came to lean towards each other, radians: by so much the angle shrank
   * that the chip makes of two such axes at right angles.
   */
  crossAxis: Vec3;
  /**
   * How the chip turned in the housing: a rotation vector along body x, y, z, radians, right-handed. Its y and z parts
   * move the sight; the accelerometer's x part is zero, since a turn of both about the sight is `rollZero`.
   */
  turn: Vec3;
}

/** How far angles read from the same counts differ, `to` less `from`, radians. */
export interface AngleChange {
  /** Root mean square over {@link attitudesEverywhere}. */
  rms: number;
  /**
   * The value of largest size over a grid of attitudes 15° apart, up to ±70° of inclination. Between points of the grid
   * it may be some 4 % larger.
   */
  largest: number;
  /** The attitude of that value, as `from` reads it, radians. */
  at: { azimuth: number; inclination: number; roll: number };
}

export interface Comparison {
  ok: true;
  acc: ChipChange;
  mag: ChipChange;
  /** How the magnetometer turned against the accelerometer: a rotation vector as in {@link ChipChange.turn}. */
  between: Vec3;
  /** By how much every roll reads more, in [−π, π). It changes neither azimuth nor inclination. */
  rollZero: number;
  /**
   * Change of the accelerometer's curvature along each of its chip axes: of the part q s² / s of a reading at 1 g. Zero
   * between two straight sets.
   */
  curvature: Vec3;
  /** Of azimuth × cos inclination. Absent where the field is vertical. */
  azimuth?: AngleChange;
  inclination: AngleChange;
}

/**
 * - `singular`: a matrix of one set has no inverse
 * - `mirrored`: one set has a chip as a mirror image of what the other has; no change of one instrument does that
 * - `no_counts`: the curvature of `from` is such that in some attitude no counts would read so
 */
export interface ComparisonRefusal {
  ok: false;
  cause: 'singular' | 'mirrored' | 'no_counts';
}

/**
 * Compares two sets of one instrument; their scales and models may differ.
 *
 * @param dip of the field at which angles are compared, radians
 */
export function compareCoefficients(
  from: Coefficients,
  to: Coefficients,
  dip: number,
): Comparison | ComparisonRefusal {
  const D = {
    acc: times9(multiply(from.A, inverse(to.A)), to.accScale / from.accScale),
    mag: times9(multiply(from.B, inverse(to.B)), to.magScale / from.magScale),
  };
  if (![...D.acc, ...D.mag].every(Number.isFinite)) return { ok: false, cause: 'singular' };
  const parts = { acc: polar(D.acc), mag: polar(D.mag) };
  if (!parts.acc || !parts.mag) {
    const flat = determinant(D.acc) === 0 || determinant(D.mag) === 0;
    return { ok: false, cause: flat ? 'singular' : 'mirrored' };
  }
  const rollZero = turnAboutSight(parts.acc.R);
  const back = aboutSight(-rollZero);
  const turned = { acc: multiply(parts.acc.R, back), mag: multiply(parts.mag.R, back) };
  const angles = angleChanges(from, to, dip);
  if (!angles) return { ok: false, cause: 'no_counts' };

  // what `from` reads at the zeros of `to`
  const zero = applyCoefficients(from, times(to.o, to.accScale), times(to.p, to.magScale));
  const change = (chip: 'acc' | 'mag', offset: Vec3): ChipChange => {
    const { S } = parts[chip]!;
    return {
      offset,
      gain: [S[0] - 1, S[4] - 1, S[8] - 1],
      crossAxis: [2 * S[5], 2 * S[2], 2 * S[1]],
      turn: housingTurn(turned[chip]),
    };
  };
  const bend = [bendAtOne(from), bendAtOne(to)];
  return {
    ok: true,
    acc: change('acc', zero.g),
    mag: change('mag', zero.b),
    between: housingTurn(multiply(transpose(turned.acc), turned.mag)),
    rollZero: turn(0, rollZero),
    curvature: [0, 1, 2].map((i) => bend[1]![i]! - bend[0]![i]!) as unknown as Vec3,
    ...angles,
  };
}

const times9 = (m: Mat3, k: number): Mat3 => m.map((value) => value * k) as unknown as Mat3;

/** Part of a reading of 1 g along each chip axis that is curvature: q s² / s, s the length of that axis's row of A⁻¹. */
function bendAtOne({ A, q }: Coefficients): Vec3 {
  const F = inverse(A);
  return [0, 1, 2].map((i) => q[i]! * Math.hypot(...F.slice(3 * i, 3 * i + 3))) as unknown as Vec3;
}

/** D = S R with R a rotation and S symmetric and positive definite; undefined where D mirrors or is singular. */
function polar(D: Mat3): { S: Mat3; R: Mat3 } | undefined {
  if (!(determinant(D) > 0)) return undefined;
  const R = orthogonalPart(D);
  const S = multiply(D, transpose(R));
  // rounding leaves the two halves a little apart
  const symmetric = S.map((value, i) => (value + transpose(S)[i]!) / 2) as unknown as Mat3;
  return { S: symmetric, R };
}

/** @returns undefined where in some attitude there are no counts that `from` reads so */
function angleChanges(
  from: Coefficients,
  to: Coefficients,
  dip: number,
): Pick<Comparison, 'azimuth' | 'inclination'> | undefined {
  const read = through(from, to, dip);
  const everywhere = attitudesEverywhere().map(read);
  const grid = attitudesOnGrid().map(read);
  const inclination = summary(everywhere, grid, 'inclination');
  const azimuth = summary(everywhere, grid, 'azimuth');
  return inclination && { inclination, ...(azimuth ? { azimuth } : {}) };
}

type Attitude = ReturnType<typeof attitudesEverywhere>[number];
type Difference = { attitude: Attitude; azimuth?: number; inclination?: number };

/** What `to` reads less what `from` reads, in an attitude. */
function through(from: Coefficients, to: Coefficients, dip: number) {
  return (attitude: Attitude): Difference => {
    const { g, b } = bodyVectors(...attitude, dip);
    const counts = countsReading(from, g, b);
    if (!counts) return { attitude };
    const seen = applyCoefficients(to, counts.acc, counts.mag);
    const vertical = length(cross(g, b)) < 1e-9;
    return {
      attitude,
      ...(seen.azimuth === undefined || vertical
        ? {}
        : { azimuth: turn(attitude[0], seen.azimuth) * Math.cos(attitude[1]) }),
      ...(seen.inclination === undefined ? {} : { inclination: seen.inclination - attitude[1] }),
    };
  };
}

function summary(
  everywhere: readonly Difference[],
  grid: readonly Difference[],
  angle: 'azimuth' | 'inclination',
): AngleChange | undefined {
  const all = [...everywhere, ...grid];
  if (all.some(({ [angle]: value }) => value === undefined)) return undefined;
  const squares = everywhere.reduce((sum, { [angle]: value }) => sum + value! ** 2, 0);
  const worst = all.reduce((a, b) => (Math.abs(b[angle]!) > Math.abs(a[angle]!) ? b : a));
  const [azimuth, inclination, roll] = worst.attitude;
  return {
    rms: Math.sqrt(squares / everywhere.length),
    largest: worst[angle]!,
    at: { azimuth: wrap(azimuth), inclination, roll: wrap(roll) },
  };
}

/** Attitudes 15° apart (14° in inclination) up to ±70° of inclination, their edge included. */
function attitudesOnGrid(): Attitude[] {
  const steps = (n: number, from: number, to: number) =>
    Array.from({ length: n }, (_, i) => radians(from + ((to - from) * i) / (n - 1)));
  const round = steps(24, 0, 345);
  return steps(11, -70, 70).flatMap((inclination) =>
    round.flatMap((azimuth) => round.map((roll): Attitude => [azimuth, inclination, roll])),
  );
}
