import fc from 'fast-check';
import { expect, it } from 'vitest';
import type { CheckFigure, CheckTerms } from '../../../src/records/entries.ts';
import { magneticOf, placesOf } from '../../../src/steps/checks/check-places.ts';
import { MadeUpInstrument, verdictWith } from './made-up-instrument.ts';

/** What checks in the field come to, on instruments whose errors are known. */

const ROLLS: CheckTerms = { check: 'rolls', mark: 'the spire', each: 2 };
const FORE_AND_BACK: CheckTerms = { check: 'fore and back', each: 3 };
const BEARINGS = {
  check: 'known bearings' as const,
  north: 'magnetic' as const,
  declination: 0,
  declinationError: 0,
  convergence: 0,
  trueTo: 0.1,
  each: 2,
  marks: [
    { mark: 'spire', bearing: 10 },
    { mark: 'mast', bearing: 131 },
    { mark: 'summit', bearing: 255 },
  ],
};
const SWAP: CheckTerms = { check: 'battery swap', each: 1 };
const LOOP: CheckTerms = { check: 'loop', lengths: [12, 9, 15, 20], lengthsTo: 0.02, each: 1 };

const QUIET = { aim: 0, chip: 0 };
const figure = (figures: readonly CheckFigure[], name: string) =>
  figures.find((each) => each.name.includes(name))!;

/**
 * How many of so many seeded trials hold the truth in their interval. 95 % of 400 are 380, with a standard deviation of
 * √(400 · 0.95 · 0.05) = 4.4: three of them either way is 367 to 393.
 */
const TRIALS = 400;
const trials = (holds: (seed: number) => boolean) =>
  Array.from({ length: TRIALS }, (_, seed) => holds(seed)).filter(Boolean).length;
const expectAbout95 = (count: number) => {
  expect(count).toBeGreaterThanOrEqual(367);
  expect(count).toBeLessThanOrEqual(393);
};

it('finds nothing on a perfect instrument in a perfect hand', () => {
  for (const terms of [ROLLS, FORE_AND_BACK, BEARINGS, SWAP, LOOP]) {
    const instrument = new MadeUpInstrument(1, { errs: false }, QUIET);
    const { figures, verdict } = verdictWith(terms, instrument.readAll(terms));
    for (const { value } of figures) expect(Math.abs(value)).toBeLessThan(1e-6);
    expect(verdict).toBe('passed');
  }
});

it('passes an ordinary instrument of a good calibration at one degree, whichever check', () => {
  for (const terms of [ROLLS, FORE_AND_BACK, BEARINGS, SWAP, LOOP]) {
    const { verdict, warnings } = verdictWith(terms, new MadeUpInstrument(4).readAll(terms));
    expect({ of: terms.check, verdict, warnings }).toEqual({
      of: terms.check,
      verdict: 'passed',
      warnings: [],
    });
  }
});

it('gives a constant of azimuth back within its interval in about 19 of 20 trials', () => {
  expectAbout95(
    trials((seed) => {
      const constant = 0.7 * Math.sin(seed);
      const instrument = new MadeUpInstrument(seed);
      const bearings = new MadeUpInstrument(10_000 + seed); // as a source of chance, for the bearings
      const off = BEARINGS.marks.map(() => 0.2 * (uniform(bearings) - 0.5));
      const readings = instrument.readAll(BEARINGS, ({ aim, group }) => ({
        ...aim,
        azimuth: aim.azimuth + constant + off[Number(group)]!,
      }));
      const { value, half } = verdictWith(BEARINGS, readings).figures[0]!;
      return Math.abs(value - constant) <= half;
    }),
  );
});

/** A number in [0, 1) out of the noise of a chip: its fifth decimal and those below. */
function uniform(instrument: MadeUpInstrument): number {
  const { acc } = instrument.read({ azimuth: 0, inclination: 0, roll: 0 });
  return Math.abs((acc[0] * 1e4) % 1);
}

it.each([
  ['what turns with roll', ROLLS, 'upright less upside down'],
  ['the difference of fore and back azimuths', FORE_AND_BACK, 'fore less back'],
  ['the sum of fore and back inclinations', FORE_AND_BACK, 'fore and back together'],
] as const)(
  'holds nought for %s on a true instrument in about 19 of 20 trials',
  (_, terms, name) => {
    expectAbout95(
      trials((seed) => {
        const { figures } = verdictWith(terms, new MadeUpInstrument(seed).readAll(terms));
        const { value, half } = figure(figures, name);
        return Math.abs(value) <= half;
      }),
    );
  },
);

it.each(['azimuth', 'north', 'east', 'up'])(
  'holds nought for the misclosure (%s) of a loop that a true instrument walks, in 19 of 20 trials or more',
  (name) => {
    // more, since what the coefficients err by is in their covariance, and in the scatter of fore against back again
    const held = trials((seed) => {
      const { figures } = verdictWith(LOOP, new MadeUpInstrument(seed).readAll(LOOP));
      const { value, half } = figure(figures, name);
      return Math.abs(value) <= half;
    });
    expect(held).toBeGreaterThanOrEqual(367);
  },
);

it('finds an inclination that is off by the same everywhere, by fore and back sights', () => {
  const readings = new MadeUpInstrument(3, { errs: false }, QUIET).readAll(
    FORE_AND_BACK,
    ({ aim }) => ({ ...aim, inclination: aim.inclination + 1.5 }),
  );
  const { figures, verdict } = verdictWith(FORE_AND_BACK, readings);
  expect(figure(figures, 'Inclination').value).toBeCloseTo(1.5, 6);
  expect(verdict).toBe('failed');
});

it('takes account of what is aimed at being higher than the instrument is held', () => {
  // held 1.5 m over either mark, 20 m apart; aimed at 1.9 m over B and at 1.2 m over A; B is 2 m higher
  const terms: CheckTerms = {
    check: 'fore and back',
    each: 2,
    heights: { fore: 0.4, back: -0.3, distance: 20 },
  };
  const tilt = (rise: number) => (Math.atan(rise / 20) * 180) / Math.PI;
  const readings = new MadeUpInstrument(3, { errs: false }, QUIET).readAll(
    terms,
    ({ aim, group }) => ({
      ...aim,
      inclination: group === 'fore' ? tilt(2 + 0.4) : tilt(-2 - 0.3),
    }),
  );
  expect(figure(verdictWith(terms, readings).figures, 'Inclination').value).toBeCloseTo(0, 9);
  const without = verdictWith({ check: 'fore and back', each: 2 }, readings);
  expect(figure(without.figures, 'Inclination').value).toBeGreaterThan(0.1);
});

it('finds hard iron across the sight by four rolls on one mark, and none along it', () => {
  const iron = (vector: [number, number, number]) =>
    verdictWith(
      ROLLS,
      new MadeUpInstrument(5).readAll(ROLLS, undefined, () => vector),
    );
  // 2 % of the field across the sight: 0.02 / cos 65° is 2.7° of azimuth
  expect(iron([0, 0.02, 0]).verdict).toBe('failed');
  const along = iron([0.02, 0, 0]);
  expect(along.verdict).toBe('passed');
});

it('names the mark whose bearing is wrong', () => {
  const instrument = new MadeUpInstrument(6);
  const readings = instrument.readAll(BEARINGS, ({ aim, mark }) => ({
    ...aim,
    azimuth: aim.azimuth + (mark === 'mast' ? 3 : 0),
  }));
  const { verdict, warnings, figures } = verdictWith(BEARINGS, readings);
  expect(verdict).toBe('failed');
  expect(warnings.join()).toContain('“mast” stands');
  expect(figure(figures, 'mast').standing).toBe('outside');
  expect(figure(figures, 'spire').standing).toBe('within');
});

it('counts bearings from the north that is named', () => {
  const terms = { declination: 2.5, convergence: -1.2 };
  expect(magneticOf(100, { north: 'magnetic', ...terms })).toBe(100);
  expect(magneticOf(100, { north: 'true', ...terms })).toBe(97.5);
  expect(magneticOf(100, { north: 'grid', ...terms })).toBeCloseTo(96.3, 12);
  expect(magneticOf(1, { north: 'true', ...terms })).toBe(358.5);
});

it('settles nothing where the declination is not known well enough', () => {
  const terms = { ...BEARINGS, north: 'true' as const, declination: 4, declinationError: 0.6 };
  const { verdict } = verdictWith(terms, new MadeUpInstrument(7).readAll(terms));
  expect(verdict).toBe('not settled');
});

it('finds the hard iron of another battery, and in which attitudes it matters', () => {
  const iron: [number, number, number] = [0.004, -0.006, 0.012];
  const readings = new MadeUpInstrument(8).readAll(SWAP, undefined, ({ afterSwap }) =>
    afterSwap ? iron : [0, 0, 0],
  );
  const { figures, verdict } = verdictWith(SWAP, readings);
  const hard = figure(figures, 'Hard iron');
  expect(Math.abs(hard.value - 100 * Math.hypot(...iron))).toBeLessThan(hard.half);
  const most = figure(figures, 'changes most');
  const horizontal = Math.cos((65 * Math.PI) / 180);
  expect(most.value).toBeCloseTo((hard.value / 100 / horizontal) * (180 / Math.PI), 1);
  expect(verdict).toBe('failed');
});

it('tells the change of azimuth that iron makes as it is, attitude by attitude', () => {
  const iron: [number, number, number] = [1e-5, -2e-5, 3e-5];
  const instrument = new MadeUpInstrument(9, { errs: false }, QUIET);
  const readings = instrument.readAll(SWAP, undefined, ({ afterSwap }) =>
    afterSwap ? iron : [0, 0, 0],
  );
  const { figures } = verdictWith(SWAP, readings);
  // the angles themselves, before and after, by the formulas of the wire (SPEC.md, 6.2)
  for (const { place, mark, roll } of placesOf(SWAP).filter(({ afterSwap }) => !afterSwap)) {
    const azimuth = (of: string) => {
      const { acc, mag } = readings.get(of)!;
      const e = [
        acc[1] * mag[2] - acc[2] * mag[1],
        acc[2] * mag[0] - acc[0] * mag[2],
        acc[0] * mag[1] - acc[1] * mag[0],
      ];
      const north = (e[1]! * acc[2] - e[2]! * acc[1]) / 1000;
      return (Math.atan2(e[0]!, north) * 180) / Math.PI;
    };
    const change = azimuth(place.replace('before', 'after')) - azimuth(place);
    const words = { 0: 'upright', 90: 'quarter right', 180: 'upside down', 270: 'quarter left' };
    const told = figures.find(
      ({ name }) =>
        name.includes(`mark ${mark}`) && name.includes(words[roll as keyof typeof words]),
    )!;
    expect(told.value).toBeCloseTo(change, 6);
  }
});

it('closes the loop that the simulated hand walks, whatever its lengths', () => {
  fc.assert(
    fc.property(
      fc.array(fc.double({ min: 1, max: 50, noNaN: true }), { minLength: 3, maxLength: 8 }),
      (lengths) => {
        const longest = Math.max(...lengths);
        fc.pre(longest < 0.98 * (lengths.reduce((a, b) => a + b) - longest));
        const terms: CheckTerms = { check: 'loop', lengths, lengthsTo: 0, each: 1 };
        const fore = placesOf(terms).filter(({ group }) => group.startsWith('fore'));
        const sum = (of: (angle: number) => number) =>
          fore.reduce(
            (total, { aim }, i) => total + lengths[i]! * of((aim.azimuth * Math.PI) / 180),
            0,
          );
        expect(Math.abs(sum(Math.cos))).toBeLessThan(1e-6);
        expect(Math.abs(sum(Math.sin))).toBeLessThan(1e-6);
      },
    ),
  );
});

it('finds a leg whose length was typed wrong by the position, not by the azimuth', () => {
  const terms: CheckTerms = { check: 'loop', lengths: [12, 9, 15, 20], lengthsTo: 0.02, each: 1 };
  const readings = new MadeUpInstrument(11, { errs: false }).readAll(terms);
  const wrong: CheckTerms = { ...terms, lengths: [12, 9, 15, 23] };
  const { figures, verdict } = verdictWith(wrong, readings);
  expect(figure(figures, 'azimuth').standing).toBe('within');
  expect(Math.hypot(figure(figures, 'north').value, figure(figures, 'east').value)).toBeCloseTo(
    3,
    0,
  );
  expect(verdict).toBe('failed');
});

it('says which readings it could not use, and gives no verdict where an aim has none left', () => {
  const readings = new MadeUpInstrument(12).readAll(ROLLS, ({ aim }) =>
    aim.roll === 90 ? { azimuth: 0, inclination: 90, roll: 0 } : aim,
  );
  const upright = new MadeUpInstrument(12, { errs: false }, QUIET);
  for (const place of ['90° 1', '90° 2']) {
    readings.set(place, upright.read({ azimuth: 0, inclination: 90, roll: 0 }));
  }
  const { verdict, figures, warnings } = verdictWith(ROLLS, readings);
  expect(verdict).toBe('not settled');
  expect(figures).toEqual([]);
  expect(warnings).toContain('Of one aim there is no reading that says anything.');
});

it('says that the coefficients’ own uncertainty is missing where no fit is known', () => {
  const readings = new MadeUpInstrument(13).readAll(BEARINGS);
  expect(verdictWith(BEARINGS, readings).warnings).toEqual([]);
  const { warnings } = verdictWith(BEARINGS, readings, 'not known');
  expect(warnings.join()).toContain('has no fit that gave these coefficients');
});
