import { Matrix, pseudoInverse } from 'ml-matrix';
import { adjustCourse } from '../src/calib/course-adjustment.ts';
import type { CourseAdjustment, CourseTerms, Quantity } from '../src/calib/check-course.ts';
import { legInclinations, systemOf } from '../src/calib/course-observations.ts';
import { turn } from '../src/calib/geometry.ts';
import type { Figure } from './figure.ts';
import {
  datumOf,
  madeUpCourse,
  TOLERANCE,
  type MadeUpCourse,
  type MadeUpSettings,
} from './made-up-course.ts';

const COURSES = 500;
/** Degrees. */
const OFF_BY = 0.7;

export interface Scenario {
  name: string;
  settings?: Partial<MadeUpSettings>;
  /** None of the instruments is off. */
  allRight?: boolean;
  noDatum?: boolean;
  terms?: Partial<CourseTerms>;
}

export const SCENARIOS: Scenario[] = [
  { name: 'one instrument off by 0.7°' },
  { name: 'no instrument off', allRight: true },
  { name: 'one off by 0.7°, 3 % of the shots wrong', settings: { blunders: 0.03 } },
  { name: 'one off by 0.7°, no datum', noDatum: true },
  {
    name: 'one off by 0.7°, the field drifts by some 0.4° and one instrument is the reference',
    // known azimuths are those of the field at its mean: the drift has none
    settings: {
      reference: 33,
      drift: (part) => 0.3 * Math.sin(2 * Math.PI * part) + 0.3 * (part - 0.5),
    },
    terms: { reference: 'instrument 1' },
  },
];

/** How courses of one kind came out. */
export interface Tally {
  courses: number;
  /** Courses in which the one that is off was found off in azimuth. */
  found: number;
  /** Courses in which anything was said against any instrument that is not so. */
  accused: number;
  /** Intervals, and how many of them held the truth. */
  azimuth: { judged: number; held: number };
  inclination: { judged: number; held: number };
  /** Shots that are wrong by more than five times the noise, those of them named, and good shots named. */
  blunders: { made: number; named: number; falsely: number };
  drifts: number;
}

export function tallyOf(scenario: Scenario, seeds: readonly number[]): Tally {
  const tally: Tally = {
    courses: 0,
    found: 0,
    accused: 0,
    azimuth: { judged: 0, held: 0 },
    inclination: { judged: 0, held: 0 },
    blunders: { made: 0, named: 0, falsely: 0 },
    drifts: 0,
  };
  for (const seed of seeds) {
    // never the reference
    const culprit = 1 + (seed % 7);
    const constants = Array.from({ length: 8 }, (_, i) => {
      if (scenario.allRight || i !== culprit) return 0;
      return seed % 2 ? OFF_BY : -OFF_BY;
    });
    const made = madeUpCourse({ seed, constants, ...scenario.settings });
    const terms: CourseTerms = {
      ...(scenario.noDatum ? {} : datumOf(seed)),
      tolerance: TOLERANCE,
      ...scenario.terms,
    };
    const adjusted = adjustCourse(made.course, terms);
    if (!adjusted.ok) throw new Error(adjusted.message);
    count(tally, made, adjusted, scenario.allRight ? undefined : culprit);
  }
  return tally;
}

function count(
  tally: Tally,
  { course, truth }: MadeUpCourse,
  adjusted: CourseAdjustment,
  culprit: number | undefined,
): void {
  tally.courses += 1;
  const isFound = (i: number) => adjusted.instruments[i].tests.azimuth.constant.verdict === 'off';
  if (culprit !== undefined && isFound(culprit)) tally.found += 1;
  const isAccused = adjusted.instruments.some(
    ({ verdict, tests: { azimuth, inclination } }, i) =>
      verdict === 'reversed' ||
      (i !== culprit && isFound(i)) ||
      inclination.constant.verdict === 'off' ||
      azimuth.scatter.verdict === 'too noisy' ||
      inclination.scatter.verdict === 'too noisy',
  );
  if (isAccused) tally.accused += 1;
  const hold = (
    into: Tally['azimuth'],
    found: Quantity,
    name: string,
    true_: ReadonlyMap<string, number>,
  ) => {
    const own = true_.get(name)!;
    const judge = (off: number, half: number) => {
      into.judged += 1;
      if (Math.abs(off) <= half) into.held += 1;
    };
    if (found.determined) judge(turn(own, found.value), found.half);
    else if (found.difference) {
      const { from, value, half } = found.difference;
      judge(turn(own - true_.get(from)!, value), half);
    }
  };
  for (const { leg, azimuth, inclination } of adjusted.legs) {
    hold(tally.azimuth, azimuth, leg, truth.azimuth);
    hold(tally.inclination, inclination, leg, truth.inclination);
  }
  for (const { instrument, constant, index } of adjusted.instruments) {
    hold(tally.azimuth, constant, instrument, truth.constant);
    hold(tally.inclination, index, instrument, truth.index);
  }
  for (const { station, disturbance } of adjusted.stations) {
    hold(tally.azimuth, disturbance, station, truth.disturbance);
  }
  const named = new Set(adjusted.blunders.map(({ shot }) => shot));
  tally.blunders.made += truth.blunders.size;
  for (const { id } of course.shots) {
    if (!named.has(id)) continue;
    if (truth.blunders.has(id)) tally.blunders.named += 1;
    else tally.blunders.falsely += 1;
  }
  if (adjusted.drift?.verdict === 'drifts') tally.drifts += 1;
}

/** Check courses as they come in a club: what is found, whom it wrongs, whether intervals hold. */
export function checkCourse(): Figure[] {
  return [...SCENARIOS.flatMap(figuresOf), howLong()];
}

function figuresOf(scenario: Scenario): Figure[] {
  const tally = tallyOf(
    scenario,
    Array.from({ length: COURSES }, (_, i) => i + 1),
  );
  const percent = (part: number, of = tally.courses) => `${((100 * part) / of).toFixed(1)} %`;
  const { azimuth, inclination, blunders } = tally;
  const of = `check course, ${COURSES} times six legs by eight instruments, ${scenario.name}`;
  return [
    ...(scenario.allRight
      ? []
      : [{ what: `${of}: it is found`, value: percent(tally.found), beside: '≥ 95 % wanted' }]),
    {
      what: `${of}: nothing is said against any instrument that is not so`,
      value: percent(tally.courses - tally.accused),
      beside: '≥ 95 % wanted',
    },
    {
      what: `${of}: 95 % intervals hold the truth: azimuths, inclinations`,
      value: `${percent(azimuth.held, azimuth.judged)}, ${percent(inclination.held, inclination.judged)}`,
      beside: '93 to 97 % wanted',
    },
    ...(blunders.made > 0
      ? [
          {
            what: `${of}: wrong shots that are named; good ones named`,
            value: `${percent(blunders.named, blunders.made)}; ${(blunders.falsely / tally.courses).toFixed(2)} a course`,
            beside: `${blunders.made} made`,
          },
        ]
      : []),
    ...(scenario.settings?.drift
      ? [{ what: `${of}: the drift is found`, value: percent(tally.drifts), beside: '' }]
      : []),
  ];
}

/** One whole adjustment, both angles, against solving the azimuths' rows once and densely, in turn. */
function howLong(): Figure {
  const { course } = madeUpCourse({ seed: 1 });
  const terms: CourseTerms = { ...datumOf(1), tolerance: TOLERANCE };
  const { rows, unknowns, weighed } = systemOf('azimuth', course, terms, legInclinations(course));
  const timed = (work: () => unknown) => {
    const begun = performance.now();
    work();
    return performance.now() - begun;
  };
  const dense = () => {
    const A = Matrix.zeros(rows.length, unknowns);
    rows.forEach((row, j) => {
      for (const [i, k] of row) A.set(j, i, k / weighed[j].sigma);
    });
    return pseudoInverse(A);
  };
  const times = Array.from({ length: 41 }, () => ({
    whole: timed(() => adjustCourse(course, terms)),
    once: timed(dense),
  }));
  const middle = (of: 'whole' | 'once') =>
    times.map((each) => each[of]).sort((a, b) => a - b)[times.length >> 1];
  return {
    what: 'check course: one adjustment of 192 shots by eight instruments, both angles, robust, with all tests',
    value: `${middle('whole').toFixed(1)} ms`,
    beside: `${(middle('whole') / middle('once')).toFixed(1)} × the pseudo-inverse of the azimuths' design alone (ml-matrix)`,
  };
}
