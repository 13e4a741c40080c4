import type {
  CourseDeviation,
  CourseFigure,
  CourseQuantity,
  CourseTerms,
  InstrumentResult,
  ShotSource,
} from '../../records/course-notes.ts';
import type { OutingState, SettledState } from './course-state.ts';
import { instrumentsOf } from './course-state.ts';
import { dayWords } from '../time-words.ts';

/** What check courses say on screen. */

export const COURSE_ABOUT =
  'A check course is a handful of marked stations in sight of each other. Several instruments shoot its legs in turn, fore and back. One adjustment of all shots then tells which instrument is off, what each station does to the field, and which shots look wrong.';

export const COURSE_CAUTIONS: readonly string[] = [
  'It says how these instruments did here, on this day, with these batteries. Whether one may be used for a survey is for local rules and qualified surveyors to decide.',
  'A pointer laser must never meet an eye, yours or another’s: take marks with nobody behind them, and nothing that mirrors.',
];

export const FIGURE_WORDS =
  '± is half of the interval that holds the truth in 95 of 100 cases. A finding is one that chance alone would bring in fewer than 5 of 100 courses: over all instruments together (off, scatters), over all stations (disturbs) and over all shots of an angle (looks wrong), each.';

export const PRECISION_WORDS =
  'Standard deviations of one shot, by the definitions of ISO 5725: repeatability is one instrument on one leg again and again; reproducibility is any of these instruments. 0.3° is usual by hand.';

export const signed = (value: number, digits = 2): string => {
  const size = Math.abs(value).toFixed(digits);
  return `${Number(size) === 0 ? '' : value < 0 ? '−' : '+'}${size}°`;
};

export const figureWords = ({ value, half }: CourseFigure): string =>
  `${signed(value)} ±\u00a0${halfWords(half)}`;

export const halfWords = (half: number): string =>
  Number.isFinite(half) ? `${half.toFixed(2)}°` : 'not known';

/** From 0° to under 360° as it is written, too. */
const bearing = (degrees: number): string => `${degrees.toFixed(2).replace(/^360\.00$/, '0.00')}°`;

/** The azimuth or inclination of a leg, or how far it is from that of another. */
export function quantityWords({ alone, above, base }: CourseQuantity, isAzimuth: boolean): string {
  if (alone) {
    const value = isAzimuth ? bearing(alone.value) : signed(alone.value);
    return `${value} ±\u00a0${halfWords(alone.half)}`;
  }
  if (above) return `${figureWords(above)} from ${above.other}`;
  return base ? 'the others are told from it' : 'not determined';
}

/** The disturbance of a station, likewise. */
export function disturbanceWords({ alone, above, base }: CourseQuantity): string {
  if (alone) return figureWords(alone);
  if (above) return `${figureWords(above)} against ${above.other}`;
  return base ? 'the others are held against it' : 'not determined';
}

/** What an instrument is off by in one angle. */
export function offsetWords(result: InstrumentResult, angle: 'azimuth' | 'inclination'): string {
  const figure = result[angle];
  if (!figure) return 'not determined';
  return `${figureWords(figure)}${figure.against === 'others' ? ' against the others' : ''}`;
}

export const scatterWords = ({ scatter }: InstrumentResult): string =>
  [
    scatter.azimuth === undefined ? '' : `azimuth ${scatter.azimuth.toFixed(2)}°`,
    scatter.inclination === undefined ? '' : `inclination ${scatter.inclination.toFixed(2)}°`,
  ]
    .filter(Boolean)
    .join(', ') || 'not known';

/** What the day came to, in one sentence. */
export function settledVerdict(
  { result }: Pick<SettledState, 'result'>,
  nameOf: (result: InstrumentResult) => string,
): { standing: 'good' | 'watch' | 'bad'; words: string } {
  const { instruments, causes = [] } = result;
  const named = (some: readonly InstrumentResult[]) => some.map(nameOf).join(', ');
  const standing = (as: InstrumentResult['standing']) =>
    instruments.filter((each) => each.standing === as);
  const [off, scattered, open] = [standing('off'), standing('scatters'), standing('not settled')];
  const reversed = instruments.filter((each) => each.reversed);
  const other = [
    ...(scattered.length > 0
      ? [
          `${named(scattered)}: too unsteady. Shoot again with ${them(scattered)}; if it stays so, look at the hold, the sight and the case. Calibrating does not mend that.`,
        ]
      : []),
    ...(reversed.length > 0
      ? [`${named(reversed)}: all shots are reversed; put that right and settle again.`]
      : []),
  ];
  const datum = causes.includes('all off alike')
    ? 'All instruments are off alike, so look first at what was said to be known: the bearing, the declination, the clean stations.'
    : causes.includes('known disagrees')
      ? 'What was said to be known does not fit: look at that first, see below what speaks against it.'
      : undefined;
  if (datum !== undefined) {
    const apart = causes.includes('all off alike')
      ? []
      : off.map((each) => `${nameOf(each)}: off all the same, against the other instruments.`);
    return { standing: 'watch', words: [datum, ...apart, ...other].join(' ') };
  }
  if (off.length + other.length > 0) {
    const again = `${named(off)}: off. Calibrate ${them(off)} again before ${off.length === 1 ? 'it is' : 'they are'} used.`;
    return {
      standing: off.length + scattered.length > 0 ? 'bad' : 'watch',
      words: [...(off.length > 0 ? [again] : []), ...other].join(' '),
    };
  }
  if (open.length > 0) {
    return {
      standing: 'watch',
      words:
        open.length === instruments.length
          ? 'Nothing is found wrong, and nothing is borne out either: see below what is not determined.'
          : `Nothing is found wrong; ${named(open)} ${open.length === 1 ? 'is' : 'are'} not settled.`,
    };
  }
  return { standing: 'good', words: 'Every instrument is within what is allowed, as far as this course can see.' }; // prettier-ignore
}

const them = ({ length }: { length: number }): string => (length === 1 ? 'it' : 'them');

export const termsWords = (
  { stations, reference, tolerance }: CourseTerms,
  nameOf: (instrument: NonNullable<CourseTerms['reference']>['instrument']) => string,
): string => {
  const where =
    stations === 'nothing said'
      ? 'No station is said to be clean.'
      : 'clean' in stations
        ? `Clean, give or take ${stations.sigma}°: ${stations.clean.join(', ')}.`
        : `The disturbances are taken to be nothing on the mean, give or take ${stations.zeroMean}°.`;
  const right = !reference
    ? ''
    : ` Reference: ${nameOf(reference.instrument)}${reference.asRight === undefined ? '' : `, taken as right to ${reference.asRight}°`}.`;
  return `Allowed: ${tolerance.toFixed(2)}°. ${where}${right}`;
};

export const sourceWords = (source: ShotSource): string => {
  switch (source.from) {
    case 'link':
    case 'memory':
      return `${source.from === 'link' ? 'Linked' : 'From memory'}, reading ${source.reading.reading}, generation ${source.generation}`;
    case 'file':
      return `${source.file}, line ${source.line}`;
    case 'hand':
      return 'By hand';
  }
};

/** The board's own angles, where a shot came from one. */
export function ownAngles(source: ShotSource): string {
  if (!('reading' in source)) return '';
  const { azimuth, inclination } = source.reading;
  if (azimuth === undefined || inclination === undefined) return 'the board gave none';
  return `${azimuth.toFixed(2)}°, ${signed(inclination)}`;
}

/** A line of the list of outings. */
export function outingWords(outing: OutingState): string {
  const { day, shots, settled } = outing;
  const count = shots.length === 1 ? '1 shot' : `${shots.length} shots`;
  const instruments = instrumentsOf(outing).length;
  return `${dayWords(day)}: ${count}, ${instruments === 1 ? '1 instrument' : `${instruments} instruments`}${settled ? ', settled' : ''}`;
}

/** A standard deviation with its interval. */
export const deviationWords = (deviation: CourseDeviation | undefined): string =>
  deviation === undefined
    ? 'not known'
    : `${deviation.value.toFixed(2)}° (${deviation.low.toFixed(2)} to ${deviation.high === undefined ? 'any' : `${deviation.high.toFixed(2)}°`})`;
