import { expect, it } from 'vitest';
import { coefficientValues, type Coefficients } from '../../../src/calib/model.ts';
import { setCrc } from '../../../src/protocol/messages.ts';
import type { Entry } from '../../../src/records/entries.ts';
import {
  driftBetween,
  driftPictureWords,
  driftPoints,
  largerWords,
  measuredSets,
} from '../../../src/steps/logbook/drift.ts';

/** A board that is all right but for its magnetometer's zero across the sight, in units of the field. */
const coefficients = (zero: number): Coefficients => ({
  model: 'straight',
  accScale: 16_000,
  magScale: 4000,
  o: [0, 0, 0],
  A: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  q: [0, 0, 0],
  p: [0, zero, 0],
  B: [1, 0, 0, 0, 1, 0, 0, 0, 1],
});
const day = (n: number) => new Date(Date.UTC(2031, 2, 10 + n, 10)).toISOString();
const entry = (n: number, more: object) => ({ board: 'B1', time: day(n), ...more }) as Entry;
const DIP = (65 * Math.PI) / 180;

const setOf = (c: Coefficients) => ({ model: c.model, values: coefficientValues(c) });

/** A fit, and its set staged and sealed. @param error standard error of both angles, radians */
function calibrated(n: number, generation: number, zero: number, error = 0.001): Entry[] {
  const fitted = coefficients(zero);
  const set = setOf(fitted);
  const [calibration, crc, id] = [`c${n}`, setCrc(set), 'f1'];
  const freedom = { azimuth: Infinity, inclination: Infinity };
  const uncertainty = { azimuth: error, inclination: error, freedom };
  return [
    entry(n, { kind: 'fit', calibration, id, coefficients: fitted, dip: DIP, uncertainty }),
    entry(n, { kind: 'staged', calibration, fit: id, set, crc }),
    entry(n, { kind: 'sealed', calibration, generation, crc }),
  ];
}
const linked = (n: number, firmware: string) =>
  entry(n, { kind: 'board linked', identity: { firmware } });

it('holds each set against the first and the one before, once, with what happened in between', () => {
  const sets = measuredSets([
    linked(0, '1.0'),
    ...calibrated(1, 1, 0),
    entry(3, { kind: 'knocked', id: 'k', on: '2031-03-12' }),
    entry(3, { kind: 'battery changed', id: 'b' }),
    entry(4, { kind: 'remark withdrawn', of: 'b' }),
    linked(4, '1.1'),
    ...calibrated(5, 2, 0.01),
    ...calibrated(6, 3, 0), // put back: nothing new of the board
    ...calibrated(7, 4, 0.02),
  ]);
  expect(sets.map(({ generation }) => generation)).toEqual([1, 2, 4]);
  expect(sets[1]?.between).toEqual(['knocked, 12 Mar 2031', 'firmware 1.1, 14 Mar 2031']);
  expect(sets[2]?.between).toEqual([]);
});

it('begins with what the board ran before anything was sealed here', () => {
  const set = setOf(coefficients(0.03));
  const inForce = { ...set, crc: setCrc(set), generation: 8 };
  const sets = measuredSets([entry(0, { kind: 'coefficients saved', inForce }), ...calibrated(1, 9, 0)]); // prettier-ignore
  expect(sets.map(({ generation }) => generation)).toEqual([8, 9]);
  const drift = driftBetween(sets[0]!, sets[1]!);
  expect(largerWords(drift)).toBe('not known: one of the two was not made here');
});

it('knows a sealed set by its check, though another bench fitted the same and staged another meanwhile', () => {
  const [fit, staged, sealed] = calibrated(1, 1, 0);
  const [otherFit, otherStaged] = calibrated(1, 1, 0.01, 0.002);
  const sets = measuredSets([fit!, otherFit!, staged!, otherStaged!, sealed!]);
  expect(sets).toMatchObject([{ generation: 1, uncertainty: { azimuth: 0.001 } }]);
});

it('knows how sure a set is that was fitted here and put on as it is later', () => {
  const [fit] = calibrated(1, 1, 0);
  const chosen = calibrated(3, 2, 0).filter(({ kind }) => kind !== 'fit');
  const [measured] = measuredSets([fit!, ...chosen]);
  expect(measured).toMatchObject({ generation: 2, dip: DIP, uncertainty: { azimuth: 0.001 } });
});

it('gives the change of azimuth that a shifted zero makes, and says whether chance could have made it', () => {
  const [a, b] = measuredSets([...calibrated(1, 1, 0), ...calibrated(2, 2, 0.01)]);
  const drift = driftBetween(a!, b!);
  // A zero off across the sight by ε of the field turns azimuth by up to ε / cos dip: 0.01 / cos 65° = 1.36°. What is
  // kept is azimuth × cos inclination, over inclinations up to ±70°, and steep attitudes tilt the zero into the field.
  const largest = (Math.abs(drift.azimuth!.largest) * 180) / Math.PI;
  expect(largest).toBeGreaterThan(1.3);
  expect(largest).toBeLessThan(1.5);
  // the accelerometer did not change
  expect(drift.inclination!.rms).toBeLessThan(1e-9);
  expect(largerWords(drift)).toBe('yes, in azimuth');
  const [c, d] = measuredSets([...calibrated(1, 1, 0, 0.01), ...calibrated(2, 2, 0.01, 0.01)]);
  // √2 × 0.01 × 1.96 = 1.59°, more than the root mean square of that change
  expect((driftBetween(c!, d!).chance! * 180) / Math.PI).toBeCloseTo(1.588, 2);
  expect(largerWords(driftBetween(c!, d!))).toBe('no');
});

it('says in words what its picture shows', () => {
  const sets = measuredSets([...calibrated(1, 1, 0), ...calibrated(31, 2, 0.01)]);
  const points = driftPoints(sets, [driftBetween(sets[0]!, sets[1]!)]);
  expect(points.map(({ at, generation }) => [at, generation])).toEqual([
    [Date.parse(day(1)), 1],
    [Date.parse(day(31)), 2],
  ]);
  expect(driftPictureWords(points)).toMatch(
    /^Change of azimuth .* against generation 1, .*: generation 2, 10 Apr 2031: 0\.\d\d°\.$/,
  );
});
