import type {
  AdjustedInstrument,
  Angle,
  ConstantTest,
  Course,
  CourseTerms,
  Estimated,
  InstrumentVerdict,
  ScatterTest,
  Unsettled,
} from './check-course.ts';
import { NOISE } from './course-observations.ts';
import { holmAdjusted } from './holm.ts';
import type { Terms } from './least-squares-adjustment.ts';
import { chiSquareProbability, chiSquareQuantile } from './quantiles.ts';
import { comparableSets, estimated, probabilityOfNothing, type Solved } from './course-solution.ts';

/**
 * Which instrument is off, and which too noisy: each one's constant of azimuth, index error of inclination, and scatter
 * of both. All of it, over all instruments, is one family of tests: p-values are adjusted after Holm, so that the chance
 * of any false accusation at all is at most the level. Holm rather than Šidák, since the tests hang together (they share
 * datum and legs) in ways that differ from test to test, and Holm holds however they do; and since it costs less power.
 *
 * A constant is tested against the mean of the others, one by one (Student's t): the one that stands out most is taken
 * out of that mean before the rest are looked at again, so that one that is off does not make the others look so. That
 * says who is off only while most agree. A constant that is determined by itself is tested against zero too, which the
 * uncertainty of the datum makes the weaker test of one among many; its p-value is then twice the smaller of the two
 * (Bonferroni). Where it lies nearer to zero than the others do, the test against them is left out.
 *
 * Scatter is tested one-sided: against the others by F, or against what is allowed by χ².
 *
 * @param doubts angles whose known values do not fit, so that nothing is held against zero; instruments whose azimuths
 *   may have a drift of the field in them; and those whose shots as a whole fit otherwise than they were given
 */
export function testInstruments(
  course: Pick<Course, 'instruments'>,
  terms: CourseTerms,
  solved: Record<Angle, Solved>,
  doubts: Doubts,
): { tests: AdjustedInstrument['tests'][]; verdicts: InstrumentVerdict[]; alike: boolean } {
  const level = terms.level ?? 0.05;
  const { instruments } = course;
  const count = instruments.length * 4;
  const constants = {
    azimuth: constantTests(instruments, solved.azimuth, terms, level / count, doubts),
    inclination: constantTests(instruments, solved.inclination, terms, level / count, doubts),
  };
  const scatters = {
    azimuth: instruments.map((name) => scatterTest(name, solved.azimuth, terms)),
    inclination: instruments.map((name) => scatterTest(name, solved.inclination, terms)),
  };
  const family: { p?: number; adjusted?: number }[] = ANGLES.flatMap((angle) => [
    ...constants[angle],
    ...scatters[angle],
  ]);
  const tested = family.filter(({ p }) => p !== undefined);
  holmAdjusted(tested.map(({ p }) => p!)).forEach((p, i) => (tested[i].adjusted = p));
  for (const angle of ANGLES) {
    constants[angle].forEach((test, i) => {
      const { system, result } = solved[angle];
      const byItself = doubts.zero.has(angle)
        ? undefined
        : estimated(solved[angle], [[system.instrumentAt(i), 1]]);
      judgeConstant(test, byItself, terms.tolerance[angle], level);
      const why = notToBeRelied(test, {
        isAssumed: !Number.isFinite(result.freedom),
        isOutside:
          angle === 'azimuth' &&
          (test.against === 'others'
            ? doubts.outside.size > 0
            : doubts.outside.has(instruments[i])),
      });
      if (why) Object.assign(test, { verdict: 'not settled', why });
    });
    for (const test of scatters[angle]) {
      if (test.adjusted !== undefined && test.adjusted <= level) test.verdict = 'too noisy';
    }
  }
  const tests = instruments.map((_, i) => ({
    azimuth: { constant: constants.azimuth[i], scatter: scatters.azimuth[i] },
    inclination: { constant: constants.inclination[i], scatter: scatters.inclination[i] },
  }));
  return {
    tests,
    verdicts: tests.map((each, i) =>
      doubts.reversed.has(instruments[i]) ? 'reversed' : overall(each),
    ),
    alike: ANGLES.some((angle) => offAlike(constants[angle], solved[angle], level / count)),
  };
}

export interface Doubts {
  zero: ReadonlySet<Angle>;
  outside: ReadonlySet<string>;
  reversed: { has(instrument: string): boolean };
}

const ANGLES = ['azimuth', 'inclination'] as const;

/** Why a verdict is held back that the figures alone would give. */
function notToBeRelied(
  { verdict, value }: ConstantTest,
  { isAssumed, isOutside }: { isAssumed: boolean; isOutside: boolean },
): Unsettled | undefined {
  // one that is held fast was not found by any shot
  if (verdict === 'not settled' || value?.error === 0) return undefined;
  if (isAssumed) return 'noise assumed';
  return isOutside ? 'outside reference' : undefined;
}

function overall(tests: AdjustedInstrument['tests']): InstrumentVerdict {
  const constants = ANGLES.map((angle) => tests[angle].constant);
  if (constants.some(({ verdict }) => verdict === 'off')) return 'off';
  if (ANGLES.some((angle) => tests[angle].scatter.verdict === 'too noisy')) return 'too noisy';
  // an instrument that has one of the angles only is judged by that
  const had = constants.filter(({ why }) => why !== 'no shots');
  return had.length > 0 && had.every(({ verdict }) => verdict === 'in tolerance')
    ? 'in tolerance'
    : 'not settled';
}

function constantTests(
  instruments: readonly string[],
  solved: Solved,
  { tolerance }: CourseTerms,
  level: number,
  { zero }: Doubts,
): ConstantTest[] {
  const { system, design } = solved;
  const inDoubt = zero.has(system.angle);
  const places = instruments.map((_, i) => system.instrumentAt(i));
  const shot = new Set(system.weighed.map(({ instrument }) => instrument));
  const tests = instruments.map((name, i): ConstantTest => {
    const unsettled = { verdict: 'not settled', surelyBeyond: false } as const;
    const terms: Terms = [[places[i], 1]];
    const value = inDoubt ? undefined : estimated(solved, terms);
    if (!shot.has(name)) return { ...unsettled, why: 'no shots' };
    if (!value) return { ...unsettled, why: 'not determined' };
    // one that is held fast is what the others are held against
    return {
      ...unsettled,
      against: 'zero',
      value,
      ...(value.error > 0 && { p: probabilityOfNothing(value) }),
    };
  });
  alsoAgainstOthers(tests, places, solved, level);
  for (const set of comparableSets(design, places)) {
    const members = set.filter((i) => tests[i].why === 'not determined');
    if (members.length < 2) continue;
    const { agree, against } = partiesOf(members, places, solved, level);
    // of two that differ nothing says which is off
    const isParted =
      members.length === 2 ? against.get(members[0])!.p <= level : agree.size <= members.length / 2;
    for (const i of members) {
      const { value, p } = against.get(i)!;
      tests[i] = {
        verdict: 'not settled',
        why: isParted ? 'no majority' : inDoubt ? 'datum disagrees' : 'others alone',
        against: 'others',
        value,
        surelyBeyond: false,
        ...(members.length > 2 && !isParted && { p }),
      };
    }
  }
  for (const test of tests) {
    if (!test.value) continue;
    test.surelyBeyond = Math.abs(test.value.value) - test.value.half > tolerance[system.angle];
  }
  return tests;
}

/** Tests determined constants against each other too, where most agree. */
function alsoAgainstOthers(
  tests: ConstantTest[],
  places: readonly number[],
  solved: Solved,
  level: number,
): void {
  const members = tests.flatMap(({ p }, i) => (p === undefined ? [] : [i]));
  if (members.length < 3) return;
  const { agree, against } = partiesOf(members, places, solved, level);
  if (agree.size <= members.length / 2) return;
  for (const i of members) {
    const own = tests[i].p!;
    const { value, p } = against.get(i)!;
    const fromZero = tests[i].value!.value;
    const othersAre = fromZero - value.value;
    const isFarther = Math.abs(fromZero) > Math.abs(othersAre);
    tests[i].p = Math.min(1, 2 * (isFarther ? Math.min(own, p) : own));
    if (isFarther && p < own && p <= level) Object.assign(tests[i], { against: 'others', value });
  }
}

/** Those that agree, found by leaving out what stands out most; and each held against those that agree. */
function partiesOf(
  members: readonly number[],
  places: readonly number[],
  solved: Solved,
  level: number,
): { agree: Set<number>; against: Map<number, { value: Estimated; p: number }> } {
  const agree = new Set(members);
  const held = (i: number) => {
    const others = [...agree].filter((other) => other !== i);
    const terms: Terms = [
      [places[i], 1],
      ...others.map((other) => [places[other], -1 / others.length] as const),
    ];
    const value = estimated(solved, terms)!;
    return { value, p: probabilityOfNothing(value) };
  };
  while (agree.size > 2) {
    const [worst, { p }] = [...agree]
      .map((i) => [i, held(i)] as const)
      .reduce((most, each) => (statistic(each[1]) > statistic(most[1]) ? each : most));
    if (p > level) break;
    agree.delete(worst);
  }
  return { agree, against: new Map(members.map((i) => [i, held(i)])) };
}

const statistic = ({ value }: { value: Estimated }) => Math.abs(value.value) / value.error;

/** @param byItself its value from zero, where it is determined */
function judgeConstant(
  test: ConstantTest,
  byItself: Estimated | undefined,
  tolerance: number,
  level: number,
): void {
  const { value, adjusted } = test;
  if (!value) return;
  const isWithin = ({ value, half }: Estimated) => Math.abs(value) + half <= tolerance;
  const differs = value.error === 0 || (adjusted !== undefined && adjusted <= level);
  if (byItself && isWithin(byItself)) test.verdict = 'in tolerance';
  else if (differs && !isWithin(value)) test.verdict = 'off';
  else if (byItself) test.why = 'interval too wide';
  if (test.verdict !== 'not settled') delete test.why;
}

/** Whether all that are held against zero are off to the same side, and none of them differs from the others. */
function offAlike(tests: readonly ConstantTest[], solved: Solved, level: number): boolean {
  const members = tests.flatMap(({ against, p }, i) =>
    against === 'zero' && p !== undefined ? [i] : [],
  );
  if (members.length < 2) return false;
  const signs = new Set(members.map((i) => Math.sign(tests[i].value!.value)));
  if (signs.size > 1 || members.some((i) => tests[i].verdict !== 'off')) return false;
  const places = tests.map((_, i) => solved.system.instrumentAt(i));
  const { agree, against } = partiesOf(members, places, solved, level);
  return agree.size === members.length && [...against.values()].every(({ p }) => p > level);
}

function scatterTest(name: string, { system, result }: Solved, terms: CourseTerms): ScatterTest {
  const { angle } = system;
  const own = result.own.get(name);
  if (!own || own.freedom < 1) {
    return { verdict: 'not settled', freedom: own?.freedom ?? 0 };
  }
  const { freedom } = own;
  const sigma = own.ratio * (terms.noise?.[angle] ?? NOISE[angle]);
  const bound = (p: number) => sigma * Math.sqrt(freedom / chiSquareQuantile(p, freedom));
  const base = { sigma, low: bound(0.975), high: bound(0.025), freedom };
  const allowed = terms.tolerance.scatter?.[angle];
  if (allowed !== undefined) {
    const ratio = (sigma / allowed) ** 2;
    const p = 1 - chiSquareProbability(freedom * ratio, freedom);
    return { verdict: 'as allowed', ...base, ratio, p };
  }
  if (!own.others || own.p === undefined) return { verdict: 'not settled', ...base };
  return { verdict: 'as others', ...base, ratio: (own.ratio / own.others.ratio) ** 2, p: own.p };
}
