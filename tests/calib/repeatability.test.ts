import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { madeUpCourse } from '../../bench/made-up-course.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import { coursePrecision } from '../../src/calib/course-precision.ts';
import { degrees, wrap } from '../../src/calib/geometry.ts';
import { precisionOf } from '../../src/calib/repeatability.ts';

describe('repeatability and reproducibility', () => {
  it('of unequal numbers of results are those worked by hand', () => {
    // means 2 and 5, of three and of two; grand mean 3.2
    const { within, between, perInstrument, betweenInstruments, reproducibility } = precisionOf([
      [
        [1, 2, 3],
        [4, 6],
      ],
    ]);
    expect(within).toEqual({ value: 4 / 3, freedom: 3 });
    expect(between!.value).toBeCloseTo(3 * 1.2 ** 2 + 2 * 1.8 ** 2, 12);
    // n̄ = (5 − (9 + 4)/5) / 1
    expect(perInstrument).toBeCloseTo(2.4, 12);
    const own = (10.8 - 4 / 3) / 2.4;
    expect(betweenInstruments! ** 2).toBeCloseTo(own, 12);
    expect(reproducibility!.value ** 2).toBeCloseTo(own + 4 / 3, 12);
  });

  it('are one and the same where instruments differ by no more than repeatability explains', () => {
    const { betweenInstruments, repeatability, reproducibility } = precisionOf([
      [
        [1, 3],
        [1.1, 2.9],
      ],
    ]);
    expect(betweenInstruments).toBe(0);
    expect(reproducibility!.value).toBeCloseTo(repeatability!.value, 12);
  });

  it('say nothing of what was not measured: alone, or once each, or not at all', () => {
    expect(precisionOf([])).toEqual({});
    expect(precisionOf([[[1, 2]]])).not.toHaveProperty('reproducibility');
    expect(precisionOf([[[1], [2]]])).not.toHaveProperty('repeatability');
    expect(precisionOf([[[1], [2]]])).not.toHaveProperty('reproducibility');
  });

  it('do not hang on where zero is, and follow the unit', () => {
    const cell = fc.array(fc.double({ min: -5, max: 5, noNaN: true }), {
      minLength: 2,
      maxLength: 4,
    });
    fc.assert(
      fc.property(
        fc.array(cell, { minLength: 2, maxLength: 4 }),
        fc.double({ min: -100, max: 100, noNaN: true }),
        fc.double({ min: 0.1, max: 10, noNaN: true }),
        (level, shift, unit) => {
          const plain = precisionOf([level]);
          const other = precisionOf([level.map((results) => results.map((x) => unit * x + shift))]);
          // where instruments differ by just what one differs from itself, rounding says which interval is given
          const [within, between] = [plain.within!.value, plain.between!.value];
          fc.pre(Math.abs(between - within) > 1e-9 * (within + between));
          for (const which of ['repeatability', 'reproducibility'] as const) {
            const [a, b] = [plain[which]!, other[which]!];
            for (const part of ['value', 'low', 'high', 'limit'] as const) {
              expect(Math.abs(b[part] - unit * a[part])).toBeLessThan(1e-6 * (1 + unit));
            }
            expect(a.low).toBeLessThanOrEqual(a.value);
            expect(a.high).toBeGreaterThanOrEqual(a.value);
          }
        },
      ),
      { numRuns: 100 },
    );
  });

  it('have 95 % intervals that hold the truth, over six levels that the same eight instruments share', () => {
    const random = randomStream(11, 'precision');
    let [repeats, reproduces] = [0, 0];
    const trials = 300;
    for (let trial = 0; trial < trials; trial++) {
      const own = Array.from({ length: 8 }, () => 2 * random.normal());
      const levels = Array.from({ length: 6 }, () =>
        own.map((bias) => [bias + random.normal(), bias + random.normal()]),
      );
      const { repeatability, reproducibility } = precisionOf(levels);
      if (repeatability!.low <= 1 && 1 <= repeatability!.high) repeats += 1;
      const truth = Math.sqrt(5);
      if (reproducibility!.low <= truth && truth <= reproducibility!.high) reproduces += 1;
    }
    // 95 % of 300, give or take three standard deviations of a count
    for (const count of [repeats, reproduces]) expect(Math.abs(count - 285)).toBeLessThan(12);
  });
});

describe('of a check course', () => {
  const { course } = madeUpCourse({ seed: 2, constants: [0, 1, -1, 0.5] });

  it('repeatability is the noise of one shot, and reproducibility has the constants in it', () => {
    const { azimuth, inclination } = coursePrecision(course);
    for (const { overall } of [azimuth, inclination]) {
      expect(degrees(overall.repeatability!.low)).toBeLessThan(0.3);
      expect(degrees(overall.repeatability!.high)).toBeGreaterThan(0.3);
    }
    expect(degrees(azimuth.overall.reproducibility!.value)).toBeGreaterThan(0.45);
    expect(degrees(inclination.overall.reproducibility!.value)).toBeLessThan(0.36);
    expect(azimuth.legs.map(({ leg }) => leg)).toEqual(course.legs.map(({ id }) => id));
  });

  it('is not upset by azimuths to either side of north', () => {
    const turned = {
      ...course,
      shots: course.shots.map((shot) => ({ ...shot, azimuth: wrap(shot.azimuth! - course.shots[0].azimuth!) })), // prettier-ignore
    };
    const [a, b] = [course, turned].map((each) => coursePrecision(each).azimuth.overall);
    expect(b.reproducibility!.value).toBeCloseTo(a.reproducibility!.value, 9);
  });

  it('is the noise of one shot for an instrument that is half a turn off as well, whichever shoots first', () => {
    for (const constants of [
      [0, 0, 180, 0],
      [180, 0, 0, 0],
    ]) {
      const { course } = madeUpCourse({ seed: 5, instruments: 4, constants });
      const { repeatability, reproducibility } = coursePrecision(course).azimuth.overall;
      expect(degrees(repeatability!.low)).toBeLessThan(0.3);
      expect(degrees(repeatability!.high)).toBeGreaterThan(0.3);
      // one of four half a turn off: variance 180² × 3/16 × 4/3; cosines of the legs are 0.57 to 1
      expect(degrees(reproducibility!.value)).toBeGreaterThan(0.57 * 90);
      expect(degrees(reproducibility!.value)).toBeLessThan(90);
    }
  });

  it('leaves out what is said to be left out', () => {
    const spoilt = {
      ...course,
      shots: course.shots.map((shot, i) => (i === 7 ? { ...shot, inclination: 1 } : shot)),
    };
    const plain = coursePrecision(spoilt).inclination.overall.repeatability!.value;
    const without = coursePrecision(spoilt, new Set([course.shots[7].id])).inclination.overall;
    expect(plain).toBeGreaterThan(3 * without.repeatability!.value);
  });
});
