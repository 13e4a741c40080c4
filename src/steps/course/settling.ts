import type {
  AdjustedInstrument,
  Blunder,
  ConstantTest,
  Course,
  CourseAdjustment,
  CourseTerms as AdjustmentTerms,
  Estimated,
  Known,
  Quantity,
} from '../../calib/check-course.ts';
import { adjustCourse } from '../../calib/course-adjustment.ts';
import { coursePrecision } from '../../calib/course-precision.ts';
import { degrees, radians } from '../../calib/geometry.ts';
import type { Deviation, Precision } from '../../calib/repeatability.ts';
import {
  instrumentKey,
  isSameLeg,
  type CourseDeviation,
  type CourseFigure,
  type CourseInstrument,
  type CourseLayout,
  type CourseLeg,
  type CoursePrecision,
  type CourseQuantity,
  type CourseResult,
  type CourseTerms,
  type InstrumentResult,
  type InstrumentStanding,
  type ShotWay,
} from '../../records/course-notes.ts';
import type { ShotState } from './course-state.ts';
import {
  blindToOf,
  blunderWords,
  constantWords,
  refusalWords,
  standingWords,
  undeterminedWords,
  warningWords,
} from './settling-words.ts';

/** Magnetic from true north, degrees, with its standard uncertainty. */
export interface Declination {
  degrees: number;
  sigma: number;
  /** What says so. */
  model: string;
}

export type Settled = { ok: true; result: CourseResult } | { ok: false; message: string };

/** Whether a bearing is known of the course that is of no use without the declination. */
export const wantsDeclination = ({ legs }: Pick<CourseLayout, 'legs'>): boolean =>
  legs.some(({ azimuth }) => azimuth !== undefined && azimuth.north !== 'magnetic');

/**
 * What the shots of one outing come to: one adjustment for all of them.
 *
 * @param shots those that count
 * @param declination of that day and place; without it bearings from true or grid north are not used
 */
export function settle(
  layout: CourseLayout,
  terms: CourseTerms,
  shots: readonly ShotState[],
  declination?: Declination,
  nameOf: (instrument: CourseInstrument) => string = nameAlone,
): Settled {
  const course = courseFor(layout, shots);
  const known = adjustmentTerms(layout, terms, course, declination);
  const outcome = adjustCourse(course, known);
  if (!outcome.ok) return { ok: false, message: refusalWords(outcome) };
  return {
    ok: true,
    result: resultOf({ layout, shots, declination, nameOf, course, known, outcome }),
  };
}

const nameAlone = (instrument: CourseInstrument): string =>
  'board' in instrument ? instrument.board : instrument.name;

const idOf = (at: number): string => String(at);
const legAt = ({ legs }: Pick<CourseLayout, 'legs'>, leg: { from: string; to: string }): number =>
  legs.findIndex((each) => isSameLeg(each, leg));

function courseFor(layout: CourseLayout, shots: readonly ShotState[]): Course {
  return {
    stations: layout.stations,
    legs: layout.legs.map(({ from, to }, i) => ({ id: idOf(i), from, to })),
    instruments: [...new Set(shots.map(({ instrument }) => instrumentKey(instrument)))],
    shots: shots.map(({ id, instrument, leg, way, azimuth, inclination, taken }) => ({
      id,
      instrument: instrumentKey(instrument),
      leg: idOf(legAt(layout, leg)),
      way,
      ...(azimuth !== undefined && { azimuth: radians(azimuth) }),
      ...(inclination !== undefined && { inclination: radians(inclination) }),
      ...(taken !== undefined && { time: Date.parse(taken) / 1000 }),
    })),
  };
}

/** What is known beforehand, counted from magnetic north. */
function adjustmentTerms(
  layout: CourseLayout,
  { stations, reference, tolerance }: CourseTerms,
  { instruments }: Course,
  declination: Declination | undefined,
): AdjustmentTerms {
  const legs = layout.legs.flatMap((leg, i) => {
    const azimuth = magneticOf(leg, layout, declination);
    const inclination = leg.inclination && knownOf(leg.inclination);
    return azimuth || inclination
      ? [{ leg: idOf(i), ...(azimuth && { azimuth }), ...(inclination && { inclination }) }]
      : [];
  });
  const key = reference && instrumentKey(reference.instrument);
  const isThere = key !== undefined && instruments.includes(key);
  const right = reference?.asRight === undefined ? undefined : radians(reference.asRight);
  const limit = radians(tolerance);
  return {
    ...(legs.length > 0 && { legs }),
    ...(declination &&
      wantsDeclination(layout) && { declinationSigma: radians(declination.sigma) }),
    ...(isThere &&
      right !== undefined && {
        instruments: [
          {
            instrument: key,
            azimuth: { value: 0, sigma: right },
            inclination: { value: 0, sigma: right },
          },
        ],
      }),
    ...(stations !== 'nothing said' && {
      disturbances:
        'clean' in stations
          ? {
              by: 'clean stations' as const,
              stations: stations.clean
                .filter((station) => layout.stations.includes(station))
                .map((station) => ({ station, sigma: sigmaOf(stations) })),
            }
          : { by: 'zero mean' as const, sigma: radians(stations.zeroMean) },
    }),
    ...(isThere && { reference: key }),
    tolerance: { azimuth: limit, inclination: limit },
  };
}

/**
 * A known azimuth from magnetic north: true = grid + convergence, magnetic = true − declination. None where the
 * declination is wanted and not known.
 */
function magneticOf(
  { azimuth }: CourseLeg,
  { convergence = 0 }: CourseLayout,
  declination: Declination | undefined,
): Known | undefined {
  if (!azimuth) return undefined;
  if (azimuth.north === 'magnetic') return knownOf(azimuth);
  if (!declination) return undefined;
  const fromTrue = azimuth.degrees + (azimuth.north === 'grid' ? convergence : 0);
  return knownOf({ degrees: fromTrue - declination.degrees, sigma: azimuth.sigma });
}

const knownOf = (known: { degrees: number; sigma: number }): Known => ({
  value: radians(known.degrees),
  sigma: sigmaOf(known),
});

/**
 * Nothing is known better than to a thousandth of a degree. What is said to be known to nothing is taken so, or the shots
 * could not speak against it: a value held fast has no residual.
 */
const sigmaOf = ({ sigma }: { sigma: number }): number => radians(Math.max(1e-3, sigma));

interface Whole {
  layout: CourseLayout;
  shots: readonly ShotState[];
  declination: Declination | undefined;
  course: Course;
  nameOf(instrument: CourseInstrument): string;
  known: AdjustmentTerms;
  outcome: CourseAdjustment;
}

function resultOf(whole: Whole): CourseResult {
  const { layout, shots, course, outcome, known, declination, nameOf } = whole;
  const nameOfKey = (key: string) => {
    const shot = shots.find(({ instrument }) => instrumentKey(instrument) === key);
    return shot ? nameOf(shot.instrument) : key;
  };
  const legName = (id: string) => {
    const leg = layout.legs[Number(id)];
    return leg ? `${leg.from} to ${leg.to}` : id;
  };
  const steep = new Set(outcome.shots.flatMap((shot) => (shot.steep ? [shot.id] : [])));
  const instruments = outcome.instruments.map((each) => instrumentResult(each, shots, steep));
  const blunders = new Set(outcome.blunders.map(({ shot }) => shot));
  const precision = coursePrecision(course, blunders);
  return {
    instruments,
    stations: outcome.stations.map(({ station, disturbance, disturbs }) => ({
      station,
      disturbs,
      ...quantityOf(disturbance, (name) => name),
    })),
    legs: outcome.legs.map(({ leg, azimuth, inclination }) => {
      const { from, to } = layout.legs[Number(leg)]!;
      return {
        from,
        to,
        azimuth: quantityOf(azimuth, legName),
        inclination: quantityOf(inclination, legName),
      };
    }),
    doubted: doubtedOf(outcome.blunders, shots, nameOfKey, layout),
    precision: {
      azimuth: precisionIn(precision.azimuth.overall),
      inclination: precisionIn(precision.inclination.overall),
    },
    ...(outcome.drift && {
      drift: { range: degrees(outcome.drift.range), verdict: outcome.drift.verdict },
    }),
    notDetermined: undeterminedWords(outcome, known, {
      withoutDeclination: wantsDeclination(layout) && declination === undefined,
    }),
    warnings: warningWords(outcome, { nameOfKey, legName }),
    blindTo: blindToOf(outcome, known),
    ...(outcome.warnings.length > 0 && { causes: outcome.warnings }),
  };
}

/** @param steep ids of the shots whose azimuth does not count */
function instrumentResult(
  each: AdjustedInstrument,
  shots: readonly ShotState[],
  steep: ReadonlySet<string>,
): InstrumentResult {
  const own = shots.filter(({ instrument }) => instrumentKey(instrument) === each.instrument);
  const { azimuth, inclination } = each.tests;
  const standing = STANDINGS[each.verdict];
  const { reversed } = each;
  // whether it is the shots that are wrong or the instrument is for a person to say: until then it has no figures
  const figures = reversed
    ? {}
    : { azimuth: testedFigure(azimuth.constant), inclination: testedFigure(inclination.constant) };
  const scatter = {
    ...(azimuth.scatter.sigma !== undefined && { azimuth: degrees(azimuth.scatter.sigma) }),
    ...(inclination.scatter.sigma !== undefined && {
      inclination: degrees(inclination.scatter.sigma),
    }),
  };
  return {
    instrument: own[0]!.instrument, // it is in the course because it has a shot
    shots: each.shots,
    standing,
    verdict: standingWords(standing, each),
    ...(reversed && { reversed }),
    ...(figures.azimuth && { azimuth: figures.azimuth }),
    ...(figures.inclination && { inclination: figures.inclination }),
    scatter,
    words: constantWords(each, own.filter(({ id }) => steep.has(id)).length),
  };
}

const STANDINGS: Readonly<Record<AdjustedInstrument['verdict'], InstrumentStanding>> = {
  'in tolerance': 'within',
  off: 'off',
  'too noisy': 'scatters',
  reversed: 'not settled',
  'not settled': 'not settled',
};

function testedFigure({ value, against }: ConstantTest) {
  return value && against ? { ...figureOf(value), against } : undefined;
}

const figureOf = ({ value, error, freedom, half }: Estimated): CourseFigure => ({
  value: degrees(value),
  error: degrees(error),
  ...(Number.isFinite(freedom) && { freedom }),
  half: degrees(half),
});

function quantityOf(quantity: Quantity, name: (id: string) => string): CourseQuantity {
  if (quantity.determined) return { alone: figureOf(quantity) };
  const { difference, comparable } = quantity;
  if (difference) return { above: { ...figureOf(difference), other: name(difference.from) } };
  return comparable.length > 0 ? { base: true } : {};
}

function doubtedOf(
  blunders: readonly Blunder[],
  shots: readonly ShotState[],
  nameOfKey: (key: string) => string,
  { legs }: CourseLayout,
): CourseResult['doubted'] {
  const lineOf = ({ from, to }: { from: string; to: string }, way: ShotWay) =>
    way === 'fore' ? `${from} to ${to}` : `${to} to ${from}`;
  return shots.flatMap(({ id, instrument, leg, way }) => {
    const own = blunders.filter(({ shot }) => shot === id);
    if (own.length === 0) return [];
    const words = blunderWords(own, (other, otherWay) => lineOf(legs[Number(other)]!, otherWay));
    const who = nameOfKey(instrumentKey(instrument));
    return [{ shot: id, words: `${who}, ${lineOf(leg, way)}: ${words}` }];
  });
}

function precisionIn({ repeatability, reproducibility }: Precision): CoursePrecision {
  return {
    ...(repeatability && { repeatability: deviationOf(repeatability) }),
    ...(reproducibility && { reproducibility: deviationOf(reproducibility) }),
  };
}

const deviationOf = ({ value, low, high }: Deviation): CourseDeviation => ({
  value: degrees(value),
  low: degrees(low),
  ...(Number.isFinite(high) && { high: degrees(high) }),
});
