import type { Estimated } from './check-course.ts';
import type { CourseSystem } from './course-observations.ts';
import { turn } from './geometry.ts';
import type { AdjustmentDesign, Terms } from './least-squares-adjustment.ts';
import { studentProbability } from './quantiles.ts';
import { adjustRobustly, type RobustAdjustment } from './robust-adjustment.ts';

/** One angle of a course as a system to adjust. */
export interface Designed {
  system: CourseSystem;
  design: AdjustmentDesign;
}

export interface Solved extends Designed {
  result: RobustAdjustment;
}

export function solve({ system, design }: Designed): Solved {
  const result = adjustRobustly(design, system.weighed);
  // weights are kept from lying so far apart: sigmas under FAST are conditions, scales have a least
  if (!result) throw new RangeError('standard deviations too far apart to adjust');
  return { system, design, result };
}

/** A sum of unknowns, with what the first answer adds to it. */
export function estimated({ system, result }: Solved, terms: Terms): Estimated | undefined {
  const found = result.estimate(terms);
  if (!found) return undefined;
  const value = terms.reduce((sum, [i, k]) => sum + k * system.first[i], found.value);
  return { ...found, value: system.angle === 'azimuth' ? turn(0, value) : value };
}

/** Two-sided p-value of nothing, by Student's t. */
export const probabilityOfNothing = ({ value, error, freedom }: Estimated): number =>
  2 * studentProbability(-Math.abs(value) / error, Math.min(1e6, Math.max(1, freedom)));

/** Sets of unknowns, by their places in a list, within which differences are determined. */
export function comparableSets(design: AdjustmentDesign, unknowns: readonly number[]): number[][] {
  const sets: { moves: number[]; members: number[] }[] = [];
  unknowns.forEach((unknown, place) => {
    const moves = design.unseen(unknown);
    const set = sets.find((each) => each.moves.every((m, g) => Math.abs(m - moves[g]) < 1e-7));
    if (set) set.members.push(place);
    else sets.push({ moves, members: [place] });
  });
  return sets.map(({ members }) => members);
}
