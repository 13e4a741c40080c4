import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  angleBetween,
  angles,
  attitude,
  bodyVectors,
  column,
  degrees,
  determinant,
  dipOf,
  direction,
  inverse,
  multiply,
  radians,
  rotate,
  sightDirection,
  transpose,
  turn,
  wrap,
  type Mat3,
} from '../../src/calib/geometry.ts';
import type { Vec3 } from '../../src/calib/reading.ts';

const azimuths = fc.double({ min: 0, max: 2 * Math.PI, maxExcluded: true, noNaN: true });
const inclinations = fc.double({ min: -1.5, max: 1.5, noNaN: true });
const dips = fc.double({ min: -1.5, max: 1.5, noNaN: true });
const lengths = fc.double({ min: 1e-3, max: 1e3, noNaN: true });

describe('attitudes and angles', () => {
  it('an attitude gives vectors that give the same angles back, whatever their lengths', () => {
    fc.assert(
      fc.property(
        azimuths,
        inclinations,
        azimuths,
        dips,
        lengths,
        lengths,
        (a, i, r, dip, m, n) => {
          const { g, b } = bodyVectors(a, i, r, dip);
          const scaled = (v: Vec3, k: number): Vec3 => [v[0] * k, v[1] * k, v[2] * k];
          const found = angles(scaled(g, m), scaled(b, n));
          // 1e-9 rad: rounding of 1e-16, divided by the cosines of 1.5 rad of dip and inclination
          expect(Math.abs(turn(a, found.azimuth!))).toBeLessThan(1e-9);
          expect(Math.abs(found.inclination! - i)).toBeLessThan(1e-9);
          expect(Math.abs(turn(r, found.roll!))).toBeLessThan(1e-9);
          expect(found.azimuth).toBeGreaterThanOrEqual(0);
          expect(found.azimuth).toBeLessThan(2 * Math.PI);
          expect(Math.abs(dipOf(g, b)! - dip)).toBeLessThan(1e-9);
          expect(found.reason).toBeUndefined();
        },
      ),
    );
  });

  it('the sight points where azimuth and inclination say, vertical or not', () => {
    fc.assert(
      fc.property(
        azimuths,
        fc.oneof(inclinations, fc.constantFrom(Math.PI / 2, -Math.PI / 2)),
        azimuths,
        dips,
        (a, i, r, dip) => {
          const { g, b } = bodyVectors(a, i, r, dip);
          expect(angleBetween(sightDirection(g, b)!, direction(a, i))).toBeLessThan(1e-9);
        },
      ),
    );
  });

  it('an attitude is a rotation whose first column is the sight', () => {
    fc.assert(
      fc.property(azimuths, inclinations, azimuths, (a, i, r) => {
        const R = attitude(a, i, r);
        expect(determinant(R)).toBeCloseTo(1, 12);
        multiply(R, transpose(R)).forEach((value, k) =>
          expect(value).toBeCloseTo(k % 4 === 0 ? 1 : 0, 12),
        );
        expect(angleBetween(column(R, 0), direction(a, i))).toBeLessThan(1e-12);
      }),
    );
  });

  it('level, upright and north, at 60° of dip, down is body z and the field lies ahead and down', () => {
    const { g, b } = bodyVectors(0, 0, 0, radians(60));
    expect(g[2]).toBeCloseTo(1, 15);
    expect(b[0]).toBeCloseTo(0.5, 15);
    expect(b[1]).toBeCloseTo(0, 15);
    expect(b[2]).toBeCloseTo(Math.sqrt(3) / 2, 15);
  });

  it('facing east puts the field on the left; rolled clockwise a quarter turn, down lies to the right', () => {
    expect(bodyVectors(Math.PI / 2, 0, 0, 0).b[1]).toBeCloseTo(-1, 15);
    expect(bodyVectors(0, 0, Math.PI / 2, 0).g[1]).toBeCloseTo(1, 15);
    expect(bodyVectors(0, Math.PI / 2, 0, 0).g[0]).toBeCloseTo(-1, 15);
  });
});

describe('an angle without meaning is left out with a reason, never a number', () => {
  it('azimuth and roll of a vertical sight', () => {
    const found = angles([-1, 0, 0], [0.5, 0.5, 0]);
    expect(found).toEqual({ inclination: Math.PI / 2, reason: 'vertical_sight' });
  });
  it('azimuth where the field is vertical', () => {
    const found = angles([0, 0, 1], [0, 0, 0.9]);
    expect(found.azimuth).toBeUndefined();
    expect(found.inclination).toBeCloseTo(0, 15);
    expect(found.roll).toBe(0);
    expect(found.reason).toBe('vertical_field');
  });
  it.each([
    [[0, 0, 0], [1, 0, 0], 'zero_vector'],
    [[0, 0, 1], [0, 0, 0], 'zero_vector'],
    [[0, 0, -5e-324], [0, 0, 1], 'zero_vector'],
    [[NaN, 0, 1], [1, 0, 0], 'not_finite'],
    [[0, 0, 1], [Infinity, 0, 0], 'not_finite'],
  ] as [Vec3, Vec3, string][])('of %j and %j', (g, b, reason) => {
    const found = angles(g, b);
    expect(found.reason).toBe(reason);
    expect(found.azimuth).toBeUndefined();
    expect(Object.values(found).every((value) => !Number.isNaN(value))).toBe(true);
  });
  it('no vector whatever gives a NaN', () => {
    const any = fc.tuple(fc.double(), fc.double(), fc.double());
    fc.assert(
      fc.property(any, any, (g, b) => {
        const { reason: _, ...numbers } = angles(g, b);
        expect(Object.values(numbers).every(Number.isFinite)).toBe(true);
      }),
    );
  });
});

describe('turning and wrapping', () => {
  it('wraps into one turn, a tiny negative angle included', () => {
    expect(wrap(-1e-20)).toBe(0);
    expect(wrap(7 * Math.PI)).toBeCloseTo(Math.PI, 12);
  });
  it('the turn between two angles is the short way round', () => {
    expect(degrees(turn(radians(350), radians(10)))).toBeCloseTo(20, 12);
    expect(degrees(turn(radians(10), radians(350)))).toBeCloseTo(-20, 12);
  });
  it('a matrix times its inverse is one', () => {
    const entry = fc.double({ min: -0.2, max: 0.2, noNaN: true });
    fc.assert(
      fc.property(fc.tuple(...Array.from({ length: 9 }, () => entry)), (noise) => {
        const m = noise.map((value, i) => value + (i % 4 === 0 ? 1 : 0)) as unknown as Mat3;
        multiply(m, inverse(m)).forEach((value, k) =>
          expect(value).toBeCloseTo(k % 4 === 0 ? 1 : 0, 10),
        );
        expect(rotate(m, [1, 0, 0])).toEqual(column(m, 0));
      }),
    );
  });
});
