import { parse } from 'csv-parse/sync';
import fc from 'fast-check';
import { expect, it } from 'vitest';
import type { BoardReading } from '../../src/protocol/board.ts';
import { surveyCsv } from '../../src/records/survey-csv.ts';

const BOARD = { serial: 'A "7"', name: 'Club, blue' };

const reading = (number: number, more: Partial<BoardReading> = {}): BoardReading => ({
  reading: number,
  generation: 2,
  acc: [number, 0, 0],
  mag: [0, 0, 1],
  ...more,
});

it('writes each reading once and by number, with empty cells for what it lacks', () => {
  const text = surveyCsv(BOARD, [
    reading(2, { azimuth: 359.99, inclination: -4.5, roll: 90, range: 12.345, temperature: 8.5 }),
    reading(1),
    reading(1),
    reading(1, { acc: [9, 9, 9] }), // a number that was given twice, with other counts
  ]);
  expect(text.split('\n').slice(2)).toEqual([
    '1,2,,,,,,',
    '1,2,,,,,,',
    '2,2,359.99,-4.5,90,12.345,8.5,',
    '',
  ]);
});

it('is read by an independent reader of CSV as it was meant', () => {
  const number = fc.option(fc.double({ min: -400, max: 400, noNaN: true }), { nil: undefined });
  const angles = fc.record({ azimuth: number, range: number, volt: number });
  fc.assert(
    fc.property(fc.array(angles, { maxLength: 20 }), (all) => {
      const given = all.map((each, i) => {
        const there = Object.entries(each).filter(([, value]) => value !== undefined);
        return reading(i + 1, Object.fromEntries(there));
      });
      const rows: Record<string, string>[] = parse(surveyCsv(BOARD, given), {
        columns: true,
        comment: '#',
      });
      expect(rows).toHaveLength(given.length);
      const valueOf = (text: string) => (text === '' ? undefined : Number(text) + 0);
      rows.forEach((row, i) => {
        const { azimuth, range, volt } = given[i]!;
        expect(valueOf(row['azimuth']!)).toBe(azimuth === undefined ? undefined : azimuth + 0);
        expect(valueOf(row['range_m']!)).toBe(range === undefined ? undefined : range + 0);
        expect(valueOf(row['supply_v']!)).toBe(volt === undefined ? undefined : volt + 0);
      });
    }),
  );
});
