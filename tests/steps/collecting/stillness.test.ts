import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { Vec3 } from '../../../src/calib/reading.ts';
import {
  movedWhileTaken,
  stillnessOf,
  stillnessWords,
} from '../../../src/steps/collecting/stillness.ts';

/** 1 mg and 0.2 % of the field. */
const CHIPS = { accScale: 16384, magScale: 3400, accNoise: 16.4, magNoise: 6.8 };
const at = (acc: Vec3, mag: Vec3 = [1000, 0, 3000]) => ({ acc, mag });
const quiet = {
  ...at([0, 0, 16384]),
  accScatter: [66, 64, 67] as Vec3,
  magScatter: [27, 26, 28] as Vec3,
  samples: 16,
};

describe('stillness', () => {
  it('is there with no more than the declared noise', () => {
    const now = { ...quiet, acc: [20, -15, 16390] as Vec3, mag: [1010, 5, 2994] as Vec3 };
    expect(stillnessOf(now, quiet, CHIPS).still).toBe(true);
    expect(movedWhileTaken(quiet, CHIPS)).toBeUndefined();
  });

  it('is gone where one chip’s samples scatter over one axis, and says by how much and what is still', () => {
    const turning = { ...quiet, magScatter: [27, 150, 28] as Vec3 };
    const found = stillnessOf(turning, quiet, CHIPS);
    expect(found).toMatchObject({ still: false, sign: 'samples' });
    expect(found.moved).toBeCloseTo((150 / 3400) * (180 / Math.PI), 6);
    expect(stillnessWords(found)).toBe(
      'Moving: it trembles by 2.5° within one reading; up to 1.4° is still',
    );
    expect(movedWhileTaken(turning, CHIPS)?.still).toBe(false);
  });

  it('is gone where a look differs from the one before, though each is quiet', () => {
    const turned = { ...quiet, acc: [2000, 0, 16260] as Vec3 };
    const found = stillnessOf(turned, quiet, CHIPS);
    expect(found).toMatchObject({ still: false, sign: 'since' });
    expect(found.moved).toBeCloseTo(7, 1);
    expect(stillnessOf(turned, undefined, CHIPS).still).toBe(true);
  });

  it('allows what the readings of this board usually have, where that is more than declared', () => {
    const trembling = { ...quiet, accScatter: [400, 380, 410] as Vec3 };
    expect(stillnessOf(trembling, undefined, CHIPS).still).toBe(false);
    expect(stillnessOf(trembling, undefined, CHIPS, [trembling, trembling, quiet]).still).toBe(
      true,
    );
    expect(stillnessOf(trembling, undefined, CHIPS, [trembling, quiet, quiet]).still).toBe(false);
  });

  it('goes by looks alone where a board does not say how its samples scatter', () => {
    const bare = at([0, 0, 16384]);
    expect(stillnessOf(bare, undefined, CHIPS)).toMatchObject({ still: true });
    expect(stillnessOf(at([0, 3000, 16000]), bare, CHIPS).still).toBe(false);
    expect(movedWhileTaken(bare, CHIPS)).toBeUndefined();
  });

  it('is never undone by holding more still, in any counts', () => {
    const axis = fc.integer({ min: -30_000, max: 30_000 });
    const vec = fc.tuple(axis, axis, axis);
    fc.assert(
      fc.property(vec, vec, fc.double({ min: 0, max: 1, noNaN: true }), (a, b, part) => {
        const between = b.map((count, i) => a[i]! + (count - a[i]!) * part) as unknown as Vec3;
        const near = stillnessOf(at(between), at(a), CHIPS);
        const far = stillnessOf(at(b), at(a), CHIPS);
        expect(near.moved).toBeLessThanOrEqual(far.moved + 1e-9);
        if (far.still) expect(near.still).toBe(true);
      }),
    );
  });
});
