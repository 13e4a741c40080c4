import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  compareCoefficients,
  type ChipChange,
  type Comparison,
} from '../../src/calib/comparison.ts';
import {
  bodyVectors,
  degrees,
  inverse,
  multiply,
  radians,
  rotate,
  transpose,
  turn,
  type Mat3,
} from '../../src/calib/geometry.ts';
import {
  applyCoefficients,
  mountingMatrix,
  type Coefficients,
  countsReading,
} from '../../src/calib/model.ts';
import type { Vec3 } from '../../src/calib/reading.ts';

const between = (min: number, max: number) => fc.double({ min, max, noNaN: true });
const vector = (size: number) =>
  fc.tuple(between(-size, size), between(-size, size), between(-size, size));
const times = (m: Mat3, k: number) => m.map((x) => x * k) as unknown as Mat3;

/** Turn about the body's x axis. */
const aboutX = (angle: number): Mat3 => {
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  return [1, 0, 0, 0, c, -s, 0, s, c];
};

/** exp([v]×), summed as a series, so that it owes nothing to the code under test. */
function turned([x, y, z]: Vec3): Mat3 {
  const generator: Mat3 = [0, -z, y, z, 0, -x, -y, x, 0];
  let sum: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];
  let term = sum;
  for (let k = 1; k < 40; k++) {
    term = times(multiply(term, generator), 1 / k);
    sum = sum.map((value, i) => value + term[i]!) as unknown as Mat3;
  }
  return sum;
}

/** Any set that a board might hold: mounted in any way, off by some percent. */
const sets = fc
  .record({
    acc: fc.constantFrom('+x+y+z', '-x-y-z', '+y-x+z', '-z+x+y'),
    mag: fc.constantFrom('+x+y+z', '+y-x+z', '+x-y-z', '+z-y-x'),
    errors: fc.tuple(...Array.from({ length: 18 }, () => between(-0.05, 0.05))),
    o: vector(0.1),
    p: vector(1),
    q: vector(0.03),
    bowed: fc.boolean(),
  })
  .map(({ acc, mag, errors, o, p, q, bowed }): Coefficients => {
    const off = (from: number) =>
      [1, 0, 0, 0, 1, 0, 0, 0, 1].map((x, i) => x + errors[from + i]!) as unknown as Mat3;
    return {
      model: bowed ? 'bowed' : 'straight',
      accScale: 16384,
      magScale: 3400,
      o,
      A: multiply(off(0), mountingMatrix(acc)!),
      p,
      B: multiply(off(9), mountingMatrix(mag)!),
      q: bowed ? q : [0, 0, 0],
    };
  });

const plain: Coefficients = {
  model: 'straight',
  accScale: 16384,
  magScale: 3400,
  o: [0.01, -0.02, 0.03],
  A: [1.01, 0.01, 0, -0.02, 0.98, 0.01, 0.005, 0, 1.02],
  p: [0.2, -0.1, 0.3],
  B: [0.02, -1.03, 0, 0.97, 0.01, 0.01, 0, 0.02, 1],
  q: [0, 0, 0],
};

/** The set after its chips changed: each now shows D v + d where it showed v. */
function afterChange(
  set: Coefficients,
  acc: { D: Mat3; d: Vec3 },
  mag: { D: Mat3; d: Vec3 },
): Coefficients {
  const move = (M: Mat3, zero: Vec3, { D, d }: { D: Mat3; d: Vec3 }) => {
    const shift = rotate(inverse(M), d);
    return {
      M: multiply(inverse(D), M),
      zero: zero.map((x, i) => x + shift[i]!) as unknown as Vec3,
    };
  };
  const [a, m] = [move(set.A, set.o, acc), move(set.B, set.p, mag)];
  return { ...set, A: a.M, o: a.zero, B: m.M, p: m.zero };
}

function compared(from: Coefficients, to: Coefficients, dip = radians(65)): Comparison {
  const result = compareCoefficients(from, to, dip);
  if (!result.ok) throw new Error(result.cause);
  return result;
}

const physical = ({ acc, mag, between: apart, rollZero, curvature }: Comparison): number[] => [
  ...[acc, mag].flatMap(({ offset, gain, crossAxis, turn }) => [
    ...offset,
    ...gain,
    ...crossAxis,
    ...turn,
  ]),
  ...apart,
  rollZero,
  ...curvature,
];
const largest = (values: readonly number[]) => Math.max(...values.map(Math.abs));
const near = (found: readonly number[], wanted: readonly number[], tolerance = 1e-12) =>
  expect(largest(found.map((x, i) => x - wanted[i]!))).toBeLessThan(tolerance);

describe('counts that read as given vectors', () => {
  it('read as those vectors', () => {
    fc.assert(
      fc.property(
        sets,
        between(0, 6.28),
        between(-1.5, 1.5),
        between(0, 6.28),
        between(-1.5, 1.5),
        (set, a, i, r, dip) => {
          const { g, b } = bodyVectors(a, i, r, dip);
          const { acc, mag } = countsReading(set, g, b)!;
          const seen = applyCoefficients(set, acc, mag);
          near(seen.g, g);
          near(seen.b, b);
        },
      ),
    );
  });

  it('are none where the curvature has no root', () => {
    expect(countsReading({ ...plain, q: [-0.4, 0, 0] }, [1, 0, 0], [1, 0, 0])).toBeUndefined();
  });

  it('are none where a matrix has no inverse', () => {
    const flat: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 0];
    expect(countsReading({ ...plain, B: flat }, [1, 0, 0], [1, 0, 0])).toBeUndefined();
  });
});

describe('two sets in physical terms', () => {
  it('a set differs from itself in nothing', () => {
    fc.assert(
      fc.property(sets, between(-1.5, 1.5), (set, dip) => {
        const result = compared(set, set, dip);
        expect(largest(physical(result))).toBeLessThan(1e-12);
        expect(result.azimuth!.rms).toBeLessThan(1e-12);
        expect(result.inclination.rms).toBeLessThan(1e-12);
      }),
      { numRuns: 20 },
    );
  });

  it('nor from itself written with other scales', () => {
    fc.assert(
      fc.property(sets, between(0.1, 10), between(0.1, 10), (set, k, m) => {
        const over = (v: Vec3, f: number): Vec3 => [v[0] / f, v[1] / f, v[2] / f];
        const other: Coefficients = {
          ...set,
          accScale: set.accScale * k,
          magScale: set.magScale * m,
          o: over(set.o, k),
          p: over(set.p, m),
          A: times(set.A, k),
          B: times(set.B, m),
          q: [set.q[0] * k, set.q[1] * k, set.q[2] * k],
        };
        const result = compared(set, other);
        expect(largest(physical(result))).toBeLessThan(1e-12);
        expect(result.azimuth!.largest).toBeLessThan(1e-11);
      }),
      { numRuns: 20 },
    );
  });

  it('a turn about the sight shows as just that, and changes no azimuth or inclination', () => {
    fc.assert(
      fc.property(sets, between(-3.1, 3.1), (set, angle) => {
        const T = aboutX(-angle); // turns what every reading shows, so that its roll is greater by the angle
        const other = { ...set, A: multiply(T, set.A), B: multiply(T, set.B) };
        const { rollZero, ...rest } = compared(set, other);
        expect(rollZero).toBeCloseTo(angle, 12);
        expect(largest(physical({ ...rest, rollZero: 0 }))).toBeLessThan(1e-12);
        expect(rest.azimuth!.largest).toBeLessThan(1e-11);
        expect(rest.inclination.largest).toBeLessThan(1e-11);
        const { g, b } = bodyVectors(1, 0.5, 2, 1.1);
        const { acc, mag } = countsReading(set, g, b)!;
        expect(turn(2 + angle, applyCoefficients(other, acc, mag).roll!)).toBeCloseTo(0, 10);
      }),
      { numRuns: 20 },
    );
  });

  it('finds again each change that was made to the chips', () => {
    const change = fc.record({
      offset: vector(0.05),
      gain: vector(0.1),
      crossAxis: vector(0.05),
      turn: vector(0.1),
    });
    fc.assert(
      fc.property(sets, change, change, between(-3, 3), (set, acc, mag, roll) => {
        const swing: Vec3 = [0, acc.turn[1], acc.turn[2]];
        const made = (c: ChipChange, along: Vec3) => {
          const [yz, zx, xy] = c.crossAxis.map((lean) => lean / 2) as unknown as Vec3;
          const [x, y, z] = c.gain;
          const S: Mat3 = [1 + x, xy, zx, xy, 1 + y, yz, zx, yz, 1 + z];
          return { D: multiply(S, turned([-along[0], -along[1], -along[2]])), d: c.offset };
        };
        const straight: Coefficients = { ...set, model: 'straight', q: [0, 0, 0] };
        const changed = afterChange(straight, made(acc, swing), made(mag, mag.turn));
        const T = aboutX(-roll);
        const to = { ...changed, A: multiply(T, changed.A), B: multiply(T, changed.B) };
        const found = compared(straight, to);
        near(found.acc.offset, acc.offset);
        near(found.acc.gain, acc.gain);
        near(found.acc.crossAxis, acc.crossAxis);
        near(found.acc.turn, swing);
        near(found.mag.offset, mag.offset);
        near(found.mag.gain, mag.gain);
        near(found.mag.crossAxis, mag.crossAxis);
        near(found.mag.turn, mag.turn);
        expect(found.rollZero).toBeCloseTo(roll, 11);
        // rotation vectors add up to first order only; what is left is of the size of their product
        const difference = mag.turn.map((x, i) => x - swing[i]!);
        near(found.between, difference, 0.02);
      }),
      { numRuns: 50 },
    );
  });

  it('says how the magnetometer turned against the accelerometer', () => {
    const tilt: Vec3 = [0.02, -0.03, 0.05];
    const D = transpose(turned(tilt));
    const still = { D: turned([0, 0, 0]), d: [0, 0, 0] as const };
    near(compared(plain, afterChange(plain, still, { D, d: [0, 0, 0] })).between, tilt);
  });

  it('is the opposite the other way round, to first order', () => {
    fc.assert(
      fc.property(sets, fc.array(between(-1, 1), { minLength: 24, maxLength: 24 }), (set, e) => {
        const size = 1e-4;
        const moved = (values: readonly number[], from: number) =>
          values.map((x, i) => x + size * e[from + i]!);
        const other: Coefficients = {
          ...set,
          o: moved(set.o, 0) as unknown as Vec3,
          A: moved(set.A, 3) as unknown as Mat3,
          p: moved(set.p, 12) as unknown as Vec3,
          B: moved(set.B, 15) as unknown as Mat3,
        };
        const [there, back] = [compared(set, other), compared(other, set)];
        const sum = physical(there).map((x, i) => x + physical(back)[i]!);
        // second order: 24 changes of 1e-4 and products among them
        expect(largest(sum)).toBeLessThan(1e-6);
        expect(Math.abs(there.azimuth!.rms - back.azimuth!.rms)).toBeLessThan(1e-5);
        expect(Math.abs(there.inclination.rms - back.inclination.rms)).toBeLessThan(1e-6);
      }),
      { numRuns: 20 },
    );
  });

  it('does not care how the chips call their axes', () => {
    const P: Mat3 = [0, 0, -1, 1, 0, 0, 0, 1, 0]; // chip axes renamed, one of them reversed
    const renamed = (set: Coefficients): Coefficients => ({
      ...set,
      A: multiply(set.A, transpose(P)),
      o: rotate(P, set.o),
      B: multiply(set.B, transpose(P)),
      p: rotate(P, set.p),
      q: rotate(P, set.q),
    });
    fc.assert(
      fc.property(sets, sets, (from, to) => {
        fc.pre(compareCoefficients(from, to, 1).ok);
        const [one, two] = [compared(from, to, 1), compared(renamed(from), renamed(to), 1)];
        near(
          physical({ ...two, curvature: rotate(transpose(P), two.curvature) }),
          physical(one),
          1e-9,
        );
        expect(two.inclination.rms).toBeCloseTo(one.inclination.rms, 9);
      }),
      { numRuns: 20 },
    );
  });

  it('turns with the body axes when both sets are turned about the sight', () => {
    const T = aboutX(0.7);
    const turnBoth = (set: Coefficients) => ({
      ...set,
      A: multiply(T, set.A),
      B: multiply(T, set.B),
    });
    const other = {
      ...plain,
      o: [0.02, -0.01, 0.05] as const,
      A: plain.A.map((x, i) => x + 0.01 * (i % 4)) as unknown as Mat3,
      p: [0.25, -0.05, 0.28] as const,
    };
    const [one, two] = [compared(plain, other), compared(turnBoth(plain), turnBoth(other))];
    near(two.acc.offset, rotate(T, one.acc.offset));
    near(two.mag.offset, rotate(T, one.mag.offset));
    near(two.acc.turn, rotate(T, one.acc.turn));
    near(two.between, rotate(T, one.between));
    expect(two.rollZero).toBeCloseTo(one.rollZero, 12);
    expect(two.acc.gain.reduce((a, b) => a + b)).toBeCloseTo(
      one.acc.gain.reduce((a, b) => a + b),
      12,
    );
    // five rolls stand for all, exactly but for second order
    expect(two.azimuth!.rms / one.azimuth!.rms).toBeCloseTo(1, 2);
  });

  it('says how much more an axis bends, in the part of 1 g that it is', () => {
    const bowed: Coefficients = { ...plain, model: 'bowed', q: [0.02, 0, -0.01] };
    const { curvature, inclination } = compared(plain, bowed);
    const F = inverse(plain.A);
    near(curvature, [0.02 * Math.hypot(F[0], F[1], F[2]), 0, -0.01 * Math.hypot(F[6], F[7], F[8])]);
    // 2 % of 1 g along the sight is 1.1° at its steepest
    expect(degrees(Math.abs(inclination.largest))).toBeGreaterThan(0.3);
    expect(degrees(Math.abs(inclination.largest))).toBeLessThan(1.2);
  });
});

describe('what the change does to angles', () => {
  const still = { D: turned([0, 0, 0]), d: [0, 0, 0] as const };

  it('a hard iron of 2 % of the field along the sight moves azimuth by up to 2.7° at a dip of 65°', () => {
    const to = afterChange(plain, still, { D: still.D, d: [0.02, 0, 0] });
    const { azimuth, inclination, mag } = compared(plain, to);
    near(mag.offset, [0.02, 0, 0]);
    // most where the sight is level across the field: 0.02 / cos 65°
    expect(degrees(Math.abs(azimuth!.largest))).toBeCloseTo(
      degrees(0.02 / Math.cos(radians(65))),
      1,
    );
    expect(Math.abs(Math.sin(azimuth!.at.azimuth))).toBeCloseTo(1, 1);
    expect(inclination.rms).toBeLessThan(1e-12);
  });

  it('a magnetometer turned clockwise seen from above lowers azimuths by as much', () => {
    // with its own turn known, the set `to` takes out what `from` reads too high; level field, so nothing else
    const to = afterChange(plain, still, { D: turned([0, 0, -0.01]), d: [0, 0, 0] });
    near(compared(plain, to, 0).mag.turn, [0, 0, 0.01]);
    const { g, b } = bodyVectors(1, 0, 0, 0);
    const { acc, mag } = countsReading(plain, g, b)!;
    expect(turn(1, applyCoefficients(to, acc, mag).azimuth!)).toBeCloseTo(-0.01, 10);
  });

  it('tells the largest change and where it is, and counts made there show it', () => {
    const to = afterChange(
      plain,
      { D: turned([0, 0.01, 0.02]), d: [0.01, 0, -0.02] },
      { D: turned([0.01, -0.01, 0.02]), d: [0.01, 0.02, 0.03] },
    );
    const result = compared(plain, to);
    for (const angle of ['azimuth', 'inclination'] as const) {
      const { at, largest: value, rms } = result[angle]!;
      const { g, b } = bodyVectors(at.azimuth, at.inclination, at.roll, radians(65));
      const { acc, mag } = countsReading(plain, g, b)!;
      const seen = applyCoefficients(to, acc, mag);
      const shown =
        angle === 'azimuth'
          ? turn(at.azimuth, seen.azimuth!) * Math.cos(at.inclination)
          : seen.inclination! - at.inclination;
      expect(shown).toBeCloseTo(value, 12);
      expect(Math.abs(value)).toBeGreaterThan(rms);
    }
  });

  it('has no azimuth where the field is vertical', () => {
    const { azimuth, inclination } = compared(plain, { ...plain, o: [0, 0, 0] }, Math.PI / 2);
    expect(azimuth).toBeUndefined();
    expect(inclination.rms).toBeGreaterThan(0.005);
  });
});

describe('sets that are not of one instrument are refused', () => {
  it.each([
    ['mirrored', { B: multiply([1, 0, 0, 0, -1, 0, 0, 0, 1], plain.B) }],
    ['singular', { A: [1, 0, 0, 0, 1, 0, 0, 0, 0] as const }],
  ] as const)('%s', (cause, change) => {
    expect(compareCoefficients(plain, { ...plain, ...change }, 1)).toEqual({ ok: false, cause });
    expect(compareCoefficients({ ...plain, ...change }, plain, 1)).toEqual({ ok: false, cause });
  });

  it('no counts', () => {
    const from: Coefficients = { ...plain, model: 'bowed', q: [0.5, 0, 0] };
    expect(compareCoefficients(from, plain, 1)).toEqual({ ok: false, cause: 'no_counts' });
  });

  it('turned end for end is a turn of half a circle', () => {
    const half: Mat3 = [-1, 0, 0, 0, -1, 0, 0, 0, 1];
    const other = { ...plain, A: multiply(half, plain.A), B: multiply(half, plain.B) };
    const { acc, mag, between: apart } = compared(plain, other);
    expect(Math.abs(acc.turn[2])).toBeCloseTo(Math.PI, 9);
    expect(Math.abs(mag.turn[2])).toBeCloseTo(Math.PI, 9);
    near(apart, [0, 0, 0], 1e-9);
  });
});
