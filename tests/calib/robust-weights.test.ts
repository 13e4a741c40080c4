import { describe, expect, it } from 'vitest';
import { randomStream } from '../../firmware-sim/random.ts';
import { holmAdjusted } from '../../src/calib/holm.ts';
import {
  hampelWeight,
  huberWeight,
  medianScale,
  scaleOf,
  SCALE_EFFICIENCY,
  VARIANCE_FACTOR,
} from '../../src/calib/robust-weights.ts';

describe('robust weights', () => {
  it("are Hampel's in three parts, joined without a step, and nothing at last", () => {
    expect([0, 1.9, -2, 3, 4, 6, 8, -50].map(hampelWeight)).toEqual(
      [1, 1, 1, 2 / 3, 1 / 2, 1 / 6, 0, 0].map((weight) => expect.closeTo(weight, 12)),
    );
    for (const corner of [2, 4, 8]) {
      expect(hampelWeight(corner + 1e-9)).toBeCloseTo(hampelWeight(corner - 1e-9), 6);
    }
    expect(huberWeight(2.69)).toBeCloseTo(0.5, 12);
  });

  it('cost what is said of them, for normal noise', () => {
    // means over a fine grid of the normal density, apart from the closed forms in the code
    const step = 1e-4;
    let [clipped, squared, slope, weight, inside] = [0, 0, 0, 0, 0];
    for (let z = step / 2; z < 10; z += step) {
      const part = (2 * step * Math.exp((-z * z) / 2)) / Math.sqrt(2 * Math.PI);
      clipped += part * Math.min(z * z, 4);
      squared += part * Math.min(z * z, 4) ** 2;
      inside += part * (z < 2 ? z * z : 0);
      slope += part * (z < 2 ? 1 : z > 4 && z < 8 ? -0.5 : 0);
      weight += part * hampelWeight(z);
    }
    expect(SCALE_EFFICIENCY).toBeCloseTo((2 * inside ** 2) / (squared - clipped ** 2), 4);
    expect(VARIANCE_FACTOR).toBeCloseTo((weight * clipped) / slope ** 2, 3);
  });

  it('have a scale that a tenth of gross errors hardly moves', () => {
    const random = randomStream(4, 'scale');
    const clean = Array.from({ length: 2000 }, () => 0.3 * random.normal());
    const spoilt = clean.map((value, i) => (i % 10 === 0 ? value + 50 : value));
    const one = spoilt.map(() => 1);
    // the scale of 2000 is good to 2 %
    expect(scaleOf(clean, one, medianScale(clean)) / 0.3).toBeCloseTo(1, 1);
    expect(scaleOf(spoilt, one, medianScale(spoilt)) / 0.3).toBeCloseTo(1, 1);
  });
});

describe('many tests at once', () => {
  it('are adjusted as worked by hand after Holm', () => {
    // 4 × 0.01, 3 × 0.02 = 0.06, then 2 × 0.025 = 0.05 held up to 0.06, then 0.9
    expect(holmAdjusted([0.025, 0.01, 0.9, 0.02])).toEqual([0.06, 0.04, 0.9, 0.06]);
    expect(holmAdjusted([])).toEqual([]);
    expect(holmAdjusted([0.8, 0.9])).toEqual([1, 1]);
  });
});
