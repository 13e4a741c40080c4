import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { randomStream } from '../../firmware-sim/random.ts';
import {
  attitudeRotation,
  cleanField,
  DOWN,
  drawSteel,
  fieldAt,
  inBody,
  rotationAbout,
  sightOf,
  type Triple,
  turnInBody,
} from '../../firmware-sim/world.ts';

const closeTo = (wanted: Triple, digits = 12) =>
  wanted.map((value) => expect.closeTo(value, digits));

/** Cosine and sine of a dip of 65°, from a table. */
const COS65 = 0.4226182617;
const SIN65 = 0.906307787;

describe('what a body at a known attitude feels, at 65° dip', () => {
  const at = (azimuth: number, inclination: number, roll: number) => {
    const rotation = attitudeRotation({ azimuth, inclination, roll });
    const field = cleanField({ dip: 65, strength: 1, disturbance: 0 });
    return { down: inBody(rotation, DOWN), field: inBody(rotation, field) };
  };

  // Reckoned by hand from the picture: which body axis points north, east, down or against them.
  test.each<[string, [number, number, number], Triple, Triple]>([
    ['level, facing north', [0, 0, 0], [0, 0, 1], [COS65, 0, SIN65]],
    ['level, facing east: north is to the left', [90, 0, 0], [0, 0, 1], [0, -COS65, SIN65]],
    ['level, facing south', [180, 0, 0], [0, 0, 1], [-COS65, 0, SIN65]],
    [
      'straight up from north: the underside looks north',
      [0, 90, 0],
      [-1, 0, 0],
      [-SIN65, 0, COS65],
    ],
    ['straight down from north: the top looks north', [0, -90, 0], [1, 0, 0], [SIN65, 0, -COS65]],
    ['rolled a quarter turn clockwise: right is down', [0, 0, 90], [0, 1, 0], [COS65, SIN65, 0]],
    [
      'facing east, rolled a quarter: the underside looks north',
      [90, 0, 90],
      [0, 1, 0],
      [0, SIN65, COS65],
    ],
    [
      'facing west, rolled three quarters: so it does',
      [270, 0, 270],
      [0, -1, 0],
      [0, -SIN65, COS65],
    ],
    ['upside down, facing north', [0, 0, 180], [0, 0, -1], [COS65, 0, -SIN65]],
    ['rolled three quarters: left is down', [0, 0, 270], [0, -1, 0], [COS65, -SIN65, 0]],
  ])('%s', (_, attitude, down, field) => {
    const felt = at(...attitude);
    expect(felt.down).toEqual(closeTo(down));
    expect(felt.field).toEqual(closeTo(field, 9));
  });
});

test('a rotation about a known axis is that of the attitude-determination literature', () => {
  // The rotation is the usual test rotation of that literature (from memory: Markley and Mortari); its angle is
  // 81.2572°. Its axis, by hand from the antisymmetric part (−0.96, 0, −1.728)/2: (−0.48564, 0, −0.87416).
  const length = Math.hypot(0.96, 1.728);
  const angle = (Math.acos((0.352 + 0.152 + 0.8 - 1) / 2) * 180) / Math.PI;
  expect(angle).toBeCloseTo(81.2572, 4);
  const turned = rotationAbout([(-0.96 / length) * angle, 0, (-1.728 / length) * angle]);
  const published = [
    [0.352, 0.864, 0.36],
    [-0.864, 0.152, 0.48],
    [0.36, -0.48, 0.8],
  ] as const;
  published.forEach((row, i) => expect(turned[i]).toEqual(closeTo(row, 9)));
});

const angle = (most: number) => fc.double({ min: -most, max: most, noNaN: true });

test('every attitude is a rotation, aims where it says, and is told by the body’s sense of down', () => {
  fc.assert(
    fc.property(angle(360), angle(89), angle(360), (azimuth, inclination, roll) => {
      const rotation = attitudeRotation({ azimuth, inclination, roll });
      const [x, y, z] = [0, 1, 2].map((j) => rotation.map((row) => row[j]!)) as [
        number[],
        number[],
        number[],
      ];
      const dot = (u: number[], v: number[]) => u.reduce((sum, value, i) => sum + value * v[i]!, 0);
      for (const axis of [x, y, z]) expect(dot(axis, axis)).toBeCloseTo(1, 12);
      expect(dot(x, y)).toBeCloseTo(0, 12);
      // Right-handed: x × y = z.
      for (const i of [0, 1, 2]) {
        const [j, k] = [(i + 1) % 3, (i + 2) % 3];
        expect(x[j]! * y[k]! - x[k]! * y[j]!).toBeCloseTo(z[i]!, 12);
      }

      const radian = Math.PI / 180;
      expect(x[0]).toBeCloseTo(Math.cos(inclination * radian) * Math.cos(azimuth * radian), 12);
      expect(x[1]).toBeCloseTo(Math.cos(inclination * radian) * Math.sin(azimuth * radian), 12);
      const down = inBody(rotation, DOWN);
      expect(Math.asin(-down[0]) / radian).toBeCloseTo(inclination, 6);
      const felt = Math.atan2(down[1], down[2]) / radian;
      expect(Math.cos((felt - roll) * radian)).toBeCloseTo(1, 9);
    }),
    { numRuns: 200 },
  );
});

test('a turn in the body about its right side tips the sight up, about its underside to the right', () => {
  const level = attitudeRotation({ azimuth: 0, inclination: 0, roll: 0 });
  expect(sightOf(turnInBody(level, [0, 10, 0]))).toEqual(
    closeTo(sightOf(attitudeRotation({ azimuth: 0, inclination: 10, roll: 0 }))),
  );
  expect(sightOf(turnInBody(level, [0, 0, 10]))).toEqual(
    closeTo(sightOf(attitudeRotation({ azimuth: 10, inclination: 0, roll: 0 }))),
  );
});

describe('steel near the board', () => {
  const steel = drawSteel(randomStream(5, 'steel'));
  const clean = cleanField({ dip: 65, strength: 1, disturbance: 0 });
  const added = (disturbance: number, sight: Triple) => {
    const there = fieldAt({ dip: 65, strength: 1, disturbance }, steel, sight);
    return Math.hypot(there[0] - clean[0], there[1] - clean[1], there[2] - clean[2]);
  };
  const against: Triple = [-steel[0], -steel[1], -steel[2]];

  test('adds its whole peak when the sight points at it', () => {
    expect(added(0.05, steel)).toBeCloseTo(0.05, 12);
  });

  test('adds less by the cube of the distance when it points away: (0.55 m / 1.25 m)³', () => {
    expect(added(0.05, against)).toBeCloseTo(0.05 * (0.55 / 1.25) ** 3, 12);
  });

  test('never adds more than its peak, whichever way the sight points', () => {
    const random = randomStream(6, 'sights');
    for (let i = 0; i < 500; i++) {
      const [azimuth, inclination] = [random.between(0, 360), random.between(-90, 90)];
      const sight = sightOf(attitudeRotation({ azimuth, inclination, roll: 0 }));
      expect(added(0.05, sight)).toBeLessThanOrEqual(0.05 + 1e-12);
    }
  });

  test('adds less once the person has walked aside, and never more than its peak', () => {
    const aside = (sight: Triple, metres: number) => {
      const there = fieldAt({ dip: 65, strength: 1, disturbance: 0.05 }, steel, sight, metres);
      return Math.hypot(there[0] - clean[0], there[1] - clean[1], there[2] - clean[2]);
    };
    // a dipole at √(0.55² + 1²) m, seen 61° off its axis: √(1 + 3 cos²) / 2 of what it is on the axis
    const distance = Math.hypot(0.55, 1);
    const part = Math.sqrt(1 + 3 * (0.55 / distance) ** 2) / 2;
    expect(aside(steel, 1)).toBeCloseTo(0.05 * part * (0.55 / distance) ** 3, 9);
    const random = randomStream(7, 'sights');
    for (let i = 0; i < 500; i++) {
      const [azimuth, inclination] = [random.between(0, 360), random.between(-90, 90)];
      const sight = sightOf(attitudeRotation({ azimuth, inclination, roll: 0 }));
      expect(aside(sight, random.between(-3, 3))).toBeLessThanOrEqual(0.05 + 1e-12);
    }
  });

  test('is not there on a clean site', () => {
    expect(added(0, steel)).toBe(0);
  });
});
