import { parse } from 'csv-parse/sync';
import fc from 'fast-check';
import { expect, it } from 'vitest';
import { workshopCsv, type KitLine } from '../../src/records/workshop-csv.ts';

const text = fc.oneof(
  fc.constantFrom('=1+1', '@SUM(A1)', '+4', '-2', '\t=x', ' =x', 'a;=x', 'a\n-b', '#', '"', 'a,b', '＝1', '\u200b=1'), // prettier-ignore
  fc.string({ maxLength: 8, unit: 'grapheme' }),
  fc.string({ maxLength: 8, unit: fc.constantFrom('=', '+', '-', '@', '\t', '\r', '\n', ' ', ';', ',', '"', "'", 'a') }), // prettier-ignore
);
const figure = fc.double({ min: -1000, max: 1000, noNaN: true });

const line: fc.Arbitrary<KitLine> = fc.record(
  {
    place: text,
    builder: text,
    serial: text,
    stage: text,
    board_name: text,
    trouble: text,
    remarks: text,
    generation: fc.nat(99),
    azimuth_95_deg: figure,
    temp_min_c: figure,
  },
  { requiredKeys: ['place', 'builder', 'serial', 'stage'] },
);

const NUMBERS = ['generation', 'azimuth_95_deg', 'temp_min_c'] as const;
const TEXTS = ['place', 'builder', 'serial', 'stage', 'board_name', 'trouble', 'remarks'] as const;

/** As other programs split it, with whatever they take for what separates cells; quotes count only where a cell begins. */
const split = (csv: string, delimiter: string): string[][] =>
  parse(csv, {
    delimiter,
    relax_quotes: true,
    relax_column_count: true,
    quote: delimiter === ',' ? '"' : null,
  }) as string[][];

it('gives every kit back to an independent reader, its texts but for the mark that makes them texts', () => {
  fc.assert(
    fc.property(fc.array(line, { maxLength: 5 }), (kits) => {
      const csv = workshopCsv(kits);
      const rows = parse(csv, { columns: true }) as Record<string, string>[];
      expect(rows).toHaveLength(kits.length);
      for (const [i, kit] of kits.entries()) {
        const row = rows[i]!;
        for (const key of NUMBERS) {
          const value = kit[key];
          if (value === undefined) expect(row[key]).toBe('');
          else expect(Math.abs(Number(row[key]) - value)).toBeLessThanOrEqual(0.00005 + 1e-9);
        }
        for (const key of TEXTS) {
          const given = kit[key] ?? '';
          if (given.includes("'")) continue; // whose is which cannot be told
          expect(row[key]!.replace(/(^|[;\t\r\n])([\s\p{C}"]*)'/gu, '$1$2')).toBe(given);
        }
      }
    }),
  );
});

it('has no cell that a spreadsheet takes for a formula, whether it splits at commas, semicolons or tabs', () => {
  fc.assert(
    fc.property(fc.array(line, { maxLength: 4 }), (kits) => {
      const csv = workshopCsv(kits);
      for (const delimiter of [',', ';', '\t']) {
        for (const cell of split(csv, delimiter).flat()) {
          const isNumber = /^-?\d+(\.\d+)?$/.test(cell) && delimiter === ',';
          if (!isNumber) expect(cell).not.toMatch(/^"?[\s\p{C}]*[=+@＝＋－＠-]/u);
        }
      }
    }),
  );
});

it('has the columns that docs/files.md names, in their order, and numbers without exponents', () => {
  const csv = workshopCsv([
    {
      place: '3',
      builder: 'Ann, and Ben',
      serial: 'WB-1',
      stage: 'proven',
      generation: 2,
      azimuth_95_deg: 0.0000001,
      temp_min_c: -5.25,
    },
  ]);
  expect(csv).toBe(
    'place,builder,serial,board_name,stage,as_of,trouble,generation,sealed,crc,judged,tolerance_deg,azimuth_95_deg,inclination_95_deg,mean_spread_deg,readings,proof,proof_readings,temp_min_c,temp_max_c,site,remarks\n' +
      '3,"Ann, and Ben",WB-1,,proven,,,2,,,,,0,,,,,,-5.25,,,\n',
  );
});
