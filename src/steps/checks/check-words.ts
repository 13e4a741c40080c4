import type { CheckFigure, CheckKind, CheckRecord } from '../../records/entries.ts';
import { toleranceName, type ToleranceChoice } from '../tolerance.ts';
import { CHECK_NAMES } from './check-names.ts';

/** What checks in the field came to, in words. */

export const VERDICTS: Record<CheckRecord['verdict'], string> = {
  passed: 'passed',
  failed: 'not passed',
  'not settled': 'not settled',
};

export const checkTitle = ({ of, verdict }: Pick<CheckRecord, 'of' | 'verdict'>): string =>
  `${CHECK_NAMES[of]}: ${VERDICTS[verdict]}`;

const DIGITS: Readonly<Record<CheckFigure['unit'], number>> = {
  '°': 2,
  '%': 2,
  m: 3,
  mm: 1,
  ppm: 0,
};

/** A figure with its interval. */
export function valueWords({ value, half, unit }: CheckFigure): string {
  const digits = DIGITS[unit];
  const size = Math.abs(value).toFixed(digits);
  const sign = value < 0 && Number(size) !== 0 ? '−' : '';
  const about = Number.isFinite(half) ? half.toFixed(digits) : 'not known';
  return unit === '°' ? `${sign}${size}° ± ${about}°` : `${sign}${size} ± ${about} ${unit}`;
}

export function limitWords({ limit, unit }: CheckFigure): string {
  if (limit === undefined) return '';
  return unit === '°' ? `±${limit.toFixed(2)}°` : `±${limit.toFixed(DIGITS[unit])} ${unit}`;
}

/** What is expected of a figure, and whether it is so; empty where nothing tells it. */
export function expectedWords({ value, expected, unit }: CheckFigure): string {
  if (expected === undefined || !Number.isFinite(expected)) return '';
  const most =
    unit === '°' ? `${expected.toFixed(2)}°` : `${expected.toFixed(DIGITS[unit])} ${unit}`;
  const stands = Math.abs(value) <= expected ? 'as expected' : 'more than expected';
  return `19 of 20 leave less than ${most}: ${stands}`;
}

/** What a check is held against, in words. */
export const heldAgainst = (tolerance: ToleranceChoice, of: CheckKind): string =>
  of === 'range' ? 'what a range may be off by' : toleranceName(tolerance);

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
  const expected = expectedWords(figure);
  return `${figure.name}: ${valueWords(figure)}${allowed}${stands}${expected && `; ${expected}`}`;
}
