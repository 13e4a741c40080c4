import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { boardAngles } from '../../firmware-sim/angles.ts';
import type { CoefficientSet } from '../../src/protocol/coefficient-set.ts';
import { plainSet } from './terminal.ts';

const DEGREE = Math.PI / 180;
const FIELD = 3400;
const GRAVITY = 16384;

describe('a board whose chips are perfect', () => {
  const down = (x: number, y: number, z: number) => [x, y, z].map((v) => v * GRAVITY) as never;
  // Dip 60°: half of the field is level, to the north.
  const level = FIELD / 2;
  const deep = FIELD * Math.cos(30 * DEGREE);

  // Reckoned by hand from the picture.
  test.each([
    [
      'level, facing north',
      down(0, 0, 1),
      [level, 0, deep],
      { azimuth: 0, inclination: 0, roll: 0 },
    ],
    [
      'level, facing east',
      down(0, 0, 1),
      [0, -level, deep],
      { azimuth: 90, inclination: 0, roll: 0 },
    ],
    [
      'level, facing south',
      down(0, 0, 1),
      [-level, 0, deep],
      { azimuth: 180, inclination: 0, roll: 0 },
    ],
    [
      'level, facing west',
      down(0, 0, 1),
      [0, level, deep],
      { azimuth: 270, inclination: 0, roll: 0 },
    ],
    [
      'rolled a quarter, facing north',
      down(0, 1, 0),
      [level, deep, 0],
      { azimuth: 0, inclination: 0, roll: 90 },
    ],
    [
      'upside down, facing north',
      down(0, 0, -1),
      [level, 0, -deep],
      { azimuth: 0, inclination: 0, roll: 180 },
    ],
  ])('%s', (_, acc, mag, wanted) => {
    const angles = boardAngles(plainSet(), { acc, mag: mag as never });
    expect(angles.inclination).toBeCloseTo(wanted.inclination, 4);
    for (const name of ['azimuth', 'roll'] as const) {
      expect(Math.cos((angles[name]! - wanted[name]) * DEGREE)).toBeCloseTo(1, 9);
      expect(angles[name]).toBeGreaterThanOrEqual(0);
      expect(angles[name]).toBeLessThan(360);
    }
  });

  test('straight up it has no azimuth and no roll, rather than a false one', () => {
    const angles = boardAngles(plainSet(), { acc: down(-1, 0, 0), mag: [-deep, 0, level] });
    expect(angles).toEqual({ inclination: 90 });
  });

  test('where the field points straight down it has no azimuth', () => {
    const angles = boardAngles(plainSet(), { acc: down(0, 0, 1), mag: [0, 0, FIELD] });
    expect(angles).toEqual({ inclination: -0, roll: 0 });
  });

  test('with no field it has no azimuth, with no gravity nothing at all', () => {
    expect(boardAngles(plainSet(), { acc: down(0, 0, 1), mag: [0, 0, 0] })).toEqual({
      inclination: -0,
      roll: 0,
    });
    expect(boardAngles(plainSet(), { acc: [0, 0, 0], mag: [FIELD, 0, 0] })).toEqual({});
  });
});

/** The same formulas of the protocol (SPEC.md, 6.1 and 6.2), in double precision and written out another way. */
function reckoned({ values }: CoefficientSet, acc: number[], mag: number[]) {
  const [accScale, magScale, ...rest] = values as [number, number, ...number[]];
  const [o, A, p, B, q] = [
    rest.slice(0, 3),
    rest.slice(3, 12),
    rest.slice(12, 15),
    rest.slice(15, 24),
    rest.slice(24),
  ];
  const apply = (m: number[], v: number[]) =>
    [0, 1, 2].map((i) => v.reduce((sum, x, j) => sum + m[3 * i + j]! * x, 0));
  const s = acc.map((c, i) => c / accScale - o[i]!);
  const g = apply(
    A,
    s.map((x, i) => x + (q[i] ?? 0) * x * x),
  );
  const b = apply(
    B,
    mag.map((c, i) => c / magScale - p[i]!),
  );
  const [x, y, z] = g as [number, number, number];
  const flat = Math.hypot(y, z);
  // East and north as the body's sight sees them, without a cross product: b along the level part of the sight,
  // and along the level line to its right.
  const length = Math.hypot(x, y, z);
  const right = (b[1]! * z - b[2]! * y) / flat;
  const ahead = (b[0]! - (x / length ** 2) * (b[0]! * x + b[1]! * y + b[2]! * z)) * (length / flat);
  return {
    azimuth: Math.atan2(-right, ahead) / DEGREE,
    inclination: Math.atan2(-x, flat) / DEGREE,
    roll: Math.atan2(y, z) / DEGREE,
    weak: Math.min(flat / length, Math.hypot(right, ahead) / Math.hypot(...b)),
  };
}

test('with any ordinary coefficients its angles are those of double precision, to the rounding of binary32', () => {
  const small = (most: number) => fc.double({ min: -most, max: most, noNaN: true });
  const vector = (most: number) => fc.tuple(small(most), small(most), small(most));
  const near = (entry: number) => small(0.1).map((x) => Math.fround(entry + x));
  const matrix = fc.tuple(...[1, 0, 0, 0, 1, 0, 0, 0, 1].map(near));
  const round = (v: number[]) => v.map(Math.fround);
  let compared = 0;
  fc.assert(
    fc.property(
      fc.tuple(vector(0.05), matrix, vector(0.3), matrix, vector(0.02)),
      vector(20_000),
      vector(4_000),
      ([o, A, p, B, q], acc, mag) => {
        const values = [GRAVITY, FIELD, ...round(o), ...A, ...round(p), ...B, ...round(q)];
        const set: CoefficientSet = { model: 'bowed', values };
        const wanted = reckoned(set, acc, mag);
        // Near a vertical sight or field, or in a field of nothing, rounding is not small beside what it disturbs.
        fc.pre(wanted.weak > 0.1 && Math.hypot(...acc) > 4000 && Math.hypot(...mag) > 2500);
        compared += 1;
        const angles = boardAngles(set, { acc, mag });
        expect(angles.inclination).toBeCloseTo(wanted.inclination, 3);
        for (const name of ['azimuth', 'roll'] as const) {
          const off = (angles[name]! - wanted[name] + 540) % 360;
          expect(Math.abs(off - 180)).toBeLessThan(0.002);
        }
      },
    ),
    { numRuns: 300 },
  );
  expect(compared).toBeGreaterThan(100);
});
