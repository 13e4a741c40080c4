import fc from 'fast-check';
import { expect, it } from 'vitest';
import { mountingMatrix, allMountings } from '../../../src/calib/model.ts';
import { plus, rotate, times, transpose } from '../../../src/calib/geometry.ts';
import type { Vec3 } from '../../../src/calib/reading.ts';
import { attitudeRotation, inBody } from '../../../firmware-sim/world.ts';
import { POSES } from '../../../src/steps/assembly/assembly-history.ts';
import {
  accelerometerSits,
  against,
  magnetometerSits,
  opposite,
} from '../../../src/steps/assembly/chip-axes.ts';
import { POSE } from '../../../src/steps/assembly/poses.ts';

/** Means of a chip without noise, by the simulator's own physics. */
const meansOf = (mounting: string, world: Vec3, offset: Vec3) =>
  POSES.map((pose) => {
    const body = inBody(attitudeRotation(POSE[pose]), world);
    return { pose, mean: plus(rotate(transpose(mountingMatrix(mounting)!), body), offset) };
  });

const mounting = fc.constantFrom(...allMountings);
const part = fc.double({ min: -3, max: 3, noNaN: true });
const offset = fc.tuple(part, part, part);

it('an accelerometer is found as it sits, with its scale and its offset, whatever they are', () => {
  fc.assert(
    fc.property(mounting, offset, fc.double({ min: 0.1, max: 5, noNaN: true }), (way, at, k) => {
      const found = accelerometerSits(meansOf(way, [0, 0, k], at))!;
      expect(found.mounting).toBe(way);
      expect(found.scale).toBeCloseTo(k, 9);
      found.offset.forEach((value, i) => expect(value).toBeCloseTo(at[i]!, 9));
      expect(found.rms).toBeLessThan(1e-9);
    }),
  );
});

it('so is a magnetometer, and the field with it, where that has a part to the north', () => {
  const dip = fc.double({ min: -1.4, max: 1.4, noNaN: true });
  fc.assert(
    fc.property(mounting, offset, dip, (way, at, angle) => {
      const field: Vec3 = [Math.cos(angle), 0, Math.sin(angle)];
      const found = magnetometerSits(meansOf(way, field, at))!;
      expect(found.mounting).toBe(way);
      expect(found.scale).toBeCloseTo(1, 9);
      found.field.forEach((value, i) => expect(value).toBeCloseTo(field[i]!, 9));
      found.offset.forEach((value, i) => expect(value).toBeCloseTo(at[i]!, 9));
    }),
  );
});

it('facing south, the dip tells which way a magnetometer counts, and without it north does', () => {
  const means = meansOf('+y-x+z', times([-0.4, 0, 0.9], 1), [0, 0, 0]);
  expect(magnetometerSits(means, 1)).toMatchObject({ mounting: '+y-x+z', byDip: true });
  expect(magnetometerSits(means)).toMatchObject({ mounting: '-y+x-z', byDip: false });
  expect(magnetometerSits(means, -1)!.mounting).toBe('-y+x-z');
});

it('too few poses tell nothing', () => {
  const means = meansOf('+x+y+z', [0, 0, 1], [0, 0, 0]);
  expect(accelerometerSits(means.slice(0, 4))).toBeUndefined();
});

it.each([
  ['+x+y+z', '+x+y+z', { how: 'as declared' }],
  ['-x-y-z', '-x-y+z', { how: 'reversed', axis: 2 }],
  ['+y-x+z', '+y+x+z', { how: 'reversed', axis: 0 }],
  ['+x+y+z', '+y+x+z', { how: 'swapped', axes: [0, 1] }],
  ['-x-y-z', '-y-x-z', { how: 'swapped', axes: [0, 1] }],
  ['+x+y+z', '-x-y-z', { how: 'mirrored' }],
  ['+x+y+z', '-x+y-z', { how: 'turned', by: 180, about: 1 }],
  ['+x+y+z', '+y-x+z', { how: 'turned', by: 90, about: 2 }],
  ['+x+y+z', '+y+z+x', { how: 'turned', by: 120 }],
])('%s found as %s is %o', (declared, found, way) => {
  expect(against(declared, found)).toMatchObject(way);
});

it('of two ways a chip may sit exactly one counts as another handedness: turned, or a mirror image', () => {
  fc.assert(
    fc.property(mounting, mounting, (a, b) => {
      const [one, other] = [against(a, b).how, against(a, opposite(b)).how];
      const isProper = (how: string) => how === 'turned' || how === 'as declared';
      expect(isProper(one)).toBe(!isProper(other));
      expect(against(a, a).how).toBe('as declared');
    }),
  );
});
