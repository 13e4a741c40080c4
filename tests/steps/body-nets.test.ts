import { describe, expect, it } from 'vitest';
import { bodyVectors, radians } from '../../src/calib/geometry.ts';
import {
  bodyPoints,
  bodyWords,
  levelOf,
  levelWords,
  netGaps,
  netPlace,
  netShade,
  netSource,
  pointWords,
  shadeBounds,
  shadeWords,
  type NetSource,
} from '../../src/steps/body-nets.ts';
import type { CalibrationState } from '../../src/steps/calibration-state.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** Where down lies in a body that is held so; degrees. */
const downAt = (inclination: number, roll: number) =>
  bodyVectors(0, radians(inclination), radians(roll), 0).g;

describe('a direction in the body', () => {
  it('is drawn as the person aiming sees it: upright down is at the bottom, rolled right it is at the right', () => {
    expect(netPlace(downAt(0, 0)).around).toBeCloseTo(180, 9);
    expect(netPlace(downAt(0, 90)).around).toBeCloseTo(90, 9);
    expect(netPlace(downAt(0, 180)).around % 360).toBeCloseTo(0, 9);
    expect(netPlace(downAt(0, 270)).around).toBeCloseTo(270, 9);
    // the sight up: down is behind
    expect(netPlace(downAt(30, 0)).ahead).toBeCloseTo(-30, 9);
    expect(netPlace(downAt(-90, 0)).ahead).toBeCloseTo(90, 6);
  });

  it('is named by the sides of the board that it is near', () => {
    expect(bodyWords(downAt(0, 0))).toBe('near the bottom');
    expect(bodyWords(downAt(0, 90))).toBe('near the right side');
    expect(bodyWords(downAt(0, 180))).toBe('near the top');
    expect(bodyWords(downAt(90, 0))).toBe('near the back');
    expect(bodyWords(downAt(-45, 0))).toBe('between the front and the bottom');
    expect(bodyWords(downAt(-35, 225))).toBe('between the front, the left side and the top');
  });
});

describe('levels of the shading', () => {
  it('end at the tolerance, whatever it is, and are told apart at their bounds', () => {
    expect(shadeBounds({ degrees: 1, grade: '5' })).toEqual([0.1, 0.25, 0.5, 1]);
    expect(shadeBounds({ degrees: 0.5, grade: '6' })).toEqual([0.1, 0.25, 0.5]);
    expect(shadeBounds({ degrees: 0.05 })).toEqual([0.05]);
    const bounds = shadeBounds();
    expect([0.05, 0.1, 0.2, 0.6, 1, 1.01, Infinity, NaN].map((e) => levelOf(e, bounds))).toEqual([
      0, 0, 1, 3, 3, 4, 4, 4,
    ]);
    expect(levelWords(bounds)).toHaveLength(5);
    expect(levelWords(bounds).at(-1)).toContain('more than the tolerance');
  });
});

describe('the nets of a calibration', () => {
  it('place readings by the plan before there are coefficients, and say what is lacking and where to aim', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take sighting');
    const points = bodyPoints(on.calibration.readings);
    expect(points).toHaveLength(4);
    expect(points.every(({ down, field }) => down && !field)).toBe(true);
    const gaps = netGaps(on.calibration);
    expect(gaps.length).toBeGreaterThan(0);
    expect(gaps.every(({ words }) => words.startsWith('No reading had down'))).toBe(true);
    expect(gaps.every(({ planned }) => planned)).toBe(true); // what the plan asks for fills them
    await on.ask('take rest');
    expect(netGaps(on.calibration)).toEqual([]);
  });

  it('place them by their counts once there is a fit, set aside or not, and shade by its covariance', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take rest', 'fit');
    await on.run(on.place.mark({ does: 'set aside', reading: '1', reason: 'It moved' }));
    const source = netSource(on.calibration, undefined)!;
    const points = bodyPoints(on.calibration.readings, source);
    expect(points).toHaveLength(56);
    expect(points.filter(({ counts }) => !counts).map(({ id }) => id)).toEqual(['1']);
    for (const [i, { down }] of points.entries()) {
      const { inclination, roll } = on.calibration.readings[i]!.aim!;
      const planned = downAt(inclination!, roll!);
      // the simulated hand rolls to a few degrees
      expect(Math.hypot(...planned.map((x, k) => x - down![k]!))).toBeLessThan(0.2);
    }
    expect(netGaps(on.calibration, source)).toEqual([]);
    expect(pointWords(points[0]!)).toMatch(/^down (near|between) .*, the field (near|between) /);

    for (const which of ['down', 'field'] as const) {
      const { cells, errors } = netShade(source, which);
      expect(errors).toHaveLength(cells.length);
      const mean = Math.sqrt(errors.reduce((sum, e) => sum + e * e, 0) / errors.length);
      // over the whole sphere it is about what the judgement says of directions to 70 degrees
      expect(mean).toBeGreaterThan(0.08);
      expect(mean).toBeLessThan(0.4);
    }
    expect(shadeWords(netShade(source, 'down'))).toMatch(/from ±\s0\.\d\d° to ±\s0\.\d\d°/);
  }, 60_000);

  it('name a part that every reading of it was set aside from, and where the field has not been', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take rest', 'fit');
    const source = netSource(on.calibration, undefined)!;
    const without = (isLeft: (point: { down: readonly number[] }) => boolean): CalibrationState => {
      const points = bodyPoints(on.calibration.readings, source);
      return {
        ...on.calibration,
        readings: on.calibration.readings.filter((_, i) => isLeft({ down: points[i]!.down! })),
      };
    };
    // whatever had down in the upper half of the housing is not there
    const lacking = netGaps(
      without(({ down }) => down[2]! > 0.2),
      source,
    );
    expect(lacking[0]!.words).toMatch(/down .*the top/);
    expect(lacking[0]!.planned).toBe(true);
    expect(lacking[0]!.take).toMatch(/upside down|rolled/);
  }, 60_000);

  it('take the provisional fit before the one that was asked for', () => {
    const fit = { coefficients: 'asked', dip: 1, uncertainty: 'u' };
    const live = { ok: true, coefficients: 'live', dip: 1.1, uncertainty: 'v' };
    const of = (state: object, newer?: object) =>
      netSource(state as CalibrationState, newer as never) as unknown as NetSource | undefined;
    expect(of({ fit }, live)).toMatchObject({ coefficients: 'live', isLive: true });
    expect(of({ fit }, { ok: false })).toMatchObject({ coefficients: 'asked', isLive: false });
    expect(of({}, { ok: false })).toBeUndefined();
  });
});
