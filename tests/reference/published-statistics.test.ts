import { describe, expect, it } from 'vitest';
import {
  angleBetween,
  angles,
  degrees,
  direction,
  radians,
  turn,
} from '../../src/calib/geometry.ts';
import { chiSquareQuantile, studentQuantile } from '../../src/calib/quantiles.ts';
import { directionStatistics } from '../../src/calib/spread.ts';
import type { Vec3 } from '../../src/calib/reading.ts';
import { cross, determinant, multiply, transpose, type Mat3 } from '../../src/calib/geometry.ts';

/** Directions of the palaeomagnetic literature: declination, and inclination down positive, degrees. */
const fromDown = (declination: number, down: number): Vec3 =>
  direction(radians(declination), -radians(down));

describe('statistics of directions', () => {
  // PmagPy documentation, fisher_mean of four directions
  it('agree with the worked example of four directions in the PmagPy documentation', () => {
    const found = directionStatistics(
      [
        [150, -45],
        [151, -46],
        [145, -38],
        [146, -41],
      ].map(([dec, inc]) => fromDown(dec!, inc!)),
    )!;
    const [north, east, down] = found.mean;
    expect(degrees(Math.atan2(east, north))).toBeCloseTo(147.87247771, 7);
    expect(degrees(Math.asin(down))).toBeCloseTo(-42.52872729, 7);
    expect(found.resultant).toBeCloseTo(3.9916088992, 9);
    expect(found.precision).toBeCloseTo(357.5216263, 5);
    expect(degrees(found.confidence95!)).toBeCloseTo(4.8658861, 6);
    // circular standard deviation as given there, 81°/√k
    expect(81 / Math.sqrt(found.precision!)).toBeCloseTo(4.2838461, 6);
  });

  // PmagPy documentation, angle between (350, 10) and (320, 20)
  it('agree with the angle between two directions in the PmagPy documentation', () => {
    expect(degrees(angleBetween(fromDown(350, 10), fromDown(320, 20)))).toBeCloseTo(30.59060998, 7);
  });

  // Fisher 1953: n = 9, R = 8.771981 give k = 35.0849 and a95 = 8.8132°
  it("have Fisher's own k and α95 for nine directions with R = 8.771981", () => {
    // eight directions on a cone about the ninth, opened until the resultant is Fisher's
    const opening = Math.acos((8.771981 - 1) / 8);
    const nine: Vec3[] = [
      [0, 0, 1],
      ...[0, 1, 2, 3, 4, 5, 6, 7].map((i): Vec3 => {
        const a = (i * Math.PI) / 4;
        return [
          Math.sin(opening) * Math.cos(a),
          Math.sin(opening) * Math.sin(a),
          Math.cos(opening),
        ];
      }),
    ];
    const found = directionStatistics(nine)!;
    expect(found.resultant).toBeCloseTo(8.771981, 9);
    expect(found.precision).toBeCloseTo(35.0849, 3);
    expect(degrees(found.confidence95!)).toBeCloseTo(8.8132, 3);
  });

  it('have no mean where directions cancel, and no spread for one alone', () => {
    expect(
      directionStatistics([
        [1, 0, 0],
        [-1, 0, 0],
      ]),
    ).toBeUndefined();
    expect(directionStatistics([])).toBeUndefined();
    expect(directionStatistics([[0, 1, 0]])!.spread).toBeUndefined();
  });
});

describe('quantiles', () => {
  // standard tables, as printed in any statistics handbook
  it.each([
    [1, 12.706205],
    [2, 4.302653],
    [5, 2.570582],
    [10, 2.228139],
    [20, 2.085963],
  ])('of Student t, 0.975, with %i degrees of freedom, as in standard tables', (freedom, value) => {
    expect(studentQuantile(0.975, freedom)).toBeCloseTo(value, 6);
    expect(studentQuantile(0.025, freedom)).toBeCloseTo(-value, 6);
  });
  it.each([
    [1, 3.841459],
    [2, 5.991465],
    [3, 7.814728],
    [10, 18.307038],
  ])('of χ², 0.95, with %i degrees of freedom, as in standard tables', (freedom, value) => {
    expect(chiSquareQuantile(0.95, freedom)).toBeCloseTo(value, 6);
  });
});

describe('the test rotation of the attitude-determination literature (attribution from memory: Markley, Mortari)', () => {
  const A: Mat3 = [0.352, 0.864, 0.36, -0.864, 0.152, 0.48, 0.36, -0.48, 0.8];

  it('is a rotation by 81.2572°', () => {
    expect(determinant(A)).toBeCloseTo(1, 12);
    expect(degrees(Math.acos((A[0] + A[4] + A[8] - 1) / 2))).toBeCloseTo(81.2572, 4);
  });

  it('is recovered from down and field as a board at that attitude would see them', () => {
    // world to body is A: down and the field in the body are A (0,0,1) and A (cos I, 0, sin I)
    const dip = radians(40);
    const g: Vec3 = [A[2], A[5], A[8]];
    const b = [0, 3, 6].map(
      (r) => A[r]! * Math.cos(dip) + A[r + 2]! * Math.sin(dip),
    ) as unknown as Vec3;
    const east = cross(g, b);
    const k = 1 / Math.hypot(...east);
    const e = east.map((x) => x * k) as unknown as Vec3;
    const n = cross(e, g);
    const triad: Mat3 = [n[0], e[0], g[0], n[1], e[1], g[1], n[2], e[2], g[2]];
    multiply(triad, transpose(A)).forEach((value, i) =>
      expect(value).toBeCloseTo(i % 4 === 0 ? 1 : 0, 12),
    );
    // the angles as the matrix has them: A is (Rz(α) Ry(β) Rx(γ))ᵀ
    const found = angles(g, b);
    expect(Math.abs(turn(found.azimuth!, Math.atan2(A[1], A[0])))).toBeLessThan(1e-12);
    expect(found.inclination).toBeCloseTo(-Math.asin(A[2]), 12);
    expect(Math.abs(turn(found.roll!, Math.atan2(A[5], A[8])))).toBeLessThan(1e-12);
  });
});
