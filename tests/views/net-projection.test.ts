import fc from 'fast-check';
import { expect, it } from 'vitest';
import { project } from '../../src/views/net-projection.ts';

const angles = { noNaN: true, noDefaultInfinity: true };

it('gives every cap of the sphere its share of the disc (Snyder 1987, Map projections, chapter 24)', () => {
  // the part of a half sphere above inclination β is 1 − sin β; that of a disc within r is r²
  fc.assert(
    fc.property(
      fc.double({ min: 0, max: 360, ...angles }),
      fc.double({ min: 0, max: 90, ...angles }),
      (azimuth, inclination) => {
        const { x, y } = project(azimuth, inclination);
        expect(x * x + y * y).toBeCloseTo(1 - Math.sin((inclination * Math.PI) / 180), 12);
      },
    ),
  );
});

it('puts north at the top, east to the right, and the vertical in the middle, in both halves', () => {
  for (const [azimuth, inclination, x, y] of [
    [0, 0, 0, -1],
    [90, 0, 1, 0],
    [180, 0, 0, 1],
    [270, 0, -1, 0],
    [0, 90, 0, 0],
    [0, -90, 0, 0],
  ]) {
    const at = project(azimuth, inclination);
    expect(at.x).toBeCloseTo(x, 12);
    expect(at.y).toBeCloseTo(y, 12);
  }
});
