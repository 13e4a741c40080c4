import { expect, it } from 'vitest';
import { randomStream } from '../../../firmware-sim/random.ts';
import type { Triple } from '../../../firmware-sim/world.ts';
import { sumCovariance, sumError } from '../../../src/calib/covariance.ts';
import type { BoardReading } from '../../../src/protocol/board.ts';
import type { CheckFigure, CheckTerms, FoundRange } from '../../../src/records/entries.ts';
import { placesOf, type CheckPlace } from '../../../src/steps/checks/check-places.ts';
import type { Ranging } from '../../../src/steps/checks/closed-loop.ts';
import { verdictOf } from '../../../src/steps/checks/verdict.ts';
import { begunWith, MadeUpInstrument, UNCERTAINTY, verdictWith } from './made-up-instrument.ts';

/** Closed loops, walked with instruments whose errors are known. */

const LOOP = {
  check: 'loop' as const,
  lengths: [12, 9, 15, 20],
  lengthsTo: 0,
  heldTo: 0,
  each: 2,
};
const FORE = { ...LOOP, ways: 'fore' as const };
const QUIET = { aim: 0, chip: 0 };
const figure = (figures: readonly CheckFigure[], name: string) =>
  figures.find((each) => each.name.includes(name))!;

/** 95 % of 400 are 380, with a standard deviation of 4.4: three of them either way is 367 to 393. */
const TRIALS = Array.from({ length: 400 }, (_, seed) => seed);

it('holds nought in each interval in 19 of 20 seeded trials, and leaves no more than is expected in as many', () => {
  const held = new Map<string, number>();
  const count = (name: string, is: boolean) => held.set(name, (held.get(name) ?? 0) + Number(is));
  for (const seed of TRIALS) {
    const { figures, found } = verdictWith(LOOP, new MadeUpInstrument(seed).readAll(LOOP));
    count('as a whole', found![0]!.includes('as well as'));
    for (const { name, value, half, expected } of figures) {
      const isLength = name.includes('horizontal') || name.includes('total');
      if (!isLength) count(name, Math.abs(value) <= half);
      count(`${name}, expected`, Math.abs(value) <= expected!);
    }
  }
  expect(held.size).toBe(13);
  for (const [name, times] of held) {
    expect(times, name).toBeGreaterThanOrEqual(367);
    expect(times, name).toBeLessThanOrEqual(393);
  }
});

it('takes the error of the coefficients as one for all legs, not one for each', () => {
  const sight = { angle: 'azimuth' as const, weight: 1, azimuth: 0.3, inclination: 0.1, roll: 0 };
  const once = sumError(UNCERTAINTY, [sight]);
  expect(sumError(UNCERTAINTY, [sight, sight])).toBeCloseTo(2 * once, 12);
  expect(sumError(UNCERTAINTY, [sight, { ...sight, weight: -1 }])).toBeCloseTo(0, 12);
  const other = { ...sight, azimuth: 1.1 };
  const [[one, both], [, two]] = sumCovariance(UNCERTAINTY, [[sight], [other]]) as [
    [number, number],
    [number, number],
  ];
  expect(both / Math.sqrt(one * two)).toBeGreaterThan(0.3);
  const together = sumError(UNCERTAINTY, [sight, other]);
  expect(together ** 2).toBeCloseTo(one + two + 2 * both, 12);
});

it('is not closed by less for a constant error of azimuth, which turns the whole loop', () => {
  const readings = (constant: number) =>
    new MadeUpInstrument(3, { errs: false }, QUIET).readAll(LOOP, ({ aim }) => ({
      ...aim,
      azimuth: aim.azimuth + constant,
    }));
  for (const { value } of verdictWith(LOOP, readings(25)).figures) {
    expect(Math.abs(value)).toBeLessThan(1e-6);
  }
});

it('says that it closes worse than expected where iron has come into the instrument', () => {
  const iron: Triple = [0.03, 0.02, 0];
  const { found, verdict } = verdictWith(
    LOOP,
    new MadeUpInstrument(4).readAll(LOOP, undefined, () => iron),
  );
  expect(found!.join()).toContain('It closes worse than its calibration');
  expect(verdict).not.toBe('passed');
  const clean = verdictWith(LOOP, new MadeUpInstrument(4).readAll(LOOP));
  expect(clean.found!.join()).toContain('It closes as well as its calibration');
});

it('shows an inclination that is off everywhere in that misclosure, and not in the position', () => {
  const readings = new MadeUpInstrument(5, { errs: false }, QUIET).readAll(LOOP, ({ aim }) => ({
    ...aim,
    inclination: aim.inclination + 0.5,
  }));
  const { figures } = verdictWith(LOOP, readings);
  expect(figure(figures, 'of inclination').value).toBeCloseTo(8 * 0.5, 6);
  expect(figure(figures, 'up').value).toBeCloseTo(0, 9);
});

it('closes with fore sights alone, and gives then no azimuth or inclination', () => {
  const places = placesOf(FORE);
  expect(places).toHaveLength(8);
  const { figures, verdict } = verdictWith(
    FORE,
    new MadeUpInstrument(6).readAll(FORE),
    UNCERTAINTY,
    { degrees: 2.5 },
  );
  expect(figures.map(({ name }) => name.split(', ')[1])).toEqual([
    ...['horizontal', 'up', 'north', 'east', 'total'],
  ]);
  expect(verdict).toBe('passed');
  const off = new MadeUpInstrument(6, { errs: false }, QUIET).readAll(FORE, ({ aim }) => ({
    ...aim,
    inclination: aim.inclination + 0.5,
  }));
  // 56 m up at half a degree
  const rise = 56 * Math.sin((0.5 * Math.PI) / 180);
  expect(figure(verdictWith(FORE, off).figures, 'up').value).toBeCloseTo(rise, 6);
});

it('gives no interval where each leg was read once from one end', () => {
  const once: CheckTerms = { ...FORE, each: 1 };
  const { figures, verdict, warnings } = verdictWith(once, new MadeUpInstrument(7).readAll(once));
  expect(figures.every(({ half }) => half === Infinity)).toBe(true);
  expect(verdict).toBe('not settled');
  expect(warnings.join()).toContain('nothing tells how readings scatter');
});

it('expects more where lengths and holding are less certain', () => {
  const expected = (terms: CheckTerms) =>
    figure(verdictWith(terms, new MadeUpInstrument(8).readAll(terms)).figures, 'total').expected!;
  const sure = expected(LOOP);
  expect(expected({ ...LOOP, lengthsTo: 0.1 })).toBeGreaterThan(1.2 * sure);
  expect(expected({ ...LOOP, heldTo: 0.1 })).toBeGreaterThan(1.2 * sure);
});

const RANGED: CheckTerms = { ...LOOP, ranged: true };
const FOUND: FoundRange = {
  constant: 0.05,
  scale: 1.002,
  covariance: { constant: 1e-6, scale: 1e-9, both: -1e-8 },
  freedom: 20,
  least: 2,
  most: 25,
  from: 'the back',
};

/** Readings of a loop with the ranges that a module of {@link FOUND} gives. */
function walked(
  instrument: MadeUpInstrument,
  range: (place: CheckPlace) => number = ({ aim }) => 0.05 + 1.002 * aim.distance!,
): Map<string, BoardReading> {
  return new Map(
    placesOf(RANGED).map((place) => [
      place.place,
      { ...instrument.read(place.aim), range: range(place) },
    ]),
  );
}

const withRanges = (readings: Map<string, BoardReading>, ranging: Ranging) =>
  verdictOf(begunWith(RANGED), readings, UNCERTAINTY, ranging);

it('takes lengths from the board’s own ranges, less what a range check found', () => {
  const quiet = () => new MadeUpInstrument(9, { errs: false }, QUIET);
  const known = withRanges(walked(quiet()), { found: FOUND });
  for (const { value } of known.figures) expect(Math.abs(value)).toBeLessThan(1e-6);
  expect(known.warnings).toEqual([]);
  const unknown = withRanges(walked(quiet()), {});
  expect(unknown.warnings.join()).toContain('check its ranges against taped lengths first');
  // 5 cm more in each of four unlike legs does not close
  expect(figure(unknown.figures, 'horizontal').value).toBeGreaterThan(0.01);
});

it('says so where a leg has no range', () => {
  const readings = walked(new MadeUpInstrument(10));
  for (const place of ['fore 2 1', 'fore 2 2', 'back 2 1', 'back 2 2']) {
    const { range: _, ...rest } = readings.get(place)!;
    readings.set(place, rest);
  }
  const { verdict, warnings } = withRanges(readings, { found: FOUND });
  expect(verdict).toBe('not settled');
  expect(warnings.join()).toContain('Of one leg there is no range');
});

it('holds nought in its intervals where constant and scale were found with an error of their own', () => {
  const random = randomStream(11, 'ranged loops');
  const held = { north: 0, east: 0 };
  for (const seed of TRIALS) {
    // drawn from the covariance that the check goes by
    const [one, two] = [random.normal(), random.normal()];
    const { constant, scale, both } = FOUND.covariance;
    const slope = both / Math.sqrt(constant);
    const truth = {
      constant: FOUND.constant + Math.sqrt(constant) * one,
      scale: FOUND.scale + slope * one + Math.sqrt(scale - slope ** 2) * two,
    };
    const readings = walked(new MadeUpInstrument(seed), ({ aim }) => {
      const range = truth.constant + truth.scale * aim.distance! + 0.002 * random.normal();
      return Math.round(range * 1000) / 1000;
    });
    const { figures } = withRanges(readings, { found: FOUND });
    for (const side of ['north', 'east'] as const) {
      const { value, half } = figure(figures, side);
      held[side] += Number(Math.abs(value) <= half);
    }
  }
  for (const times of Object.values(held)) {
    expect(times).toBeGreaterThanOrEqual(367);
    expect(times).toBeLessThanOrEqual(393);
  }
});
