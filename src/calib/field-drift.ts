import type { Course, CourseTerms, CourseWarning, FieldDrift } from './check-course.ts';
import type { Knots } from './course-observations.ts';
import { estimated, type Designed, type Solved } from './course-solution.ts';
import { AdjustmentDesign } from './least-squares-adjustment.ts';
import { fisherTail } from './quantiles.ts';

/**
 * How finely the field's change through the afternoon can be told: straight between knots at equal distances, a straight
 * line unless the shots object. At most as many pieces (1, 2, 4, 8, 16) as leave three shots of the reference in each;
 * of these the fewest that fit no worse than the most do (F-test at 0.3: a bend overlooked moves the answer, one too many
 * only widens it a little).
 *
 * @param designWith the design of the azimuths with such knots
 * @param solve adjusts them
 * @returns no knots without a reference, or where it does not tell; `outside`: instruments with more than a quarter of
 *   their timed azimuths before its first or after its last
 */
export function knotsFor(
  { instruments, shots }: Course,
  { reference }: CourseTerms,
  designWith: (knots: Knots) => Designed,
  solve: (designed: Designed) => Solved,
): { knots: Knots; warnings: CourseWarning[]; outside: ReadonlySet<string> } {
  const outside = new Set<string>();
  if (reference === undefined) return { knots: [], warnings: [], outside };
  const shown = shots.filter(({ azimuth }) => azimuth !== undefined);
  const times = shown
    .flatMap(({ instrument, time }) => (instrument === reference ? (time ?? []) : []))
    .sort((a, b) => a - b);
  const [from, to] = [times[0], times.at(-1)];
  if (new Set(times).size < FEWEST || from === undefined || to === undefined) {
    return { knots: [], warnings: ['reference too short'], outside };
  }
  for (const name of instruments) {
    const own = shown.flatMap(({ instrument, time }) => (instrument === name ? (time ?? []) : []));
    const beyond = own.filter((time) => time < from || time > to).length;
    if (beyond > own.length / 4) outside.add(name);
  }
  const warnings: CourseWarning[] = [
    ...(shown.some(({ time }) => time === undefined) ? (['times missing'] as const) : []),
    ...(outside.size > 0 ? (['others outside reference'] as const) : []),
  ];
  const equal = (pieces: number): Knots =>
    Array.from({ length: pieces + 1 }, (_, i) => from + ((to - from) * i) / pieces);
  const isFilled = (pieces: number) => {
    const counts = new Array<number>(pieces).fill(0);
    for (const time of times) {
      counts[Math.min(pieces - 1, Math.floor(((time - from) / (to - from)) * pieces))] += 1;
    }
    return counts.every((n) => n >= 3);
  };
  const candidates = [1, 2, 4, 8, 16].filter((pieces) => pieces === 1 || isFilled(pieces));
  const finest = candidates.at(-1)!;
  const whole = solve(designWith(equal(finest)));
  if (!isDetermined(whole, finest + 1)) return { knots: [], warnings, outside };
  const chosen = candidates.find((pieces) => {
    if (pieces === finest) return true;
    return lossTest(whole, designWith(equal(pieces)), finest - pieces) > WORSE;
  })!;
  return { knots: equal(chosen), warnings, outside };
}

const WORSE = 0.3;
/** Shots of the reference, at times of their own, that a drift needs. */
const FEWEST = 4;

const isDetermined = ({ system, design }: Solved, knots: number): boolean =>
  Array.from({ length: knots }, (_, i) => i).every((i) =>
    design.determines([[system.knotAt(i), 1]]),
  );

/** p-value of a plainer model fitting no worse, with the weights of the finer one. */
function lossTest(
  { system, result }: Solved,
  plain: { design: AdjustmentDesign },
  less: number,
): number {
  const values = system.weighed.map(({ value }) => value);
  const squares = plain.design.solve(values, result.rowWeights)?.squares;
  if (squares === undefined) return 0;
  const loss = Math.max(0, squares - result.adjusted.squares);
  return fisherTail(loss / less, less, Math.min(1e6, Math.max(1, result.freedom)));
}

/** The drift as adjusted; `cannot tell` where there are no knots. */
export function driftOf(knots: Knots, solved: Solved): FieldDrift {
  if (knots.length === 0) return { knots: [], range: 0, verdict: 'cannot tell' };
  const { system } = solved;
  const found = knots.map((time, i) => {
    const { value, error, half } = estimated(solved, [[system.knotAt(i), 1]])!;
    return { time, value, error, half };
  });
  // the same without: no row names a knot, and each knot is nothing
  const isKnot = (unknown: number) =>
    unknown >= system.knotAt(0) && unknown < system.knotAt(knots.length);
  const constant = new AdjustmentDesign(system.unknowns, system.rows, [
    ...system.conditions.filter(({ terms }) => !terms.some(([unknown]) => isKnot(unknown))),
    ...knots.map((_, i) => ({ terms: [[system.knotAt(i), 1]] as const, value: 0 })),
  ]);
  const p = lossTest(solved, { design: constant }, knots.length - 1);
  const values = found.map(({ value }) => value);
  return {
    knots: found,
    range: Math.max(...values) - Math.min(...values),
    p,
    verdict: p <= 0.05 ? 'drifts' : 'no drift seen',
  };
}
