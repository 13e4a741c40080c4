import type { CheckFigure, CheckKind, CheckRecord } from '../../records/entries.ts';
import { rollWords } from '../attitude-words.ts';
import type { CheckState } from './check-history.ts';
import { CHECK_NAMES } from './check-names.ts';
import { placesOf, type CheckPlace } from './check-places.ts';

/** What checks in the field say on screen. */

/** What is to be known of a kind of check before it is begun. */
export interface CheckAbout {
  what: string;
  sees: string;
  /** A sentence each. */
  blindTo: readonly string[];
}

const MEETS = 'It holds for this place and this battery, with what you carried and wore.';

export const ABOUT: Readonly<Record<CheckKind, CheckAbout>> = {
  rolls: {
    what: 'Aim at one mark some way off, upright, a quarter right, upside down and a quarter left, then once more round. Aim anew for each. A mark to the north or south shows most of what is wrong with azimuths; then try another about a quarter turn away.',
    sees: 'What turns with roll: offsets and gains across the sight, the sight out of line with the chips.',
    blindTo: [
      'What does not turn with roll stays unseen: iron along the sight, declination, iron in the hill.',
      'Offsets that happen to show nothing in this direction: a mark to the east or west hides most of what is wrong with azimuths.',
    ],
  },
  'fore and back': {
    what: 'Two marks, A and B, in sight of each other. Stand at A and aim at B, then stand at B and aim at A: several readings at each, aimed anew every time. Hold the instrument as high over its mark as what you aim at is over the other, or say by how much not.',
    sees: 'An inclination that is off alike everywhere; an azimuth that is off one way in one direction and the other way in the other.',
    blindTo: [
      'An azimuth that is off alike in all directions: declination, or the sight set askew to the side.',
      'Whether the instrument is wrong or something magnetic stands at A or at B: both turn one of the two. A clean site tells them apart.',
    ],
  },
  'known bearings': {
    what: 'Aim at marks whose bearings are known from a map or a survey, from the point that they were taken from: several readings each, upright, aimed anew every time. Three marks or more, all round.',
    sees: 'What azimuths are off by alike everywhere, and in each direction.',
    blindTo: [
      'Whether the instrument or the declination is off, where bearings are not magnetic: they cannot be told apart. The model of the earth’s field does not know the rocks below.',
      'Inclination, and what turns with roll.',
    ],
  },
  'battery swap': {
    what: 'Two marks, A and B, about a quarter turn apart. Aim at each upright, a quarter right, upside down and a quarter left. Then put the board away here, change its battery, link it again, say that it is changed, and do the same from the same spot.',
    sees: 'What the new battery does to azimuths, as a change of hard iron: in each of the eight attitudes, and in the worst of all.',
    blindTo: [
      'What was wrong before and still is.',
      'A battery that is magnetic in another way once it is drained, or sits otherwise in its holder next time.',
    ],
  },
  loop: {
    what: 'Marks that lead round back to the first, with the lengths between them. At each leg aim fore from its beginning and back from its end. Three legs or more, as unlike in direction as can be.',
    sees: 'Errors that depend on direction: they do not cancel on the way round. Blunders, too.',
    blindTo: [
      'An azimuth that is off alike in all directions: the loop closes all the same, turned.',
      'Lengths that are all wrong by the same part.',
    ],
  },
};

/** Said with every check. */
export const CHECK_CAUTIONS: readonly string[] = [
  MEETS,
  'A check says how this instrument did here. Whether it may be used for a survey is for local rules and qualified surveyors to decide.',
  'A pointer laser must never meet an eye, yours or another’s: take marks with nobody behind them, and nothing that mirrors.',
];

/** How signs count in a check of known bearings. */
export const BEARING_SIGNS =
  'Declination: magnetic north from true north, east positive; magnetic = true − declination. Convergence: grid north from true north, east positive; true = grid + convergence. A difference is what the instrument shows less what is known: take a positive one off its azimuths.';

/** What intervals of checks are. */
export const INTERVAL_WORDS =
  'Each figure has the interval that holds the truth in 95 of 100 cases, from how the readings of this check scatter and from the uncertainty of the calibration. Passed: all of every interval is within what is allowed. Not passed: all of one lies outside. Else it is not settled, and more readings, or better aimed ones, help.';

export const VERDICTS: Record<CheckRecord['verdict'], string> = {
  passed: 'passed',
  failed: 'not passed',
  'not settled': 'not settled',
};

export const checkTitle = ({ of, verdict }: Pick<CheckRecord, 'of' | 'verdict'>): string =>
  `${CHECK_NAMES[of]}: ${VERDICTS[verdict]}`;

/** A figure with its interval. */
export function valueWords({ value, half, unit }: CheckFigure): string {
  const digits = unit === 'm' ? 3 : 2;
  const size = Math.abs(value).toFixed(digits);
  const sign = value < 0 && Number(size) !== 0 ? '−' : '';
  const about = Number.isFinite(half) ? half.toFixed(digits) : 'not known';
  return unit === '°' ? `${sign}${size}° ± ${about}°` : `${sign}${size} ± ${about} ${unit}`;
}

export function limitWords({ limit, unit }: CheckFigure): string {
  if (limit === undefined) return '';
  return unit === '°' ? `±${limit.toFixed(2)}°` : `±${limit.toFixed(unit === 'm' ? 3 : 2)} ${unit}`;
}

const STANDINGS = {
  within: 'within',
  outside: 'outside',
  'not settled': 'not settled',
} as const;

export const standingWords = ({ standing }: CheckFigure): string =>
  standing ? STANDINGS[standing] : '';

/** A figure in one line. */
export function figureWords(figure: CheckFigure): string {
  const allowed = figure.limit === undefined ? '' : `; allowed ${limitWords(figure)}`;
  const stands = figure.standing === undefined ? '' : `, ${standingWords(figure)}`;
  return `${figure.name}: ${valueWords(figure)}${allowed}${stands}`;
}

/** Where to stand, what to aim at, and how to hold it. */
export function placeWords({ mark, from, roll }: CheckPlace): string {
  const stand = from === undefined ? '' : `Stand at ${from}. `;
  return `${stand}Aim at ${mark}, ${rollWords(roll)}`;
}

/** How far a check is. */
export function progressWords({ begun, readings }: CheckState): string {
  return `${readings.size} of ${placesOf(begun.terms).length} readings are in.`;
}
