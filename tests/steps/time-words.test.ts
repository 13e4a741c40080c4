import fc from 'fast-check';
import { expect, it } from 'vitest';
import { dayOf, dayWords, timeWords } from '../../src/steps/time-words.ts';

const moments = fc.date({
  min: new Date('1970-01-02T00:00:00Z'),
  max: new Date('2199-12-30T00:00:00Z'),
  noInvalidDate: true,
});

it('writes days and moments as British English has them in the tables of Unicode (CLDR)', () => {
  const day = new Intl.DateTimeFormat('en-GB', { dateStyle: 'medium' });
  const moment = new Intl.DateTimeFormat('en-GB', { dateStyle: 'medium', timeStyle: 'short' });
  fc.assert(
    fc.property(moments, (date) => {
      expect(dayWords(date.toISOString())).toBe(day.format(date));
      expect(timeWords(date.toISOString())).toBe(moment.format(date));
    }),
  );
});

it('writes the day of a moment as that day, whatever the zone', () => {
  fc.assert(
    fc.property(moments, (date) => {
      expect(dayWords(dayOf(date))).toBe(dayWords(date.toISOString()));
    }),
  );
});
