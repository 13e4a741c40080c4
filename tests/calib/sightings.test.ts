import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { randomStream } from '../../firmware-sim/random.ts';
import {
  bodyVectors,
  multiply,
  radians,
  rotate,
  attitude,
  type Mat3,
} from '../../src/calib/geometry.ts';
import { allMountings, mountingMatrix } from '../../src/calib/model.ts';
import { cubePlan } from '../../src/calib/plan.ts';
import { findSightings } from '../../src/calib/sightings.ts';

/** Vectors of the cube plan at 65° of dip, aimed to half a degree, in a frame turned or mirrored by Q. */
function seen(Q: Mat3, sign: 1 | -1, seed: number) {
  const random = randomStream(seed, 'sightings');
  const off = () => radians(0.5) * random.normal();
  return cubePlan().flatMap(({ azimuth, inclination, rolls }, k) =>
    rolls.map((roll) => {
      const tilt = Math.abs(inclination) > 1.5 ? -Math.sign(inclination) * Math.abs(off()) : off();
      const { g, b } = bodyVectors(
        azimuth + off(),
        inclination + tilt,
        roll + 8 * off(),
        radians(65),
      );
      return { k, down: rotate(Q, g), field: rotate(Q, [sign * b[0], sign * b[1], sign * b[2]]) };
    }),
  );
}

describe('sightings are found', () => {
  it('whichever way the chips sit, turned, mirrored or with the field reversed', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(...allMountings),
        fc.constantFrom(1 as const, -1 as const),
        fc.tuple(
          fc.double({ min: 0, max: 6, noNaN: true }),
          fc.double({ min: -1.4, max: 1.4, noNaN: true }),
        ),
        fc.nat(1000),
        (mounting, sign, [a, i], seed) => {
          const Q = multiply(mountingMatrix(mounting)!, attitude(a, i, a));
          const readings = seen(Q, sign, seed);
          const found = findSightings(
            readings.map(({ down }) => down),
            readings.map(({ field }) => field),
          )!;
          expect(found.sighting).toEqual(readings.map(({ k }) => k));
        },
      ),
      { numRuns: 40 },
    );
  });

  it('but none among attitudes that share no axis', () => {
    const random = randomStream(5, 'free');
    const free = Array.from({ length: 80 }, () =>
      bodyVectors(
        random.between(0, 6.28),
        Math.asin(random.between(-1, 1)),
        random.between(0, 6.28),
        1,
      ),
    );
    expect(
      findSightings(
        free.map(({ g }) => g),
        free.map(({ b }) => b),
      ),
    ).toBeUndefined();
  });
});
