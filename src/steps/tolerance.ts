import type { ToleranceChoice } from '../records/entries.ts';

export type { ToleranceChoice } from '../records/entries.ts';

/**
 * What a calibration and its proof are held against. Degrees and ratios.
 *
 * `spread` is common practice in the trade (no published source). The others are ours: each lets through three
 * times the noise of an ordinary board (one thousandth of gravity, 0.2 % of the field) and stops the faults that
 * spread cannot see.
 */
export const TOLERANCE = {
  /** Mean spread over the sightings, degrees. */
  spread: 0.5,
  /** Standard deviation of the length of the field over its mean. */
  field: 0.01,
  /** The same for gravity. */
  gravity: 0.005,
  /** Standard deviation of the dip, degrees. */
  dip: 0.5,
  /** Largest misfit of a reading the fit used: about one is normal. */
  misfit: 2.5,
  /** Noise found over noise declared, either way, before it is worth a word whatever chance can do. */
  noiseRatio: 3,
  /** The same where chance cannot have done it. */
  noiseDeparts: 1.5,
  /** Standard deviation of the aim above which it, and not the sensors, is what spreads; degrees. */
  aim: 0.3,
  /** How far the field's mean length in the proof may be from that in the fit. */
  fieldChange: 0.02,
  /** The board's own angles against the app's from the same counts, degrees. */
  agreement: 0.01,
  /** Root mean square of the error against a simulated board's truth, degrees. */
  truth: 0.5,
} as const;

/** A survey grade as published: how true azimuth and inclination are to be, degrees. */
export interface SurveyGrade {
  grade: NonNullable<ToleranceChoice['grade']>;
  degrees: number;
  /** What the source asks for. */
  asks: string;
}

/** British Cave Research Association, survey grades, wording of July 2002. */
export const SURVEY_GRADES: readonly SurveyGrade[] = [
  { grade: '3', degrees: 2.5, asks: 'angles measured to ±2.5°' },
  { grade: '5', degrees: 1, asks: 'horizontal and vertical angles measured to ±1°' },
  { grade: '6', degrees: 0.5, asks: 'compass and clinometer accurate to ±0.5°' },
];

export const GRADES_SOURCE =
  'British Cave Research Association, survey grades, wording of July 2002';

/** What the same grades ask of lengths: metres. */
export const LENGTH_GRADES: readonly {
  grade: SurveyGrade['grade'];
  metres: number;
  asks: string;
}[] = [
  { grade: '5', metres: 0.01, asks: 'distances to the nearest centimetre' },
  { grade: '6', metres: 0.025, asks: 'stations to ±2.5 cm' },
  { grade: '3', metres: 0.5, asks: '±50 cm' },
];

/** What a calibration is judged against until somebody chooses. */
export const ORDINARY_TOLERANCE: ToleranceChoice = { degrees: 1, grade: '5' };

/** A tolerance of one's own, degrees: from what no hand-held instrument reaches to what no survey bears. */
export const OWN_TOLERANCE = { least: 0.05, most: 10 } as const;

/** What there is to choose from. */
export const tolerances = { grades: SURVEY_GRADES, source: GRADES_SOURCE, own: OWN_TOLERANCE };

/** In words, such as "BCRA grade 5 (±1°)". */
export const toleranceName = ({ degrees, grade }: ToleranceChoice): string =>
  grade === undefined ? `a tolerance of ±${degrees}°` : `BCRA grade ${grade} (±${degrees}°)`;

/** Reads `grade 5`, `grade5`, `grade-5`, or degrees such as `0.7`; undefined where it is neither, or out of range. */
export function parseTolerance(text: string): ToleranceChoice | undefined {
  const grade = /^grade[ -]?(\d)$/i.exec(text.trim())?.[1];
  const named = SURVEY_GRADES.find((each) => each.grade === grade);
  if (named) return { degrees: named.degrees, grade: named.grade };
  const degrees = /^\d+\.?\d*$|^\.\d+$/.test(text.trim()) ? Number(text) : NaN;
  return degrees >= OWN_TOLERANCE.least && degrees <= OWN_TOLERANCE.most ? { degrees } : undefined;
}

/** What the figures of a fit may be, degrees and ratios. */
export type Limits = Record<'angle' | 'spread' | 'field' | 'gravity' | 'dip', number>;

/**
 * The limits that go with a tolerance. What azimuth and inclination may be off is the tolerance itself. Spread and
 * constancy hold for ±1° and everything finer (what is averaged over many readings may scatter more than it errs), and
 * widen with a coarser tolerance.
 */
export function limitsFor({ degrees }: ToleranceChoice): Limits {
  const wider = Math.max(1, degrees);
  const { spread, field, gravity, dip } = TOLERANCE;
  return {
    angle: degrees,
    spread: spread * wider,
    field: field * wider,
    gravity: gravity * wider,
    dip: dip * wider,
  };
}

/** What spread, lengths and dip cannot show: said with every result. */
export const BLIND_TO = [
  'a magnetic disturbance that is the same for every reading, such as iron in the hill or in the stand: it turns all azimuths alike',
  'a disturbance that only turns the field sideways, alike for a whole sighting: it is the same as aiming elsewhere, so it shows nowhere, and does the coefficients no harm',
  'whether azimuths count from true north or grid north: they count from magnetic north, and declination is yours to apply',
  'temperatures, batteries and housings other than those of these readings',
] as const;

export const SPREAD_IS_BLIND =
  'spread alone: it does not see errors that do not turn with roll, so the field, gravity and dip must be constant too';
