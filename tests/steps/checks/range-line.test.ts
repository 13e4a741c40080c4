import fc from 'fast-check';
import { expect, it } from 'vitest';
import { randomStream } from '../../../firmware-sim/random.ts';
import type { BoardReading } from '../../../src/protocol/board.ts';
import type { CheckTerms, FoundRange } from '../../../src/records/entries.ts';
import { placesOf } from '../../../src/steps/checks/check-places.ts';
import { lengthFrom, rangeFigures } from '../../../src/steps/checks/range-line.ts';
import {
  correctionFor,
  rangeWriting,
  worthWriting,
} from '../../../src/steps/checks/range-writing.ts';
import { verdictOf } from '../../../src/steps/checks/verdict.ts';
import { begunWith, MadeUpInstrument } from './made-up-instrument.ts';

/** What ranges of taped baselines come to, for modules whose constant and scale are known. */

const TERMS = {
  check: 'range' as const,
  lengths: [2, 5, 9, 14, 20],
  lengthsTo: 0.003,
  tapeTo: 100,
  from: 'the back of the housing',
  limit: 0.01,
  each: 4,
};

const toMillimetres = (metres: number) => Math.round(metres * 1000) / 1000;

/** Ranges of baselines that are as long as `true` says. */
const ranged = (
  lengths: readonly number[],
  of: (length: number, i: number) => number,
  each = TERMS.each,
) =>
  new Map(
    lengths.map((length, i) => [String(i), Array.from({ length: each }, () => of(length, i))]),
  );

const figure = ({ figures }: ReturnType<typeof rangeFigures>, name: string) =>
  figures.find((each) => each.name.includes(name))!;

it('gives constant and scale back from ranges without error', () => {
  const came = rangeFigures(
    ranged(TERMS.lengths, (length) => 0.02 + 1.001 * length),
    TERMS,
    undefined,
  );
  expect(figure(came, 'constant').value).toBeCloseTo(0.02, 9);
  expect(figure(came, 'Scale').value).toBeCloseTo(1000, 4);
  expect(figure(came, 'at 2.000 m').value).toBeCloseTo(0.022, 9);
  expect(figure(came, 'at 20.000 m').value).toBeCloseTo(0.04, 9);
  expect(figure(came, 'at 20.000 m').standing).toBe('outside');
});

it('holds the true constant, scale and errors of ranges in their intervals in 19 of 20 seeded trials or so', () => {
  // 95 % of 400 are 380, with a standard deviation of 4.4. The tape errors are uniform, whose sums have thinner tails than
  // normal ones, and the least freedom of all baselines is taken: intervals may hold the truth more often than asked
  const trials = 400;
  const random = randomStream(4, 'ranges');
  const held = { constant: 0, scale: 0, near: 0, far: 0, consistent: 0 };
  for (let trial = 0; trial < trials; trial++) {
    const truth = { constant: random.between(-0.03, 0.03), scale: random.between(-2000, 2000) };
    const tape = 1 + random.between(-TERMS.tapeTo, TERMS.tapeTo) / 1e6;
    const real = TERMS.lengths.map(
      (length) => length * tape + random.between(-TERMS.lengthsTo, TERMS.lengthsTo),
    );
    const groups = ranged(TERMS.lengths, (_, i) =>
      toMillimetres(truth.constant + (1 + truth.scale / 1e6) * real[i]! + 0.002 * random.normal()),
    );
    const came = rangeFigures(groups, TERMS, undefined);
    const within = (name: string, value: number) => {
      const found = figure(came, name);
      return Number(Math.abs(found.value - value) <= found.half);
    };
    const off = (length: number) => truth.constant + (truth.scale / 1e6) * length;
    held.constant += within('constant', truth.constant);
    held.scale += within('Scale', truth.scale);
    held.near += within('at 2.000 m', off(2));
    held.far += within('at 20.000 m', off(20));
    held.consistent += Number(came.warnings.length === 0);
  }
  for (const count of Object.values(held)) {
    expect(count).toBeGreaterThanOrEqual(367);
    expect(count).toBeLessThanOrEqual(398);
  }
});

it('names the baseline that was taped wrong, and widens the intervals', () => {
  const random = randomStream(5, 'ranges');
  const groups = (wrong: number) =>
    ranged(TERMS.lengths, (length, i) =>
      toMillimetres(length + 0.001 * random.normal() + (i === 2 ? wrong : 0)),
    );
  const right = rangeFigures(groups(0), TERMS, undefined);
  const wrong = rangeFigures(groups(0.1), TERMS, undefined);
  expect(right.warnings).toEqual([]);
  expect(wrong.warnings.join()).toContain('The one of 9.000 m stands out most');
  expect(figure(wrong, 'constant').half).toBeGreaterThan(5 * figure(right, 'constant').half);
});

it('names the baseline whose length was mistyped, wherever it stands, and none where several may be it', () => {
  const random = randomStream(6, 'ranges');
  const warned = (lengths: readonly number[], at: number, by: number) =>
    rangeFigures(
      ranged(lengths, (length, i) =>
        toMillimetres(length + 0.001 * random.normal() + (i === at ? by : 0)),
      ),
      { ...TERMS, lengths },
      undefined,
    ).warnings.join();
  // the longest bends the line to itself: 20 m that were typed for 30 m
  expect(warned([2, 5, 9, 18, 20], 4, 10)).toContain('The one of 20.000 m stands out most');
  for (const [i, length] of TERMS.lengths.entries()) {
    expect(warned(TERMS.lengths, i, 0.1)).toContain(`The one of ${length}.000 m stands out most`);
  }
  // of three any two lie on a line
  const three = warned([2, 9, 20], 1, 0.1);
  expect(three).toContain('Which of them is wrong does not show');
  expect(three).not.toContain('The one of');
});

const correction = fc.record({
  constant: fc.double({ min: -1, max: 1, noNaN: true }),
  scale: fc.double({ min: -20000, max: 20000, noNaN: true }),
});
const error = fc.record({
  constant: fc.double({ min: -0.1, max: 0.1, noNaN: true }),
  scale: fc.double({ min: -5000, max: 5000, noNaN: true }),
});
type Terms = { constant: number; scale: number };
/** What a board says of a length, with what its module is off by and what it adds. */
const said = (length: number, off: Terms, set: Terms) =>
  (off.constant + (1 + off.scale / 1e6) * length) * (1 + set.scale / 1e6) + set.constant;

const foundOf = (off: Terms, set: Terms): FoundRange => {
  const at = (length: number) => said(length, off, set);
  const scale = (at(20) - at(2)) / 18;
  return {
    ...{ constant: at(0), scale, covariance: { constant: 0, scale: 0, both: 0 } },
    ...{ freedom: Infinity, least: 2, most: 20, from: 'here', correction: set },
  };
};

it('corrects a board so that every range is true, whatever it added before', () => {
  fc.assert(
    fc.property(
      error,
      correction,
      fc.double({ min: 0, max: 500, noNaN: true }),
      (off, set, length) => {
        const wanted = correctionFor(foundOf(off, set))!;
        expect(said(length, off, wanted)).toBeCloseTo(length, 6);
      },
    ),
  );
});

it('gives true lengths from ranges taken later, whatever the board adds by then', () => {
  fc.assert(
    fc.property(
      error,
      correction,
      correction,
      fc.double({ min: 0, max: 500, noNaN: true }),
      (off, then, now, length) => {
        const known = lengthFrom(said(length, off, now), foundOf(off, then), now)!;
        expect(known.length).toBeCloseTo(length, 6);
      },
    ),
  );
  // it cannot tell where the board has got its settings since
  const { correction: _, ...without } = foundOf(
    { constant: 0, scale: 0 },
    { constant: 0, scale: 0 },
  );
  expect(lengthFrom(5, without, { constant: 0, scale: 0 })).toBeUndefined();
});

it('refuses to write what chance may have done, what was changed since, and what the board cannot take', () => {
  const set = { constant: 0, scale: 0 };
  const settings = (constant = '0', scale = '0') => {
    const common = { kind: 'number' as const, default: '0', restart: false };
    return [
      {
        at: 1,
        name: 'range_constant',
        label: 'a',
        value: constant,
        unit: 'm',
        decimals: 4,
        min: '-1',
        max: '1',
      },
      { at: 2, name: 'range_scale', label: 'b', value: scale, unit: 'ppm' },
    ].map((each) => ({ ...each, ...common }));
  };
  const found = foundOf({ constant: 0.012, scale: 400 }, set);
  const writing = rangeWriting(found, settings());
  expect(writing.can).toBe(true);
  expect(writing.words).toContain('add −0.0120 m (now 0 m), and scale by −400 ppm (now 0 ppm)');
  expect(rangeWriting(found, settings('0.1')).words).toContain('was changed since');
  expect(rangeWriting(found, settings('-0.0120', '-400')).words).toContain('are on the board');
  expect(rangeWriting(found, []).words).toContain('no settings for constant and scale');
  const far = rangeWriting(foundOf({ constant: 1.4, scale: 0 }, set), settings());
  expect(far.can).toBe(false);
  expect(far.words).toContain('−1.4000 m of constant (it takes −1 to 1)');
  expect(rangeWriting(foundOf({ constant: 0.9999, scale: 0 }, set), settings()).can).toBe(true);
  const chance = { ...found, covariance: { constant: 1, scale: 1, both: 0 }, freedom: 10 };
  expect(worthWriting(chance)).toBe(false);
  expect(rangeWriting(chance, settings()).can).toBe(false);
});

it('settles nothing without ranges, or where settings were changed under way', () => {
  const terms: CheckTerms = TERMS;
  const instrument = new MadeUpInstrument(1);
  const readings = new Map<string, BoardReading>(
    placesOf(terms).map(({ place, aim }) => [
      place,
      { ...instrument.read(aim), range: toMillimetres(aim.distance!) },
    ]),
  );
  const set = { constant: 0, scale: 0 };
  const verdict = (now: Terms | undefined, taken = readings) =>
    verdictOf({ ...begunWith(terms), correction: set }, taken, undefined, now ? { now } : {});
  expect(verdict(set)).toMatchObject({ verdict: 'passed', warnings: [] });
  expect(verdict({ constant: 0.1, scale: 0 }).warnings.join()).toContain('was changed while');
  const { range: _, ...dumb } = readings.get('1 1')!;
  const without = new Map([...readings].map(([place]) => [place, dumb]));
  expect(verdict(set, without)).toMatchObject({ verdict: 'not settled', figures: [] });
});
