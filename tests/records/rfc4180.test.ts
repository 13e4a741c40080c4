import { parse } from 'csv-parse/sync';
import fc from 'fast-check';
import { expect, it } from 'vitest';
import { joinCsv, splitCsv } from '../../src/records/rfc4180.ts';

const field = fc.oneof(
  fc.string({ unit: fc.constantFrom('a', '1', ',', '"', '\n', '\r', '#', ' ', 'é') }),
  fc.string({ unit: 'grapheme' }),
);
const table = fc.array(fc.array(field, { minLength: 2, maxLength: 4 }));

it('gives back any table it wrote', () => {
  fc.assert(
    fc.property(table, (rows) => {
      const split = splitCsv(joinCsv(rows));
      expect(split.ok && split.rows.map(({ fields }) => fields)).toEqual(rows);
    }),
  );
});

it('splits as an independent implementation does (csv-parse), whatever the line end', () => {
  fc.assert(
    fc.property(table, fc.constantFrom('\n', '\r\n', '\r'), (rows, end) => {
      const text = rows
        .map((row) => row.map((f) => `"${f.replaceAll('"', '""')}"`).join(',') + end)
        .join('');
      const split = splitCsv(text);
      const reference = parse(text, { relax_column_count: true, record_delimiter: end });
      expect(split.ok && split.rows.map(({ fields }) => fields)).toEqual(reference);
    }),
  );
});

it('agrees with csv-parse on whether any text is well formed, and on its rows', () => {
  const text = fc.string({ unit: fc.constantFrom('a', ',', '"', '\n', ' ') });
  fc.assert(
    fc.property(text, (given) => {
      const split = splitCsv(given);
      let reference: string[][] | undefined;
      try {
        reference = parse(given, { relax_column_count: true, record_delimiter: '\n' });
      } catch (error) {
        if (!(error instanceof Error && 'code' in error)) throw error;
      }
      const rows = reference?.filter((row) => row.length > 1 || row[0].trim() !== '');
      expect(split.ok ? split.rows.map(({ fields }) => fields) : undefined).toEqual(rows);
    }),
    { numRuns: 500 },
  );
});

it('names the line where a row begins, over comments, blank lines, quoted line ends and mixed line ends', () => {
  const split = splitCsv('# one\r\n\n1,2\r\n"3\n\r\n3",4\r5,6\n#end');
  expect(split).toEqual({
    ok: true,
    comments: [
      { line: 1, text: ' one' },
      { line: 8, text: 'end' },
    ],
    rows: [
      { line: 3, fields: ['1', '2'] },
      { line: 4, fields: ['3\n\r\n3', '4'] },
      { line: 7, fields: ['5', '6'] },
    ],
  });
});

it('names the line and field where a quote that never ends was opened', () => {
  expect(splitCsv('1,2\n3,"4\n5,6\n')).toEqual({
    ok: false,
    problem: 'open_quote',
    line: 2,
    field: 2,
  });
});

it('refuses a quote inside a plain field, and text after a closing quote', () => {
  expect(splitCsv('1,2"\n')).toMatchObject({
    ok: false,
    problem: 'stray_quote',
    line: 1,
    field: 2,
  });
  expect(splitCsv('1,"2"x\n')).toMatchObject({ ok: false, problem: 'stray_quote', field: 2 });
});
