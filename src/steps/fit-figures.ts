import { attitudesEverywhere, standardErrors } from '../calib/covariance.ts';
import { interval95 } from '../calib/quantiles.ts';
import { degrees, radians } from '../calib/geometry.ts';
import type { ModelVerdict } from '../calib/model-choice.ts';
import { physicalTerms, type Term } from '../calib/physical-terms.ts';
import type { FitRecord, ModelInShort } from '../records/entries.ts';
import type { BoardHistory } from './calibration-state.ts';
import { without } from './copy-without.ts';
import { degreesText, percentText, type Standing } from './finding.ts';
import type { LiveFit, LiveRefusal } from './live-fit.ts';
import { modelInShort, whyWords } from './model-words.ts';

/** The figures of a fit in physical terms, each with its unit and what is normal. */

/** A fit that is shown, whether it is the recorded one or a provisional one. */
export interface ShownFit {
  fit: Omit<FitRecord, 'id'>;
  /** How many readings it was given. */
  readings: number;
  /** It is not the fit that a person asked for, but one made along the way. */
  provisional: boolean;
}

/**
 * What is to be shown of a calibration: the newest fit as long as it is of just the readings that count; else the
 * provisional one, or why there is none; else the fit before the latest change.
 */
export function shownFit(
  { calibration }: BoardHistory,
  live: LiveFit | undefined,
): ShownFit | LiveRefusal | undefined {
  const fit = calibration?.fit;
  if (fit && (!fit.stale || !live)) {
    return { fit, readings: fit.readings.length, provisional: false };
  }
  if (!live?.ok) return live;
  const { readings, fitted } = live;
  return {
    fit: { ...without(live, 'ok', 'fitted'), readings: fitted },
    readings,
    provisional: true,
  };
}

export interface Fact {
  name: string;
  figure: string;
}

/** What matters of a provisional fit, in short; of a recorded one the judgement says it. */
export function inShort({
  uncertainty,
  meanSpread,
  sightings,
  dip,
  noise,
  coefficients,
}: ShownFit['fit']): Fact[] {
  const half = halves(uncertainty);
  const n = sightings.reduce((sum, each) => sum + (each.spread === undefined ? 0 : each.n), 0);
  return [
    { name: 'Azimuth × cos inclination, 95 %', figure: `±\u00a0${degreesText(half.azimuth)}` },
    { name: 'Inclination, 95 %', figure: `±\u00a0${degreesText(half.inclination)}` },
    {
      name: `Mean spread${n > 0 ? ` of ${n} readings it saw` : ''}`,
      figure: meanSpread === undefined ? 'not known yet' : degreesText(degrees(meanSpread)),
    },
    { name: 'Dip of the field', figure: degreesText(degrees(dip)) },
    {
      name: 'Noise of a reading, per axis',
      figure: `${percentText(noise.acc / coefficients.accScale)} of g, ${percentText(noise.mag / coefficients.magScale)} of the field`,
    },
    { name: 'Model', figure: coefficients.model },
  ];
}

type Uncertain = ModelInShort['uncertainty'];

/** Half of the 95 % interval of each angle over all attitudes, degrees. */
function halves({ azimuth, inclination, freedom }: Uncertain) {
  return {
    azimuth: degrees(interval95(azimuth, freedom.azimuth)),
    inclination: degrees(interval95(inclination, freedom.inclination)),
  };
}

/** A row of a table: what it is, its figures, and what is normal. */
export interface FigureRow {
  name: string;
  figures: readonly { figure: string; standing: Standing }[];
  normal: string;
}

/** Beyond these an ordinary board is worth a look: common practice, no published source. Ratios, degrees. */
const NORMAL = {
  accGain: 0.1,
  accOffset: 0.1,
  magGain: 0.5,
  magOffset: 1,
  lean: 3,
  housing: 5,
  between: 5,
  curvature: 0.02,
};

/** The chips as a maker would measure them; undefined where the coefficients are of no instrument at all. */
export function chipFigures({
  uncertainty,
}: ShownFit['fit']): { chips: readonly FigureRow[]; seats: readonly FigureRow[] } | undefined {
  const terms = physicalTerms(uncertainty);
  if (!terms) return undefined;
  const { acc, mag, housing, between, curvature } = terms;
  const percent = (
    name: string,
    row: readonly Term[],
    most: number,
    normal: string,
  ): FigureRow => ({
    name,
    normal,
    figures: row.map((term) => figureOf(term, 100, ' %', most)),
  });
  return {
    chips: [
      percent('Accelerometer scale, more than declared', acc.gain, NORMAL.accGain, 'within ±10 %'),
      percent('Accelerometer zero, of 1 g', acc.offset, NORMAL.accOffset, 'within ±10 %'),
      ...(curvature
        ? [
            percent(
              'Accelerometer curvature, of a reading at 1 g',
              curvature,
              NORMAL.curvature,
              'within ±2 %',
            ),
          ]
        : []),
      percent(
        'Magnetometer scale, more than declared',
        mag.gain,
        NORMAL.magGain,
        'within ±50 %: it holds the strength of the field at the place',
      ),
      percent(
        'Magnetometer zero, of the field',
        mag.offset,
        NORMAL.magOffset,
        'within ±100 %: battery, screws and speaker make it',
      ),
    ],
    seats: [
      ...pairs('Accelerometer', acc.lean, 'within ±3°'),
      ...pairs('Magnetometer', mag.lean, 'within ±3°, more where steel bends the field'),
      ...['the sight', 'right', 'down'].map((about, i) =>
        angle(
          `Magnetometer turned against accelerometer, about ${about}`,
          between[i]!,
          NORMAL.between,
          'within ±5°, as straight as chips are soldered',
        ),
      ),
      ...['right', 'down'].map((about, i) =>
        angle(
          `Accelerometer turned in the housing, about ${about}`,
          housing[i]!,
          NORMAL.housing,
          'within ±5°, as straight as a board sits behind its sight',
        ),
      ),
    ],
  };
}

const angle = (name: string, term: Term, most: number, normal: string): FigureRow => ({
  name,
  normal,
  figures: [figureOf(term, degrees(1), '°', radians(most))],
});

const pairs = (chip: string, lean: readonly Term[], normal: string): FigureRow[] =>
  ['y and z', 'z and x', 'x and y'].map((pair, i) =>
    angle(`${chip} axes ${pair} lean together by`, lean[i]!, NORMAL.lean, normal),
  );

/** @param most that is normal, either way, in the unit of the term */
function figureOf(
  { value, standardError }: Term,
  factor: number,
  unit: string,
  most: number,
): { figure: string; standing: Standing } {
  const text = Math.abs(value * factor).toFixed(2);
  const sign = Number(text) === 0 ? '' : value < 0 ? '−' : '+';
  return {
    figure: `${sign}${text} ±\u00a0${(standardError * factor).toFixed(2)}${unit}`,
    standing: Math.abs(value) <= most ? 'good' : 'watch',
  };
}

export interface ModelsSideBySide {
  /** Which was taken and why, as a sentence. */
  decided: string;
  rows: readonly { name: string; straight: string; bowed: string; note: string }[];
}

/** The straight and the bowed model of the same readings; undefined where nothing is known of the choice. */
export function modelsSideBySide({ fit }: ShownFit): ModelsSideBySide | undefined {
  const { modelChoice: verdict, otherModel: other, coefficients } = fit;
  if (!verdict) return undefined;
  const taken = coefficients.model;
  const own = modelInShort(fit);
  const row = (name: string, note: string, of: (model: ModelInShort) => string) => {
    const [here, there] = [of(own), other ? of(other) : UNKNOWN];
    const [straight, bowed] = taken === 'straight' ? [here, there] : [there, here];
    return { name, straight, bowed, note };
  };
  return {
    decided: `Taken: ${taken}. ${sentence(whyWords(verdict))}`,
    rows: [
      ...(verdict.missed ? [missedRow(verdict.missed)] : []),
      row(
        'Azimuth × cos inclination, 95 %',
        'of what the coefficients add, over all attitudes; three more unknowns always cost a little',
        ({ uncertainty }) => `±\u00a0${degreesText(halves(uncertainty).azimuth, 3)}`,
      ),
      row(
        'Inclination, 95 %',
        'the same',
        ({ uncertainty }) => `±\u00a0${degreesText(halves(uncertainty).inclination, 3)}`,
      ),
      row(
        'Mean spread',
        'of readings the fit saw: bowed has more to follow them with',
        ({ meanSpread }) =>
          meanSpread === undefined ? UNKNOWN : degreesText(degrees(meanSpread), 3),
      ),
      row(
        'Noise of the accelerometer found',
        'per reading and axis, of 1 g: curvature that straight cannot follow counts as noise',
        ({ accNoise }) => percentText(accNoise),
      ),
    ],
  };
}

const UNKNOWN = 'not known';

function missedRow({ straight, bowed, gain, standardError }: NonNullable<ModelVerdict['missed']>) {
  const text = (value: number) => value.toFixed(Math.abs(value) < 100 ? 1 : 0).replace('-', '−');
  return {
    name: 'Missed of a sighting left out',
    straight: text(straight),
    bowed: text(bowed),
    note: `squares over variance (no unit): less is better. Bowed gains ${text(gain)}, with a standard error of ${text(standardError)}; it is taken where it gains more than one`,
  };
}

const sentence = (words: string): string => `${words[0]!.toUpperCase()}${words.slice(1)}.`;

/** An attitude that a person picks, degrees. */
export interface PickedAttitude {
  azimuth: number;
  inclination: number;
  roll: number;
}

export interface UncertaintyRow {
  where: string;
  /** Standard error and half of the 95 % interval, with units. */
  azimuth: string;
  inclination: string;
}

/** Beyond this inclination azimuth means little: a small turn of the sight is a large one of azimuth. Degrees. */
const STEEP = 85;

/** What the coefficients leave uncertain in one attitude, as azimuth itself and not times cos inclination. */
export function uncertaintyAt(
  { uncertainty }: ShownFit['fit'],
  { azimuth, inclination, roll }: PickedAttitude,
): UncertaintyRow {
  const errors = standardErrors(uncertainty, radians(azimuth), radians(inclination), radians(roll));
  const { freedom } = uncertainty;
  const isSteep = Math.abs(inclination) > STEEP;
  return {
    where: 'In the attitude picked',
    azimuth: isSteep
      ? `no azimuth to speak of beyond ${STEEP}°`
      : errorText(errors.azimuth / Math.cos(radians(inclination)), freedom.azimuth),
    inclination: errorText(errors.inclination, freedom.inclination),
  };
}

/** What they leave over all attitudes up to 70° up or down: the root mean square, and the largest. */
export function uncertaintyOverall({ uncertainty }: ShownFit['fit']): UncertaintyRow[] {
  const { freedom } = uncertainty;
  const all = attitudesEverywhere().map((attitude) => ({
    attitude,
    errors: standardErrors(uncertainty, ...attitude),
  }));
  const worst = (angle: 'azimuth' | 'inclination') =>
    all.reduce((a, b) => (b.errors[angle] > a.errors[angle] ? b : a));
  const worstText = (angle: 'azimuth' | 'inclination') => {
    const { attitude, errors } = worst(angle);
    return `${errorText(errors[angle], freedom[angle])}; near ${attitudeText(attitude)}`;
  };
  return [
    {
      where: 'Typical: over all attitudes to 70° up or down, azimuth × cos inclination',
      azimuth: errorText(uncertainty.azimuth, freedom.azimuth),
      inclination: errorText(uncertainty.inclination, freedom.inclination),
    },
    {
      where: 'Worst of these, azimuth × cos inclination',
      azimuth: worstText('azimuth'),
      inclination: worstText('inclination'),
    },
  ];
}

const errorText = (standardError: number, freedom: number): string =>
  `${degreesText(degrees(standardError), 3)}, 95 % ±\u00a0${degreesText(degrees(interval95(standardError, freedom)), 3)}`;

function attitudeText([azimuth, inclination, roll]: readonly [number, number, number]): string {
  const whole = (angle: number) => `${Math.round(degrees(angle))}°`.replace('-', '−');
  return `azimuth ${whole(azimuth)}, inclination ${whole(inclination)}, roll ${whole(roll)}`;
}
