import { expect, it } from 'vitest';
import {
  limitsFor,
  ORDINARY_TOLERANCE,
  parseTolerance,
  SURVEY_GRADES,
  TOLERANCE,
  toleranceName,
} from '../../src/steps/tolerance.ts';

it('has the grades as the British Cave Research Association published them in July 2002', () => {
  // grade 3 ±2.5°; grade 5 "horizontal and vertical angles measured to ±1°"; grade 6 compass and clinometer to ±0.5°
  expect(SURVEY_GRADES.map(({ grade, degrees }) => [grade, degrees])).toEqual([
    ['3', 2.5],
    ['5', 1],
    ['6', 0.5],
  ]);
});

it('reads a grade however it is spelled, and degrees, and nothing else', () => {
  for (const text of ['grade-6', 'grade 6', 'Grade6']) {
    expect(parseTolerance(text)).toEqual({ degrees: 0.5, grade: '6' });
  }
  expect(parseTolerance('0.7')).toEqual({ degrees: 0.7 });
  expect(parseTolerance('1')).toEqual({ degrees: 1 });
  for (const text of [
    '',
    '6 grade',
    'grade-4',
    'grade-',
    '-1',
    '0',
    '0.01',
    '11',
    '1e0',
    '1°',
    'Infinity',
    'NaN',
  ]) {
    expect(parseTolerance(text), text).toBeUndefined();
  }
});

it('asks of the angles what was chosen, and of spread never more than common practice', () => {
  expect(limitsFor({ degrees: 0.2 })).toEqual({
    angle: 0.2,
    spread: 0.5, // common practice in the trade
    field: TOLERANCE.field,
    gravity: TOLERANCE.gravity,
    dip: TOLERANCE.dip,
  });
  const wide = limitsFor({ degrees: 2.5, grade: '3' });
  expect(wide.angle).toBe(2.5);
  expect(wide.spread).toBe(1.25);
  expect(wide.field).toBe(2.5 * TOLERANCE.field);
  expect(limitsFor(ORDINARY_TOLERANCE).spread).toBe(0.5);
});

it('names itself', () => {
  expect(toleranceName({ degrees: 0.5, grade: '6' })).toBe('BCRA grade 6 (±0.5°)');
  expect(toleranceName({ degrees: 0.7 })).toBe('a tolerance of ±0.7°');
});
