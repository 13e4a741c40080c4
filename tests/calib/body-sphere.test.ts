import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { simulateCalibration, trueTheta } from '../../bench/simulated-calibration.ts';
import { azimuthErrorAlong, bodyCells, held, RINGS } from '../../src/calib/body-sphere.ts';
import { DIP } from '../../src/calib/calibration-problem.ts';
import { standardErrors } from '../../src/calib/covariance.ts';
import {
  angleBetween,
  angles,
  fieldDirection,
  length,
  radians,
  rotate,
  transpose,
} from '../../src/calib/geometry.ts';
import type { Vec3 } from '../../src/calib/reading.ts';

describe('cells of the sphere', () => {
  it('are 144 in each half, of unit length, each in its own half', () => {
    const cells = bodyCells();
    expect(cells).toHaveLength(2 * 4 * RINGS ** 2);
    for (const { half, middle } of cells) {
      expect(length(middle)).toBeCloseTo(1, 12);
      expect(middle[0] > 0).toBe(half === 'front');
    }
  });

  it('share it equally: sums of squares over them are those of the whole sphere, but for their size', () => {
    const cells = bodyCells();
    for (const axis of [0, 1, 2] as const) {
      const mean = cells.reduce((sum, { middle }) => sum + middle[axis] ** 2, 0) / cells.length;
      expect(mean).toBeCloseTo(1 / 3, 2); // a third; cells are some 12 degrees wide
    }
  });

  it('begin at the top and go to the right, as the person aiming sees it', () => {
    const outer = bodyCells().filter(({ half, ring }) => half === 'front' && ring === RINGS - 1);
    const [first, quarter] = [outer[0]!, outer[Math.floor(outer.length / 4)]!];
    expect(first.middle[2]).toBeLessThan(-0.9); // up in the body is −z
    expect(quarter.middle[1]).toBeGreaterThan(0.9);
  });
});

const component = fc.double({ min: -1, max: 1, noNaN: true });
const anyDirection = fc
  .tuple(component, component, component)
  .filter((v) => Math.hypot(...v) > 0.1)
  .map((v): Vec3 => {
    const size = Math.hypot(...v);
    return [v[0] / size, v[1] / size, v[2] / size];
  });

it('holds the board so that down, or the field, is where it is wanted, and is a rotation', () => {
  fc.assert(
    fc.property(
      anyDirection,
      fc.double({ min: -1.4, max: 1.4, noNaN: true }),
      fc.double({ min: 0, max: 6, noNaN: true }),
      fc.constantFrom('down' as const, 'field' as const),
      (along, dip, turned, which) => {
        const R = held(which, along, dip, turned);
        const seen = rotate(transpose(R), which === 'down' ? [0, 0, 1] : fieldDirection(dip));
        expect(angleBetween(seen, along)).toBeLessThan(1e-9);
        const [north, east, down] = [0, 3, 6].map((i) => R.slice(i, i + 3) as unknown as Vec3);
        expect(angleBetween(north!, east!)).toBeCloseTo(Math.PI / 2, 9);
        expect(rotate(R, down!)[2]).toBeCloseTo(1, 9);
      },
    ),
  );
});

describe('the error of azimuth along a direction', () => {
  const theta = [...trueTheta(simulateCalibration({ seed: 5 }))];
  const covariance = theta.flatMap((_, i) =>
    theta.map((_, k) => (i === k ? 1e-6 * (1 + i) : 1e-7)),
  );

  it('is the mean square of the standard errors at the attitudes that have down there', () => {
    const down: Vec3 = [
      -Math.sin(0.3),
      Math.cos(0.3) * Math.sin(1.1),
      Math.cos(0.3) * Math.cos(1.1),
    ];
    const [found] = azimuthErrorAlong({ theta, covariance }, 'down', [down]);
    // inclination 0.3 and roll 1.1, and every azimuth: many more of them than it takes
    let squares = 0;
    for (let i = 0; i < 90; i++) {
      squares += standardErrors({ theta, covariance }, radians(4 * i), 0.3, 1.1).azimuth ** 2;
    }
    expect(found! / Math.sqrt(squares / 90)).toBeCloseTo(1, 6);
  });

  it('is that over the attitudes that have the field there', () => {
    const along: Vec3 = [0.6, -0.64, 0.48];
    const [found] = azimuthErrorAlong({ theta, covariance }, 'field', [along]);
    let squares = 0;
    for (let i = 0; i < 360; i++) {
      const R = held('field', along, theta[DIP]!, radians(i));
      const g = R.slice(6) as unknown as Vec3;
      const seen = angles(g, along);
      squares +=
        standardErrors({ theta, covariance }, seen.azimuth!, seen.inclination!, seen.roll!)
          .azimuth ** 2;
    }
    // the harmonics that eight turns miss are a few per mille here
    expect(found! / Math.sqrt(squares / 360)).toBeCloseTo(1, 2);
  });

  it('is not a number where the field is vertical', () => {
    const vertical = theta.with(DIP, Math.PI / 2);
    const [found] = azimuthErrorAlong({ theta: vertical, covariance }, 'down', [[0, 0, 1]]);
    expect(Number.isFinite(found) && found! < 100).toBe(false);
  });
});
