import fc from 'fast-check';
import { expect, it } from 'vitest';
import { randomStream } from '../../firmware-sim/random.ts';
import {
  consistency,
  fitLine,
  predict,
  scaledByScatter,
  type LinePoint,
  type StraightLine,
} from '../../src/calib/straight-line.ts';

function lineThrough(given: readonly LinePoint[]): StraightLine {
  const found = fitLine(given);
  if (!found.ok) throw new Error(found.cause);
  return found.line;
}

const uncertainty = fc.double({ min: 0.05, max: 0.5, noNaN: true });
const correlation = fc.double({ min: -0.9, max: 0.9, noNaN: true });
const scattered = fc.double({ min: -1, max: 1, noNaN: true });

/** Points that stand apart along x, about a line of a slope that is neither level nor upright. */
const somePoints = fc
  .record({
    intercept: fc.double({ min: -10, max: 10, noNaN: true }),
    slope: fc.tuple(fc.double({ min: 0.3, max: 3, noNaN: true }), fc.constantFrom(-1, 1)),
    each: fc.array(fc.tuple(uncertainty, uncertainty, correlation, scattered), {
      minLength: 3,
      maxLength: 12,
    }),
  })
  .map(({ intercept, slope: [size, sign], each }) => ({
    intercept,
    slope: size * sign,
    points: each.map(([ux, uy, correlation, off], i): LinePoint & { off: number } => ({
      x: 2 * i,
      y: intercept + size * sign * 2 * i,
      off,
      ux,
      uy,
      correlation,
    })),
  }));

const offTheLine = (points: readonly (LinePoint & { off: number })[]): LinePoint[] =>
  points.map(({ off, ...point }) => ({ ...point, y: point.y + off * point.uy }));

it('recovers a line from points that lie on it, whatever their uncertainties', () => {
  fc.assert(
    fc.property(somePoints, ({ intercept, slope, points }) => {
      const line = lineThrough(points);
      expect(line.intercept).toBeCloseTo(intercept, 9);
      expect(line.slope).toBeCloseTo(slope, 9);
      expect(line.chiSquare).toBeLessThan(1e-15);
    }),
  );
});

it('finds the same line with x and y swapped, and the same χ²', () => {
  fc.assert(
    fc.property(somePoints, ({ points }) => {
      const given = offTheLine(points);
      const line = lineThrough(given);
      const other = lineThrough(
        given.map(({ x, y, ux, uy, ...rest }) => ({ x: y, y: x, ux: uy, uy: ux, ...rest })),
      );
      // each slope is told to a part of 1e-10 of its standard error or so
      expect(1 / other.slope).toBeCloseTo(line.slope, 7);
      expect(-other.intercept / other.slope).toBeCloseTo(line.intercept, 6);
      expect(other.chiSquare).toBeCloseTo(line.chiSquare, 7);
    }),
  );
});

it('follows a change of units, and of where x is counted from', () => {
  fc.assert(
    fc.property(
      somePoints,
      fc.double({ min: 0.001, max: 1000, noNaN: true }),
      fc.double({ min: 0.001, max: 1000, noNaN: true }),
      fc.double({ min: -100, max: 100, noNaN: true }),
      ({ points }, kx, ky, shift) => {
        const given = offTheLine(points);
        const line = lineThrough(given);
        const other = lineThrough(
          given.map(({ x, y, ux, uy, ...rest }) => ({
            ...{ x: kx * (x + shift), ux: kx * ux },
            ...{ y: ky * y, uy: ky * uy },
            ...rest,
          })),
        );
        const at = predict(line, 3);
        const there = predict(other, kx * (3 + shift));
        expect(there.y / ky).toBeCloseTo(at.y, 6);
        expect(there.uy / ky).toBeCloseTo(at.uy, 6);
        expect((other.slope * kx) / ky).toBeCloseTo(line.slope, 7);
        expect(other.chiSquare).toBeCloseTo(line.chiSquare, 7);
      },
    ),
  );
});

it('has the least χ² of all lines near it', () => {
  fc.assert(
    fc.property(somePoints, ({ points }) => {
      const given = offTheLine(points);
      const { intercept, slope, chiSquare } = lineThrough(given);
      const of = (a: number, b: number) =>
        given.reduce((sum, { x, y, ux, uy, correlation = 0 }) => {
          const variance = uy ** 2 + (b * ux) ** 2 - 2 * b * correlation * ux * uy;
          return sum + (y - a - b * x) ** 2 / variance;
        }, 0);
      for (const [a, b] of [
        [1e-3, 0],
        [-1e-3, 0],
        [0, 1e-3],
        [0, -1e-3],
      ] as const) {
        expect(of(intercept + a, slope + b)).toBeGreaterThan(chiSquare);
      }
    }),
  );
});

it('refuses what tells no line, and says why', () => {
  const point = (x: number, y: number, more: Partial<LinePoint> = {}): LinePoint => ({
    ...{ x, y, ux: 0.1, uy: 0.1 },
    ...more,
  });
  const cause = (points: LinePoint[]) => {
    const found = fitLine(points);
    return found.ok ? 'a line' : found.cause;
  };
  expect(cause([])).toBe('too_few');
  expect(cause([point(1, 1)])).toBe('too_few');
  expect(cause([point(1, 1), point(1, 2), point(1, 3)])).toBe('one_place');
  expect(cause([point(0, 1), point(0, 2)])).toBe('one_place');
  expect(cause([point(1, 1), point(2, NaN)])).toBe('not_finite');
  expect(cause([point(1, 1), point(Infinity, 2)])).toBe('not_finite');
  expect(cause([point(1, 1), point(2, 2, { uy: -1 })])).toBe('not_finite');
  expect(cause([point(1, 1), point(2, 2, { correlation: 1.1 })])).toBe('not_finite');
  expect(cause([point(1, 1), point(2, 2, { uy: 0 })])).toBe('exact_point');
  expect(cause([point(1, 1), point(2, 2)])).toBe('a line');
});

it('is not taken in by points that do not lie about any line as their uncertainties have it', () => {
  const bent = [0, 1, 2, 3, 4, 5].map((x) => ({ x, y: x * x, ux: 0.1, uy: 0.1 }));
  const line = lineThrough(bent);
  expect(consistency(line).consistent).toBe(false);
  expect(consistency(line).probability).toBeLessThan(1e-6);
  const wider = scaledByScatter(line);
  expect(wider.covariance.slope / line.covariance.slope).toBeCloseTo(line.chiSquare / 4, 9);
});

it('holds the truth in its 95 % intervals, and passes as consistent, in about 19 of 20 seeded trials', () => {
  // 95 % of 1000 are 950, with a standard deviation of √(1000 · 0.95 · 0.05) = 6.9: three of them either way
  const trials = 1000;
  const random = randomStream(28037, 'straight lines');
  const held = { intercept: 0, slope: 0, between: 0, consistent: 0 };
  for (let trial = 0; trial < trials; trial++) {
    const truth = { intercept: -0.3, slope: 1.2 };
    const points = [1, 2, 4, 8, 12, 16, 20].map((x, i): LinePoint => {
      const [ux, uy, correlation] = [0.05 + 0.01 * i, 0.08, i % 2 === 0 ? 0.5 : -0.3];
      const [one, two] = [random.normal(), random.normal()];
      return {
        x: x + ux * one,
        y:
          truth.intercept +
          truth.slope * x +
          uy * (correlation * one + Math.sqrt(1 - correlation ** 2) * two),
        ...{ ux, uy, correlation },
      };
    });
    const line = lineThrough(points);
    const within = (off: number, variance: number) =>
      Number(Math.abs(off) <= 1.959964 * Math.sqrt(variance));
    held.intercept += within(line.intercept - truth.intercept, line.covariance.intercept);
    held.slope += within(line.slope - truth.slope, line.covariance.slope);
    const { y, uy } = predict(line, 10);
    held.between += within(y - truth.intercept - 10 * truth.slope, uy ** 2);
    held.consistent += Number(consistency(line).consistent);
  }
  for (const count of Object.values(held)) {
    expect(count).toBeGreaterThanOrEqual(929);
    expect(count).toBeLessThanOrEqual(971);
  }
});
