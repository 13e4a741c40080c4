import { DIP } from './calibration-problem.ts';
import { aboutSight, housingTurn, orthogonalPart, turnAboutSight } from './chip-turn.ts';
import type { Uncertainty } from './covariance.ts';
import { determinant, multiply, transpose, type Mat3 } from './geometry.ts';
import { allMountings, mountingMatrix } from './model.ts';
import type { Vec3 } from './reading.ts';

/**
 * The coefficients of one instrument as what a maker would measure on the bench: how sensitive each chip is, where its
 * zero is, how its axes lean, how it sits in the housing; each with its standard error. Ratios and radians.
 *
 * Read off the forward parameters θ (calibration-problem.ts): a chip shows F v + o of a vector v in the body, in units of
 * its declared scale; row i of F belongs to chip axis i. With F = S R, R orthogonal, and P the nearest mounting by
 * right angles, the chip sits turned by R against P. Standard errors by propagation, √(j C jᵀ), j the derivative by θ.
 */

/** A figure and its standard error as the covariance of θ has it. */
export interface Term {
  value: number;
  standardError: number;
}

export type Terms = readonly [Term, Term, Term];

export interface ChipTerms {
  /** How much more sensitive chip axes x, y, z are than the declared scale says: 0.01 is one percent more. */
  gain: Terms;
  /** What chip axes x, y, z show of nothing, over the scale: of 1 g, or of the field. */
  offset: Terms;
  /** By how much the angle between the axes of the pairs yz, zx and xy is less than a right angle. */
  lean: Terms;
}

export interface PhysicalTerms {
  acc: ChipTerms;
  mag: ChipTerms;
  /**
   * How the accelerometer is turned in the housing against the nearest mounting by right angles, about the body's right
   * and down. (About the sight it is where roll is zero, which is a convention.)
   */
  housing: readonly [right: Term, down: Term];
  /** The same of the magnetometer against the accelerometer, about the sight, right and down. */
  between: Terms;
  /** Part of a reading of 1 g along chip axes x, y, z that is curvature. Absent in a straight model. */
  curvature?: Terms;
}

/** Step of the derivatives: θ is of order one, so that both rounding and the third derivative leave some 1e-10. */
const STEP = 1e-5;

/** @returns undefined where a chip's matrix has no inverse */
export function physicalTerms({
  theta,
  covariance,
}: Pick<Uncertainty, 'theta' | 'covariance'>): PhysicalTerms | undefined {
  const [F, H] = [matrixOf(theta, 0), matrixOf(theta, 12)];
  if (!(Math.abs(determinant(F) * determinant(H)) > 0)) return undefined;
  const mountings = { acc: nearestMounting(F), mag: nearestMounting(H) };
  const figures = (at: readonly number[]) => figuresOf(at, mountings);
  const values = figures(theta);
  const width = theta.length;
  const columns = theta.map((value, k) => {
    const moved = (by: number) => figures(theta.map((each, i) => (i === k ? value + by : each)));
    const [more, less] = [moved(STEP), moved(-STEP)];
    return more.map((figure, i) => (figure - less[i]!) / (2 * STEP));
  });
  const terms = values.map((value, i): Term => {
    let variance = 0;
    for (let k = 0; k < width; k++) {
      for (let l = 0; l < width; l++) {
        variance += columns[k]![i]! * covariance[k * width + l]! * columns[l]![i]!;
      }
    }
    return { value, standardError: Math.sqrt(Math.max(0, variance)) };
  });
  const three = (from: number): Terms => [terms[from]!, terms[from + 1]!, terms[from + 2]!];
  const chip = (from: number): ChipTerms => ({
    gain: three(from),
    offset: three(from + 3),
    lean: three(from + 6),
  });
  return {
    acc: chip(0),
    mag: chip(9),
    housing: [terms[18]!, terms[19]!],
    between: three(20),
    ...(terms.length > 23 && { curvature: three(23) }),
  };
}

/** Row by row, of the chip whose part of θ begins at `from`. */
const matrixOf = (theta: readonly number[], from: number): Mat3 =>
  [0, 4, 8].flatMap((i) => theta.slice(from + i, from + i + 3)) as unknown as Mat3;

/** That of the mountings by right angles, mirrored ones among them, which a chip's matrix comes closest to. */
function nearestMounting(F: Mat3): Mat3 {
  const R = orthogonalPart(F);
  const handed = Math.sign(determinant(R));
  const likeness = (P: Mat3) => R.reduce((sum, value, i) => sum + value * P[i]!, 0);
  // a mounting says which chip axis lies along which body axis: its matrix takes chip to body
  return allMountings
    .map((mounting) => transpose(mountingMatrix(mounting)!))
    .filter((P) => Math.sign(determinant(P)) === handed)
    .reduce((best, P) => (likeness(P) > likeness(best) ? P : best));
}

/** All figures in the order of {@link physicalTerms}. */
function figuresOf(theta: readonly number[], mountings: { acc: Mat3; mag: Mat3 }): number[] {
  const chip = (from: number) => {
    const F = matrixOf(theta, from);
    const rows = [0, 3, 6].map((i) => F.slice(i, i + 3) as unknown as Vec3);
    const sizes = rows.map((row) => Math.hypot(...row));
    const cosine = (i: number, k: number) =>
      rows[i]!.reduce((sum, value, c) => sum + value * rows[k]![c]!, 0) / (sizes[i]! * sizes[k]!);
    const figures = [
      ...sizes.map((size) => size - 1),
      ...[3, 7, 11].map((i) => theta[from + i]!),
      ...[cosine(1, 2), cosine(2, 0), cosine(0, 1)].map(Math.asin),
    ];
    return { F, sizes, figures };
  };
  const [acc, mag] = [chip(0), chip(12)];
  const seated = (F: Mat3, P: Mat3) => multiply(transpose(P), orthogonalPart(F));
  const R = seated(acc.F, mountings.acc);
  const back = aboutSight(-turnAboutSight(R));
  const turned = {
    acc: multiply(R, back),
    mag: multiply(seated(mag.F, mountings.mag), back),
  };
  return [
    ...acc.figures,
    ...mag.figures,
    ...housingTurn(turned.acc).slice(1),
    ...housingTurn(multiply(transpose(turned.acc), turned.mag)),
    ...theta.slice(DIP + 1).map((q, i) => q * acc.sizes[i]!),
  ];
}
