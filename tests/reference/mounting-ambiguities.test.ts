import { describe, expect, it } from 'vitest';
import { bodyVectors, radians, rotate, transpose } from '../../src/calib/geometry.ts';
import { allMountings, mountingMatrix } from '../../src/calib/model.ts';
import { disagreement, type Disagreement } from '../../src/calib/orientation.ts';
import { cubePlan } from '../../src/calib/plan.ts';
import type { Vec3 } from '../../src/calib/reading.ts';

/**
 * How many of the 48 × 48 pairs of chip mountings survive each kind of knowledge, with the cube plan at 65° of dip. The
 * counts were worked out for the project's design, before this code; they follow from the symmetries named beside them.
 */
describe('of all 2304 pairs of mountings, the cube plan at 65° of dip leaves', () => {
  const known = cubePlan().flatMap(({ name, azimuth, inclination, rolls }) =>
    rolls.map((roll) => ({ sighting: name, aim: { azimuth, inclination, roll } })),
  );
  const truth = known.map(({ aim }) =>
    bodyVectors(aim.azimuth, aim.inclination, aim.roll, radians(65)),
  );
  const matrices = allMountings.map((mounting) => mountingMatrix(mounting)!);
  // chips as they really sit: turned arbitrarily, the magnetometer mirrored
  const acc = mountingMatrix('-y+z-x')!;
  const mag = mountingMatrix('+z+x-y')!;
  const chipG = truth.map(({ g }) => rotate(transpose(acc), g));
  const chipB = truth.map(({ b }) => rotate(transpose(mag), b));

  const pairs: Disagreement[] = matrices.flatMap((a) => {
    const g: Vec3[] = chipG.map((v) => rotate(a, v));
    return matrices.map((m) =>
      disagreement(
        g.map((down, i) => ({ g: down, b: rotate(m, chipB[i]!) })),
        known,
      ),
    );
  });

  /** Ten degrees: what a plan held by hand can be trusted to. */
  const small = radians(10);
  const cumulative: [string, (d: Disagreement) => boolean, number][] = [
    ['96 by the constant angle between down and field', (d) => d.angle < small, 96],
    ['32 by the common sight axis too', (d) => d.sight < small, 32],
    ['16 by signed inclinations too', (d) => d.inclination < small, 16],
    ['8 by relative azimuths too', (d) => d.relativeAzimuth < small, 8],
    [
      '2 by roll too: the truth, and half a turn round with the dip negated',
      (d) => d.roll < small,
      2,
    ],
    ['1 by absolute azimuth too', (d) => d.azimuth < small, 1],
  ];
  cumulative.forEach(([name, , expected], i) => {
    it(name, () => {
      const left = pairs.filter((pair) => cumulative.slice(0, i + 1).every(([, ok]) => ok(pair)));
      expect(left).toHaveLength(expected);
    });
  });

  it('the truth, in the end', () => {
    const index = matrices.findIndex((m) => m.every((value, i) => value === acc[i]));
    const other = matrices.findIndex((m) => m.every((value, i) => value === mag[i]));
    const found = pairs[index * matrices.length + other]!;
    expect(cumulative.every(([, ok]) => ok(found))).toBe(true);
  });
});
