import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { bodyVectors, column, degrees, radians } from '../../../src/calib/geometry.ts';
import type { Coefficients } from '../../../src/calib/model.ts';
import type { Vec3 } from '../../../src/calib/reading.ts';
import { isAt, offsetTo, topOf, type Wanted } from '../../../src/steps/collecting/aim-offset.ts';
import { wayWords } from '../../../src/steps/collecting/aim-words.ts';
import { attitudeNow, type AttitudeNow } from '../../../src/steps/collecting/attitude-now.ts';
import { turnedBy } from '../../../src/steps/collecting/own-hand.ts';

const DIP = radians(65);

/** A board without any fault, whose counts are the vectors themselves. */
const PERFECT: Coefficients = {
  model: 'straight',
  accScale: 1,
  magScale: 1,
  o: [0, 0, 0],
  A: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  p: [0, 0, 0],
  B: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  q: [0, 0, 0],
};

function held({ azimuth, inclination, roll }: Wanted): AttitudeNow {
  const { g, b } = bodyVectors(radians(azimuth), radians(inclination), radians(roll), DIP);
  return attitudeNow({ acc: g, mag: b }, [{ from: 'provisional', coefficients: PERFECT }])!;
}

const attitude = fc.record({
  azimuth: fc.double({ min: 0, max: 359.9, noNaN: true }),
  inclination: fc.double({ min: -84, max: 84, noNaN: true }),
  roll: fc.double({ min: 0, max: 359.9, noNaN: true }),
});

describe('the way from the aim now to the aim wanted', () => {
  it('is nothing where the board is held as wanted, vertical lines included', () => {
    fc.assert(
      fc.property(fc.oneof(attitude, vertical), (wanted) => {
        const way = offsetTo(wanted, held(wanted));
        for (const part of [way.right, way.up, way.roll, way.apart]) {
          expect(Math.abs(part!)).toBeLessThan(1e-5);
        }
        expect(isAt(way, { line: 0.001, roll: 0.001 })).toBe(true);
      }),
    );
  });

  it('brings the board there when it is gone, whatever the attitudes', () => {
    fc.assert(
      fc.property(attitude, attitude, (wanted, now) => {
        const { right, up, roll } = offsetTo(wanted, held(now));
        const then = turnedBy(now, { azimuth: right!, inclination: up!, roll: roll! });
        expect(offsetTo(wanted, held(then)).apart).toBeLessThan(1e-5);
        expect(Math.abs(right!)).toBeLessThanOrEqual(180);
        expect(Math.abs(roll!)).toBeLessThanOrEqual(180);
      }),
    );
  });

  it('has the right hand right, the sky up, and a roll clockwise as the person aiming sees it', () => {
    const wanted = { azimuth: 90, inclination: 35, roll: 90 };
    const now = held({ azimuth: 70, inclination: 5, roll: 0 });
    const way = offsetTo(wanted, now);
    expect(way).toMatchObject({ byCompass: false });
    expect([way.right, way.up, way.roll].map((each) => Math.round(each!))).toEqual([20, 30, 90]);
    expect(wayWords(way, wanted)).toEqual({
      aside: '20° right',
      upward: '30° up',
      roll: 'a quarter right',
    });
  });

  it('goes by the compass along a vertical line, and by roll from the plan’s own upright', () => {
    // held straight up but for 5 degrees that the sight leans to the east
    const wanted = { azimuth: 0, inclination: 90, roll: 0 };
    const leaning = held({ azimuth: 90, inclination: 85, roll: 90 });
    const way = offsetTo(wanted, leaning);
    expect(way.byCompass).toBe(true);
    expect(way.apart).toBeCloseTo(5, 3);
    expect(wayWords(way, wanted).aside).toBe('5° towards west');
    expect(way.up).toBeCloseTo(0, 3);
    // tilted over the top towards the south
    const over = offsetTo(wanted, held({ azimuth: 180, inclination: 84, roll: 180 }));
    expect(topOf(wanted)).toBe('south');
    expect(wayWords(over, wanted).upward).toBe('6° towards north');
    expect(over.roll).toBeCloseTo(0, 3);
    const down = { azimuth: 0, inclination: -90, roll: 0 };
    const under = offsetTo(down, held({ azimuth: 0, inclination: -84, roll: 0 }));
    expect(wayWords(under, down).upward).toBe('6° towards south');
  });

  it('names half a turn, and what is over or short of a quarter', () => {
    const words = (roll: number) => wayWords({ roll, byCompass: false }, WANTED).roll;
    expect(words(0.6)).toBe('there');
    expect(words(-30)).toBe('30° left');
    expect(words(-90)).toBe('a quarter left');
    expect(words(102)).toBe('a quarter right and 12°');
    expect(words(-78)).toBe('a quarter left less 12°');
    expect(words(179)).toBe('half a turn less 1°');
    expect(wayWords({ byCompass: false }, WANTED)).toEqual({
      aside: 'not known',
      upward: 'not known',
      roll: 'not known',
    });
  });
});

const WANTED = { azimuth: 0, inclination: 0, roll: 0 };
const vertical = fc.record({
  azimuth: fc.constant(0),
  inclination: fc.constantFrom(90, -90),
  roll: fc.constantFrom(0, 90, 180, 270),
});

describe('how a board is held', () => {
  const { g, b } = bodyVectors(radians(40), radians(10), radians(20), DIP);
  const sensed = { acc: g, mag: b, azimuth: 39, inclination: 9, roll: 19 };

  it('comes from coefficients before the board’s own angles, and from these before its mounting', () => {
    const own = attitudeNow(sensed, [], { accMounting: '+x+y+z' });
    expect(own).toMatchObject({ from: 'board', azimuth: 39, inclination: 9, roll: 19 });
    const fitted = attitudeNow(sensed, [{ from: 'in force', coefficients: PERFECT }]);
    expect(fitted?.from).toBe('in force');
    expect(fitted?.azimuth).toBeCloseTo(40, 9);
  });

  it('is nothing at all where nothing says how counts become angles', () => {
    expect(attitudeNow({ acc: g, mag: b }, [])).toBeUndefined();
    expect(attitudeNow({ acc: g, mag: b }, [], { accMounting: 'askew' })).toBeUndefined();
  });

  it('has inclination and roll, and no azimuth, where only the mounting is known', () => {
    // a chip whose z lies along the sight, and which reports up
    const acc: Vec3 = [-g[1], -g[2], -g[0]];
    const now = attitudeNow({ acc, mag: b }, [], { accMounting: '-z-x-y' });
    expect(now?.from).toBe('mounting');
    expect(now?.inclination).toBeCloseTo(10, 9);
    expect(now?.roll).toBeCloseTo(20, 9);
    expect(now?.azimuth).toBeUndefined();
    expect(offsetTo(WANTED, now!)).toEqual({
      up: expect.closeTo(-10),
      roll: expect.closeTo(-20),
      byCompass: false,
    });
  });

  it('has an attitude also straight up, where azimuth has no meaning', () => {
    const up = held({ azimuth: 0, inclination: 90, roll: 0 });
    expect(up.azimuth).toBeUndefined();
    expect(up.reason).toBe('vertical_sight');
    expect(degrees(Math.asin(-column(up.rotation!, 0)[2]))).toBeCloseTo(90, 5);
  });
});
