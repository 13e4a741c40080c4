import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { randomStream } from '../../firmware-sim/random.ts';
import {
  CONVERTER_END,
  drawChip,
  exactCounts,
  parseMounting,
  perfectChip,
  sampleAndAverage,
  SAMPLES,
} from '../../firmware-sim/sensors.ts';
import type { Triple } from '../../firmware-sim/world.ts';

const ORDERS = ['xyz', 'xzy', 'yxz', 'yzx', 'zxy', 'zyx'];
const SIGNS = ['+++', '++-', '+-+', '+--', '-++', '-+-', '--+', '---'];
const mountings = ORDERS.flatMap((order) =>
  SIGNS.map((signs) => [0, 1, 2].map((i) => signs[i]! + order[i]!).join('')),
);

const LEVEL = 20;

describe('mountings', () => {
  test('there are 48 of them', () => {
    expect(new Set(mountings).size).toBe(48);
  });

  test.each<[string, Triple]>([
    ['+x+y+z', [10, 20, 30]],
    ['-x-y-z', [-10, -20, -30]],
    ['+y-x+z', [-20, 10, 30]],
    ['+z+x+y', [20, 30, 10]],
    ['-z+y-x', [-30, 20, -10]],
  ])(
    '%s turns 10 along the sight, 20 to the right, 30 down into its own counts',
    (text, counts) => {
      expect(exactCounts(perfectChip(text, 10), [1, 2, 3], LEVEL)).toEqual(counts);
    },
  );

  test.each(mountings)('%s: each body axis is counted where the letters say', (text) => {
    const counts = exactCounts(perfectChip(text, 10), [1, 2, 3], LEVEL);
    // Read the letters the other way round: for each chip axis, where it stands in the text.
    const wanted = ['x', 'y', 'z'].map((axis) => {
      const at = text.indexOf(axis);
      const value = [10, 20, 30][(at - 1) / 2]!;
      return text[at - 1] === '+' ? value : -value;
    });
    expect(counts).toEqual(wanted);
  });

  test.each(['', 'xyz', '+x+x+z', '+x+y', '+x+y+z+x', '+x+y+w', '+x +y+z'])(
    'refuses “%s”',
    (text) => {
      expect(() => parseMounting(text)).toThrow(RangeError);
    },
  );
});

describe('what a chip makes of a direction', () => {
  const chip = perfectChip('+x+y+z', 1000);

  test('its offset is added in its own units', () => {
    const off = { ...chip, offset: [0.1, -0.2, 0.3] as const };
    expect(exactCounts(off, [0, 0, 1], LEVEL)).toEqual([100, -200, 1300]);
  });

  test('its response mixes the axes: gains on the diagonal, cross-axis effects off it', () => {
    const mixing = {
      ...chip,
      response: [
        [1.05, 0.02, 0],
        [0, 0.95, 0],
        [-0.01, 0, 1],
      ] as const,
    };
    const counts = exactCounts(mixing, [1, 1, 1], LEVEL);
    expect(counts).toEqual([1070, 950, 990].map((value) => expect.closeTo(value, 9)));
  });

  test('its curvature is undone by s + q s²', () => {
    const q = 0.02;
    const bent = { ...chip, curvature: [q, -q, 0] as const };
    fc.assert(
      fc.property(fc.double({ min: -1.2, max: 1.2, noNaN: true }), (t) => {
        const [x, y, z] = exactCounts(bent, [t, t, t], LEVEL).map((count) => count / 1000) as [
          number,
          number,
          number,
        ];
        expect(x + q * x * x).toBeCloseTo(t, 12);
        expect(y - q * y * y).toBeCloseTo(t, 12);
        expect(z).toBeCloseTo(t, 12);
      }),
    );
  });

  test('a cubic part, which no model has, is added on top', () => {
    const counts = exactCounts({ ...chip, cubic: 0.01 }, [0.5, -1, 0], LEVEL);
    expect(counts).toEqual([501.25, -1010, 0].map((value) => expect.closeTo(value, 9)));
  });

  test('its offset drifts with each degree above 20 °C', () => {
    const warm = { ...chip, drift: [0.001, 0, -0.002] as const };
    const counts = exactCounts(warm, [0, 0, 0], 30);
    expect(counts).toEqual([10, 0, -20].map((value) => expect.closeTo(value, 9)));
  });

  test('an ordinary chip is off by no more than its tolerances, and is another with another seed', () => {
    const tolerances = { offset: 0.3, gain: 0.05, cross: 0.02, askew: 0, drift: 0.001 };
    const draw = (seed: number) =>
      drawChip(randomStream(seed, 'chip'), '+x+y+z', 1000, tolerances, 0.01);
    const seen = Array.from({ length: 50 }, (_, seed) => draw(seed));
    for (const { offset, response, curvature } of seen) {
      for (const value of offset) expect(Math.abs(value)).toBeLessThanOrEqual(0.3);
      for (const bend of curvature) {
        expect(Math.abs(bend)).toBeGreaterThanOrEqual(0.006);
        expect(Math.abs(bend)).toBeLessThanOrEqual(0.01);
      }
      response.forEach((row, i) =>
        row.forEach((value, j) =>
          expect(Math.abs(value - (i === j ? 1 : 0))).toBeLessThanOrEqual(i === j ? 0.05 : 0.02),
        ),
      );
    }
    expect(Math.max(...seen.map(({ offset }) => Math.abs(offset[0])))).toBeGreaterThan(0.2);
  });
});

describe('sampling', () => {
  const still = (counts: Triple): Triple[] => Array.from({ length: SAMPLES }, () => counts);
  const random = () => randomStream(9, 'noise');

  test('without noise counts are whole numbers, the nearest ones', () => {
    const { mean, scatter } = sampleAndAverage(still([100.4, -7.6, 0]), 0, random());
    expect(mean).toEqual([100, -8, 0]);
    expect(scatter).toEqual([0, 0, 0]);
  });

  test('an average spreads as the noise says, and its samples five times as much (√25)', () => {
    const stream = random();
    const readings = Array.from({ length: 800 }, () =>
      sampleAndAverage(still([1000.3, 0, 0]), 16, stream),
    );
    const errors = readings.map(({ mean }) => mean[0] - 1000.3);
    const sd = Math.sqrt(errors.reduce((sum, e) => sum + e * e, 0) / errors.length);
    // The standard error of a standard deviation is σ/√(2n); four of them.
    expect(Math.abs(sd - 16)).toBeLessThan((4 * 16) / Math.sqrt(2 * 800));
    const scatter = readings.reduce((sum, r) => sum + r.scatter[0], 0) / readings.length;
    expect(scatter).toBeGreaterThan(77);
    expect(scatter).toBeLessThan(82);
  });

  test('an average has no more than two decimals, so that it crosses the wire as it is', () => {
    const { mean } = sampleAndAverage(still([100.4, -7.6, 3000]), 16, random());
    for (const value of mean) expect(Number(value.toFixed(2))).toBe(value);
  });

  test('what reaches the end of the converter stays there and is told', () => {
    const { mean, saturated } = sampleAndAverage(still([40000, -50000, 0]), 0, random());
    expect(mean).toEqual([CONVERTER_END, -CONVERTER_END, 0]);
    expect(saturated).toBe(true);
    expect(sampleAndAverage(still([32000, 0, 0]), 0, random()).saturated).toBe(false);
  });
});
