import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { radians } from '../../../src/calib/geometry.ts';
import type { EntryOf, SiteSpot } from '../../../src/records/entries.ts';
import { earthField } from '../../../src/steps/site/earth-field.ts';
import { afterSite, NO_SITE } from '../../../src/steps/site/site-history.ts';
import { fits, judgeSite, spotOf, type SiteTerms } from '../../../src/steps/site/site-judgement.ts';
import { siteVerdict } from '../../../src/steps/site/site-words.ts';

const TIME = '2027-05-01T08:00:00.000Z';
const EXPECTED = earthField({ latitude: 49, longitude: 10, height: 0 }, new Date(TIME));
const TERMS: SiteTerms = { noise: { acc: 0.001, mag: 0.002 }, expected: EXPECTED };

/** A spot as it is at that place, seen through coefficients; but for what is said. */
const spot = (but: Partial<SiteSpot> = {}): SiteSpot => ({
  time: TIME,
  n: 8,
  moved: 0,
  field: { mean: 1, sd: 0.002 },
  dip: { mean: EXPECTED.dip, sd: 0.002 },
  down: [0, 0, 1],
  raw: [0.4, 0, 0.9],
  ...but,
});
const off = (spots: readonly SiteSpot[], terms: Partial<SiteTerms> = {}) =>
  judgeSite(spots, { ...TERMS, ...terms })
    .figures.filter(({ good }) => !good)
    .map(({ name }) => name);

describe('the judgement of a site', () => {
  it('is clean only where dip, steadiness and change are all normal', () => {
    expect(judgeSite([spot(), spot()], TERMS).verdict).toBe('clean');
    expect(judgeSite([spot()], TERMS).verdict).toBe('open');
  });

  it.each([
    ['scatter of the field’s length here', { field: { mean: 1, sd: 0.0051 } }, 0.0049],
    ['scatter of the dip here', { dip: { mean: EXPECTED.dip, sd: radians(0.51) } }, radians(0.49)],
  ] as const)('finds a %s that comes and goes, and leaves what noise does', (name, but, less) => {
    expect(off([spot(but), spot()])).toEqual([name]);
    const key = 'field' in but ? 'field' : 'dip';
    expect(off([spot({ [key]: { mean: spot()[key]!.mean, sd: less } }), spot()])).toEqual([]);
  });

  it('says of a field that comes and goes what it may be, whatever else is off', () => {
    const spots = [
      spot({ field: { mean: 1, sd: 0.02 } }),
      spot({ field: { mean: 1.1, sd: 0.002 } }),
    ];
    const check = { ...judgeSite(spots, TERMS), spots };
    expect(siteVerdict(check).words).toContain('comes and goes');
  });

  it('asks no more of a noisy board than its noise lets it tell', () => {
    // 2 % of noise in a reading: 1 % in the mean of eight less that of another eight
    const noisy = { noise: { acc: 0.001, mag: 0.02 } };
    const spots = [
      spot({ field: { mean: 1, sd: 0.025 }, dip: { mean: EXPECTED.dip, sd: 0.02 } }),
      spot({ field: { mean: 1.03, sd: 0.025 }, dip: { mean: EXPECTED.dip, sd: 0.02 } }),
    ];
    expect(off(spots, noisy)).toEqual([]);
    expect(off(spots)).not.toEqual([]);
  });

  it('takes a dip by either sign, and allows a tenth of a degree more for a year without a model', () => {
    const by = (degrees: number) => [
      spot({ dip: { mean: EXPECTED.dip + radians(degrees), sd: 0.002 } }),
    ];
    expect(off(by(0.95))).toEqual([]);
    expect(off(by(1.05))).toEqual(['dip here less that of the model']);
    expect(off(by(-1.05))).toEqual(['dip here less that of the model']);
    expect(off(by(-1.05), { yearsOut: 1 })).toEqual([]);
  });

  it('holds strength against the model only where coefficients were made at a known place', () => {
    const strong = [spot({ field: { mean: 1.03, sd: 0.002 } })];
    expect(off(strong)).toEqual([]);
    expect(off(strong, { madeIn: EXPECTED.strength })).toEqual([
      'strength here against that of the model',
    ]);
    // made where the field is 3 % weaker than here
    expect(off(strong, { madeIn: EXPECTED.strength / 1.03 })).toEqual([]);
  });

  it('is never more than nothing found for a board that was taken raw', () => {
    const { dip: _, ...raw } = spot();
    expect(judgeSite([raw, raw], TERMS).verdict).toBe('nothing found');
    const { blindTo } = judgeSite([raw, raw], { ...TERMS, unfit: true });
    expect(blindTo[0]).toContain('do not make gravity one');
  });

  it('calls nothing normal of a magnetometer that reads nothing at all', () => {
    const dead = spotOf(
      [{ acc: [0, 0, 16_384], mag: [0, 0, 0] }],
      { accScale: 16_384, magScale: 3400 },
      undefined,
      { time: TIME, moved: 0 },
    );
    const { figures, verdict } = judgeSite([dead, dead], TERMS);
    expect(verdict).toBe('disturbed');
    expect(figures.map(({ value, good }) => [value, good])).toEqual(Array(4).fill([100, false]));
  });

  it('gives figures that are numbers, whatever a board reads', () => {
    const count = fc.double({ min: -999_999, max: 999_999, noNaN: true });
    const reading = fc.record({
      acc: fc.tuple(count, count, count),
      mag: fc.tuple(count, count, count),
    });
    const spots = fc.array(fc.array(reading, { minLength: 1, maxLength: 8 }), {
      minLength: 1,
      maxLength: 2,
    });
    const scales = { accScale: 16_384, magScale: 3400 };
    fc.assert(
      fc.property(spots, (each) => {
        const made = each.map((one) => spotOf(one, scales, undefined, { time: TIME, moved: 0 }));
        const { figures } = judgeSite(made, TERMS);
        for (const { value, limit } of figures) {
          expect(Number.isFinite(value) && Number.isFinite(limit)).toBe(true);
        }
      }),
    );
  });
});

it('takes coefficients for those of the board only where they make gravity one', () => {
  const identity = [1, 0, 0, 0, 1, 0, 0, 0, 1] as const;
  const coefficients = {
    ...{ model: 'straight' as const, accScale: 1000, magScale: 1000, q: [0, 0, 0] as const },
    ...{ o: [0, 0, 0] as const, A: identity, p: [0, 0, 0] as const, B: identity },
  };
  const reading = (g: number) => ({ acc: [0, 0, g] as const, mag: [400, 0, 900] as const });
  expect(fits([reading(1015), reading(985)], coefficients)).toBe(true);
  expect(fits([reading(1025)], coefficients)).toBe(false);
});

describe('where coefficients were made', () => {
  const stamp = { board: 'WB-1', time: TIME };
  const checked = (but: Partial<EntryOf<'site checked'>> = {}): EntryOf<'site checked'> => ({
    ...{ ...stamp, kind: 'site checked', spots: [], figures: [], verdict: 'clean', blindTo: [] },
    expected: { model: 'WMM-2025', valid: true, declination: 0, dip: 1.1, strength: 48_000 },
    ...but,
  });
  const calibration = { id: 'one', started: '2027-05-01T09:00:00.000Z' };
  const sealed = {
    ...{ ...stamp, kind: 'sealed' as const, calibration: 'one', generation: 2, replaced: 1 },
    ...{ crc: '0A1B2C3D', known: 'answer' as const },
  };
  const reading: EntryOf<'reading'> = {
    ...{ ...stamp, kind: 'reading', calibration: 'one', id: '1' },
    reading: { reading: 1, generation: 0, acc: [0, 0, 1000], mag: [400, 0, 900] },
  };
  type Of = Parameters<typeof afterSite>[2];
  const folded = (entries: Parameters<typeof afterSite>[1][], of: Of = calibration) =>
    entries.reduce((site, entry) => afterSite(site, entry, of), NO_SITE);
  const after = (check: EntryOf<'site checked'>, of?: Of) =>
    folded([check, reading, sealed], of).madeIn;

  it('is known from the check of the site on that day', () => {
    expect(after(checked())).toEqual({ crc: '0A1B2C3D', strength: 48_000 });
  });

  it.each([
    ['was disturbed', checked({ verdict: 'disturbed' }), calibration],
    ['is of the day before', checked({ time: '2027-04-30T08:00:00.000Z' }), calibration],
    ['is of a set that was made some other day', checked(), { ...calibration, chosen: {} }],
  ])('is not known where the check %s', (_, check, of) => {
    expect(after(check, of)).toBeUndefined();
  });

  it('is known from the last check before the last reading, and not from one after it', () => {
    const days = checked({
      time: '2027-05-04T08:00:00.000Z',
      expected: { ...checked().expected!, strength: 30_000 },
    });
    const strength = (...entries: Parameters<typeof folded>[0]) =>
      folded([...entries, sealed]).madeIn?.strength;
    expect(strength(checked(), reading, days)).toBe(48_000);
    expect(strength(days, reading, checked())).toBe(30_000);
    expect(strength(reading, checked())).toBeUndefined();
    expect(strength(checked(), { ...reading, calibration: 'none' })).toBeUndefined();
  });

  it('is forgotten when a calibration of which it is not known takes their place', () => {
    const known = folded([checked(), reading, sealed]);
    expect(known).toHaveProperty('madeIn');
    const later = { id: 'two', started: '2028-05-01T09:00:00.000Z' };
    expect(afterSite(known, { ...sealed, calibration: 'two' }, later)).not.toHaveProperty('madeIn');
  });
});
