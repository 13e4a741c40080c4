import { describe, expect, it } from 'vitest';
import { angleBetween, degrees, direction } from '../../src/calib/geometry.ts';
import { cubePlan, leastTurning } from '../../src/calib/plan.ts';

describe('the cube plan', () => {
  const plan = cubePlan();
  const aims = plan.map(({ azimuth, inclination }) => direction(azimuth, inclination));

  // common practice in the trade, with no published source
  it('has 14 sightings of four rolls a quarter turn apart: 56 readings', () => {
    expect(plan).toHaveLength(14);
    for (const { rolls } of plan) {
      expect(rolls.map(degrees)).toEqual([0, 90, 180, 270]);
    }
  });

  it('aims along every face and corner of a cube, once', () => {
    const faces = aims.filter((d) => Math.max(...d.map(Math.abs)) > 0.999);
    const corners = aims.filter((d) =>
      d.every((x) => Math.abs(Math.abs(x) - Math.sqrt(1 / 3)) < 1e-9),
    );
    expect(faces).toHaveLength(6);
    expect(corners).toHaveLength(8);
    for (const [i, a] of aims.entries()) {
      for (const b of aims.slice(i + 1)) expect(angleBetween(a, b)).toBeGreaterThan(0.9);
    }
  });

  it('starts level and north, and turns no further than an edge of the way from aim to aim', () => {
    expect(plan[0]).toMatchObject({ azimuth: 0, inclination: 0 });
    const turns = aims.slice(1).map((aim, i) => degrees(angleBetween(aims[i]!, aim)));
    // 54.7° from face to corner; 70.5° from corner to corner. Six faces can part at most 14 − 1 steps into these.
    const total = turns.reduce((sum, angle) => sum + angle, 0);
    expect(Math.max(...turns)).toBeLessThan(70.6);
    // 12 steps must touch a face (each of the six is entered and left, but the first is only left): 11 × 54.74 + 2 × 70.53
    expect(total).toBeCloseTo(11 * 54.7356 + 2 * 70.5288, 2);
  });
});

describe('the order of least turning', () => {
  it('is no longer than any other order, tried out one by one', () => {
    const points = [0.1, 2.0, 4.4, 1.2, 3.3, 5.9, 0.7].map((a, i) =>
      direction(a, ((i * 7) % 5) / 4 - 0.5),
    );
    const cost = (order: number[]) =>
      order.slice(1).reduce((sum, to, i) => sum + angleBetween(points[order[i]!]!, points[to]!), 0);
    const orders = (left: number[]): number[][] =>
      left.length === 0
        ? [[]]
        : left.flatMap((head) =>
            orders(left.filter((x) => x !== head)).map((tail) => [head, ...tail]),
          );
    const best = Math.min(...orders([1, 2, 3, 4, 5, 6]).map((tail) => cost([0, ...tail])));
    const order = leastTurning(points);
    expect([...order].sort()).toEqual([0, 1, 2, 3, 4, 5, 6]);
    expect(cost(order)).toBeCloseTo(best, 12);
  });
});
