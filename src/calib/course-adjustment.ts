import type {
  AdjustedAngle,
  AdjustedStation,
  Angle,
  AngleSummary,
  Blunder,
  Course,
  CourseAdjustment,
  CourseRefusal,
  CourseTerms,
  CourseWarning,
  HeldAgainst,
  Quantity,
} from './check-course.ts';
import { courseFault } from './course-fault.ts';
import { legInclinations, NOISE, systemOf, type Knots } from './course-observations.ts';
import { driftOf, knotsFor } from './field-drift.ts';
import { turn, wrap } from './geometry.ts';
import { holmAdjusted } from './holm.ts';
import {
  comparableSets,
  estimated,
  probabilityOfNothing,
  solve,
  type Designed,
  type Solved,
} from './course-solution.ts';
import { testInstruments } from './instrument-tests.ts';
import { AdjustmentDesign, type Terms } from './least-squares-adjustment.ts';
import { putRight, reversedInstruments } from './reversed-shots.ts';
import { chiSquareProbability, studentProbability } from './quantiles.ts';

/**
 * One least-squares adjustment of a whole check course, see check-course.ts for the model. Inclinations first, since they
 * tell how azimuths scatter, then azimuths; the two have no unknown in common.
 *
 * Weights are robust (robust-weights.ts: Hampel's, from a first answer with Huber's), their scale found from the shots; an
 * instrument that scatters more than the others has a scale of its own. Intervals are two-sided, 95 %, each by itself.
 * Shots of an instrument that are reversed throughout go in as if put right, and that is said of it.
 */
export function adjustCourse(given: Course, terms: CourseTerms): CourseAdjustment | CourseRefusal {
  const fault = courseFault(given, terms);
  if (fault) return fault;
  const reversed = reversedInstruments(given);
  const course = putRight(given, reversed);
  const slopes = legInclinations(course);
  const designWith = (angle: Angle, knots?: Knots): Designed => {
    const system = systemOf(angle, course, terms, slopes, knots);
    const design = new AdjustmentDesign(system.unknowns, system.rows, system.conditions);
    return { system, design };
  };
  const { knots, warnings, outside } = knotsFor(
    course,
    terms,
    (some) => designWith('azimuth', some),
    solve,
  );
  const solved: Record<Angle, Solved> = {
    azimuth: solve(designWith('azimuth', knots)),
    inclination: solve(designWith('inclination')),
  };
  const known = ANGLES.flatMap((angle) => knownOf(solved[angle]));
  const adjusted = holmAdjusted(known.flatMap(({ p }) => p ?? []));
  for (const each of known) if (each.p !== undefined) each.p = adjusted.shift()!;
  const disagree = known.filter(({ p }) => p !== undefined && p <= 0.05);
  const zero = new Set(disagree.map(({ angle }) => angle));
  const { tests, verdicts, alike } = testInstruments(course, terms, solved, { zero, outside, reversed }); // prettier-ignore
  const blunders = ANGLES.flatMap((angle) => blundersOf(course, solved, angle));
  const drift = terms.reference === undefined ? undefined : driftOf(knots, solved.azimuth);

  const { legs, instruments, stations, shots } = course;
  const shotsOf = (of: 'leg' | 'instrument', name: string) =>
    shots.filter((shot) => shot[of] === name).length;
  const quantities = (angle: Angle, names: readonly string[], at: (i: number) => number) =>
    quantitiesOf(solved[angle], names, at);
  const legNames = legs.map(({ id }) => id);
  const [azimuths, inclinations] = ANGLES.map((angle) =>
    quantities(angle, legNames, solved[angle].system.legAt),
  );
  const [constants, indices] = ANGLES.map((angle) =>
    quantities(angle, instruments, solved[angle].system.instrumentAt),
  );
  return {
    ok: true,
    legs: legs.map(({ id }, i) => ({
      leg: id,
      azimuth: azimuths[i].determined
        ? { ...azimuths[i], value: wrap(azimuths[i].value) }
        : azimuths[i],
      inclination: inclinations[i],
      shots: shotsOf('leg', id),
    })),
    instruments: instruments.map((instrument, i) => ({
      instrument,
      verdict: verdicts[i],
      shots: shotsOf('instrument', instrument),
      blunders: new Set(
        blunders.flatMap((each) => (each.instrument === instrument ? [each.shot] : [])),
      ).size,
      ...(reversed.has(instrument) && { reversed: reversed.get(instrument)! }),
      constant: constants[i],
      index: indices[i],
      tests: tests[i],
    })),
    stations: disturbancesOf(
      stations,
      quantitiesOf(solved.azimuth, stations, solved.azimuth.system.stationAt, zero.has('azimuth')),
      terms.level ?? 0.05,
    ),
    shots: shotsAdjusted(course, solved),
    blunders,
    known,
    ...(drift && { drift }),
    azimuth: summaryOf(course, terms, solved.azimuth),
    inclination: summaryOf(course, terms, solved.inclination),
    warnings: [
      ...(alike ? (['all off alike'] as const) : []),
      ...(disagree.length > 0 ? (['known disagrees'] as const) : []),
      ...(ANGLES.every((angle) => solved[angle].result.converged)
        ? []
        : (['not converged'] as const)),
      ...warnings,
    ] satisfies CourseWarning[],
  };
}

const ANGLES = ['azimuth', 'inclination'] as const;

/** @param inDoubt what they are counted from does not fit, so that they are told as differences only */
function quantitiesOf(
  solved: Solved,
  names: readonly string[],
  at: (i: number) => number,
  inDoubt = false,
): Quantity[] {
  const places = names.map((_, i) => at(i));
  const sets = comparableSets(solved.design, places);
  return names.map((_, i): Quantity => {
    const alone = inDoubt ? undefined : estimated(solved, [[places[i], 1]]);
    if (alone) return { determined: true, ...alone };
    const set = sets.find((members) => members.includes(i))!;
    const comparable = set.filter((other) => other !== i).map((other) => names[other]);
    const terms: Terms = [
      [places[i], 1],
      [places[set[0]], -1],
    ];
    return {
      determined: false,
      comparable,
      ...(set[0] !== i && { difference: { from: names[set[0]], ...estimated(solved, terms)! } }),
    };
  });
}

function disturbancesOf(
  stations: readonly string[],
  disturbances: readonly Quantity[],
  level: number,
): AdjustedStation[] {
  const p = disturbances.map((each) =>
    each.determined && each.error > 0 ? probabilityOfNothing(each) : undefined,
  );
  const adjusted = holmAdjusted(p.filter((each) => each !== undefined));
  return stations.map((station, i) => {
    const own = p[i] === undefined ? undefined : adjusted.shift()!;
    return {
      station,
      disturbance: disturbances[i],
      ...(own !== undefined && { p: own }),
      disturbs: own !== undefined && own <= level,
    };
  });
}

function shotsAdjusted(course: Course, solved: Record<Angle, Solved>): CourseAdjustment['shots'] {
  const angles = ANGLES.map((angle) => {
    const { system, result } = solved[angle];
    const seen = new Map<number, AdjustedAngle>();
    system.of.forEach((row, j) => {
      if (row.kind !== 'shot') return;
      const standardised = result.standardised[j];
      seen.set(row.shot, {
        residual: shownResidual(solved[angle], j),
        sigma: result.sigmas[j],
        redundancy: Math.max(0, result.redundancy[j]),
        weight: result.weights[j] > 1e-3 ? result.weights[j] : 0,
        ...(standardised !== undefined && { standardised }),
      });
    });
    return seen;
  });
  return course.shots.map(({ id, azimuth }, at) => ({
    id,
    ...(angles[0].has(at) && { azimuth: angles[0].get(at)! }),
    ...(angles[1].has(at) && { inclination: angles[1].get(at)! }),
    steep: azimuth !== undefined && !angles[0].has(at),
  }));
}

function shownResidual({ system, result }: Solved, j: number): number {
  const residual = result.adjusted.residuals[j];
  return system.angle === 'azimuth' ? turn(0, residual) : residual;
}

/** Degrees of freedom with which the noise of a row's shot is known. */
function freedomOfRow({ system, result }: Solved, j: number): number {
  const instrument = system.weighed[j].instrument;
  const freedom =
    instrument !== undefined && result.apart.has(instrument)
      ? result.own.get(instrument)!.freedom
      : result.freedom;
  return Math.min(1e6, Math.max(1, freedom));
}

/** How many standard deviations a shot may be off what it is said to fit instead. */
const FITS = 3;

function blundersOf(course: Course, solved: Record<Angle, Solved>, angle: Angle): Blunder[] {
  const one = solved[angle];
  const { system, result } = one;
  const count = system.of.filter(({ kind }) => kind === 'shot').length;
  return system.of.flatMap((row, j): Blunder[] => {
    const standardised = result.standardised[j];
    if (row.kind !== 'shot' || standardised === undefined) return [];
    const p = count * 2 * studentProbability(-Math.abs(standardised), freedomOfRow(one, j));
    if (p > 0.05) return [];
    const shot = course.shots[row.shot];
    const fits = fitsInstead(course, solved, row.shot);
    const residual = shownResidual(one, j);
    return [{ shot: shot.id, instrument: shot.instrument, angle, residual, standardised, p, ...(fits && { fits }) }]; // prettier-ignore
  });
}

/** What a shot would fit that does not fit where it stands: in both angles, so that chance hardly does it. */
function fitsInstead(
  { legs, instruments, shots }: Course,
  solved: Record<Angle, Solved>,
  at: number,
): Blunder['fits'] {
  const shot = shots[at];
  const { azimuth, inclination } = shot;
  if (azimuth === undefined || inclination === undefined) return undefined;
  const own = legs.findIndex(({ id }) => id === shot.leg);
  const instrument = instruments.indexOf(shot.instrument);
  const fits = (leg: number, way: 'fore' | 'back', sign = 1): boolean =>
    ANGLES.every((angle) => {
      const { system, result } = solved[angle];
      const { terms, turned } = system.shown(leg, way, instrument, shot.time);
      const first = terms.reduce((sum, [i, k]) => sum + k * system.first[i], turned);
      const expected = first + result.adjusted.valueOf(terms);
      const off = angle === 'azimuth' ? turn(expected, azimuth) : sign * inclination - expected;
      const scale = result.apart.has(shot.instrument)
        ? result.own.get(shot.instrument)!.ratio
        : result.ratio;
      return Math.abs(off) <= FITS * scale * system.sigmaAlong(leg);
    });
  if (fits(own, shot.way, -1)) return { as: 'sign changed' };
  const other = shot.way === 'fore' ? 'back' : 'fore';
  if (fits(own, other)) return { as: 'other way' };
  for (const [leg, { id }] of legs.entries()) {
    if (leg === own) continue;
    for (const way of ['fore', 'back'] as const) {
      if (fits(leg, way)) return { as: 'other leg', leg: id, way };
    }
  }
  return undefined;
}

function knownOf(solved: Solved): HeldAgainst[] {
  const { system, result } = solved;
  return system.of.flatMap((row, j): HeldAgainst[] => {
    // nothing but the bearings of legs is counted by the declination: they are what is held against the rest
    if (row.kind === 'shot' || row.kind === 'declination') return [];
    const standardised = result.standardised[j];
    return [
      {
        what: row.kind,
        name: row.name,
        angle: system.angle,
        ...(standardised !== undefined && {
          away: shownResidual(solved, j) / result.redundancy[j],
          standardised,
          p: 2 * studentProbability(-Math.abs(standardised), freedomOfRow(solved, j)),
        }),
      },
    ];
  });
}

function summaryOf(
  { legs, instruments, stations }: Course,
  terms: CourseTerms,
  { system, design, result }: Solved,
): AngleSummary {
  const { angle } = system;
  const { ratio } = result;
  const isKnown = !Number.isFinite(result.freedom);
  const noiseFreedom = isKnown ? 0 : result.freedom;
  const statistic = noiseFreedom * ratio ** 2;
  const below = noiseFreedom >= 1 ? chiSquareProbability(statistic, noiseFreedom) : 0.5;
  const p = Math.min(1, 2 * Math.min(below, 1 - below));
  const covariance = result.adjusted.covariance();
  const sets = (names: readonly string[], at: (i: number) => number) =>
    comparableSets(
      design,
      names.map((_, i) => at(i)),
    ).map((set) => set.map((i) => names[i]));
  return {
    shots: system.of.filter(({ kind }) => kind === 'shot').length,
    unknowns: system.unknowns,
    undetermined: design.undetermined,
    freedom: system.rows.length - design.rank,
    noise: ratio * (terms.noise?.[angle] ?? NOISE[angle]),
    noiseFreedom,
    global: {
      statistic,
      freedom: noiseFreedom,
      p,
      verdict:
        noiseFreedom < 1
          ? 'cannot tell'
          : p >= 0.05
            ? 'as expected'
            : below > 0.5
              ? 'noisier'
              : 'quieter',
    },
    comparable: {
      legs: sets(
        legs.map(({ id }) => id),
        system.legAt,
      ),
      instruments: sets(instruments, system.instrumentAt),
      stations: angle === 'azimuth' ? sets(stations, system.stationAt) : [],
    },
    covariance: covariance
      ? { ok: true, unknowns: system.names, rows: covariance }
      : {
          ok: false,
          cause: 'rank deficient',
          undetermined: system.names.filter((_, i) => !design.determines([[i, 1]])),
        },
    iterations: result.iterations,
    converged: result.converged,
  };
}
