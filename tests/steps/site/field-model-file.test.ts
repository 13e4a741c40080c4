import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { earthField, WMM_2025 } from '../../../src/steps/site/earth-field.ts';
import { expectedField, modelFor } from '../../../src/steps/site/expected-field.ts';
import { readFieldModel } from '../../../src/steps/site/field-model-file.ts';
import { textOf } from './published-coefficients.ts';

const PUBLISHED = textOf(WMM_2025);
/** As somebody changed one line of it, counted from 1. */
const withLine = (line: number, changed: string) =>
  PUBLISHED.split('\r\n')
    .map((content, i) => (i + 1 === line ? changed : content))
    .join('\r\n');

describe('a file of coefficients of the earth’s field', () => {
  it.each(['\r\n', '\n', '\n\r'])('is read as it is published, whatever ends its lines', (end) => {
    const read = readFieldModel(textOf(WMM_2025, end));
    expect(read).toEqual({ ok: true, model: WMM_2025 });
  });

  it('gives the same field as the model that it is of', () => {
    const read = readFieldModel(PUBLISHED);
    if (!read.ok) throw new Error(read.message);
    const place = { latitude: 47, longitude: 8, height: 400 };
    const date = new Date('2026-11-25');
    expect(earthField(place, date, read.model)).toEqual(earthField(place, date));
  });

  it.each([
    [1, '2025.0 WMM-2025', /Line 1: the first line must have three parts/],
    [1, 'twenty WMM-2025 11/13/2024', /Line 1: “twenty” is no epoch/],
    [1, '2025.0 <b>WMM</b> 11/13/2024', /Line 1: “<b>WMM<\/b>” is no name/],
    [2, '1 0 29351.8 0.0 12.0 0.0', /Line 2: g is 29351.8 nT where n is 1 and m is 0/],
    [4, '2 0 -2556.6 0.0 -11.6', /Line 4: it must have six numbers .*, not 5/],
    [4, '2 0 -2556,6 0.0 -11.6 0.0', /Line 4: “-2556,6” is no number/],
    [4, '2 0 NaN 0.0 -11.6 0.0', /Line 4: “NaN” is no number/],
    [4, '2 3 -2556.6 0.0 -11.6 0.0', /Line 4: m is 3; it must be from 0 to n, which is 2/],
    [4, '0 0 -2556.6 0.0 -11.6 0.0', /Line 4: n is 0; it must be 1 at least/],
    [4, '133 0 -2556.6 0.0 -11.6 0.0', /Line 4: n is 133; degrees up to 16 are taken/],
    [4, '2 0 -2556.6 4.0 -11.6 0.0', /Line 4: h and its change must be 0 where m is 0/],
    [4, '1 0 -29351.8 0.0 12.0 0.0', /Line 4: n 1, m 0 stands in line 2 already/],
    [4, '2 0 -2556600 0.0 -11.6 0.0', /Line 4: no coefficient .* is beyond 100000 nT/],
    [4, '2 0 -2556.6 0.0 -2000 0.0', /Line 4: no coefficient .* changes by more than 1000 nT/],
    [4, '', /The line for n 2, m 0 is missing/],
  ])('is refused by its line where line %d says %j', (line, changed, message) => {
    const read = readFieldModel(withLine(line, changed));
    if (read.ok) throw new Error('it was taken');
    expect(read.message).toMatch(message);
    expect(read.message).toContain('Nothing was changed');
  });

  it.each([
    ['', /It is empty/],
    ['    2025.0  WMM-2025  11/13/2024\n', /no coefficients below it/],
    ['x'.repeat(200_000), /It has 200000 characters/],
  ])('is refused as a whole where there is nothing to read in it', (text, message) => {
    expect(readFieldModel(text)).toMatchObject({
      ok: false,
      message: expect.stringMatching(message),
    });
  });

  it('is read or refused, whatever it holds, and what is read can tell a field', () => {
    const line = fc.oneof(
      fc.constantFrom(...PUBLISHED.split('\r\n')),
      fc.string(),
      fc.array(fc.double(), { maxLength: 7 }).map((numbers) => numbers.join(' ')),
    );
    fc.assert(
      fc.property(fc.array(line, { maxLength: 120 }), (lines) => {
        const read = readFieldModel(lines.join('\n'));
        if (!read.ok) return;
        const { strength } = earthField(
          { latitude: 10, longitude: 10, height: 0 },
          new Date('2026-01-01'),
          read.model,
        );
        expect(strength).toBeGreaterThan(0);
      }),
      { numRuns: 200 },
    );
  });
});

describe('the model that the bench goes by', () => {
  const later = { ...WMM_2025, name: 'WMM-2030', epoch: 2030 };
  const place = { latitude: 47, longitude: 8, height: 0 };
  const at = (date: string) => new Date(date);

  it('is the one of a person’s file from the day that it covers, and the built-in one until then', () => {
    const site = { place, coefficients: textOf(later) };
    expect(modelFor(site, at('2029-12-31')).name).toBe('WMM-2025');
    expect(modelFor(site, at('2030-01-01')).name).toBe('WMM-2030');
    expect(expectedField(site, at('2032-06-01'))).toMatchObject({ model: 'WMM-2030', valid: true });
  });

  it('is the newest where none covers the date, and says that it does not', () => {
    expect(expectedField({ place }, at('2031-05-01'))).toMatchObject({
      model: 'WMM-2025',
      valid: false,
    });
    const site = { place, coefficients: textOf(later) };
    expect(expectedField(site, at('2036-01-01'))).toMatchObject({
      model: 'WMM-2030',
      valid: false,
    });
  });

  it('is read from its file once, however often it is asked for', () => {
    let reads = 0;
    const site = {
      place,
      get coefficients() {
        reads++;
        return textOf(later);
      },
    };
    for (const day of ['2030-01-01', '2031-01-01']) {
      expect(modelFor(site, at(day)).name).toBe('WMM-2030');
    }
    expect(reads).toBe(1);
  });

  it('expects nothing where the place is not known', () => {
    expect(expectedField({}, at('2026-01-01'))).toBeUndefined();
  });
});
