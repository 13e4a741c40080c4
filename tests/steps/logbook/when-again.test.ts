import { expect, it } from 'vitest';
import { inShortAfter, type BoardInShort } from '../../../src/records/board-in-short.ts';
import type { CheckRecord, Entry } from '../../../src/records/entries.ts';
import {
  againLine,
  ORDINARY_THRESHOLDS,
  thresholdsFrom,
  whenAgain,
  type Rule,
} from '../../../src/steps/logbook/when-again.ts';

/** Entries of one board as far as these rules read them; each is a day after the one before. */
const day = (n: number) => new Date(Date.UTC(2031, 2, 10 + n, 10)).toISOString();
const entry = (n: number, more: object) => ({ board: 'B1', time: day(n), ...more }) as Entry;
const linked = (n: number, firmware = '1.0') =>
  entry(n, { kind: 'board linked', identity: { name: '', hardware: 'h1', firmware } });
const fitted = (n: number, temperature = { coldest: 14, warmest: 18 }) =>
  entry(n, { kind: 'fit', calibration: 'c1', id: 'f1', holdsFor: { temperature } });
const staged = (n: number, crc = '0000000A', fit: string | undefined = 'f1') =>
  entry(n, { kind: 'staged', calibration: 'c1', crc, ...(fit && { fit }) });
const sealed = (n: number, generation = 1, crc = '0000000A') =>
  entry(n, { kind: 'sealed', calibration: 'c1', generation, crc });
const found = (n: number, inForce?: { crc: string; generation: number }) =>
  entry(n, { kind: 'coefficients saved', ...(inForce && { inForce }) });
const readingAt = (n: number, temperature: number, generation = 1) =>
  entry(n, { kind: 'memory saved', readings: [{ reading: 90, generation, temperature }] });
const knock = (n: number, more: object = {}) => entry(n, { kind: 'knocked', id: `k${n}`, ...more });
const proof = (n: number, passed: boolean) =>
  entry(n, { kind: 'proof', calibration: 'c1', passed, generation: 1 });
const check = (n: number, verdict: CheckRecord['verdict'], of = 'rolls', crc = '0000000A') =>
  entry(n, { kind: 'check', check: `check ${n}`, of, verdict, generation: 1, crc });

/** Calibrated on day 1, with the board as it stays. */
const CALIBRATED = [linked(0), fitted(1), staged(1), sealed(1)];

const board = (entries: readonly Entry[]): BoardInShort =>
  entries.reduce(inShortAfter, undefined as BoardInShort | undefined)!;
const at = (n: number, entries: readonly Entry[], thresholds = ORDINARY_THRESHOLDS) =>
  whenAgain(board(entries), day(n), thresholds);
const rules = (n: number, ...more: Entry[]): Rule[] => {
  const again = at(n, [...CALIBRATED, ...more]);
  return again.verdict === 'now' ? again.reasons.map(({ rule }) => rule) : [];
};

it('says by when, and no more, where nothing speaks against a calibration', () => {
  const again = at(2, CALIBRATED);
  expect(again).toMatchObject({ verdict: 'not yet', by: '2031-09-11T10:00:00.000Z' });
  expect(againLine(again)).toBe('No need yet: calibrate again by 11 Sept 2031');
});

it('counts a season in months from when the coefficients were made, and says so a month ahead', () => {
  const six = at(160, CALIBRATED); // 17 August
  expect(six).toMatchObject({ verdict: 'soon', by: '2031-09-11T10:00:00.000Z' });
  expect(againLine(six)).toMatch(/^Calibrate again by 11 Sept 2031, because /);
  expect(rules(184)).toEqual([]);
  expect(rules(185)).toEqual(['season']);
  expect(at(32, CALIBRATED, { months: 1, degrees: 5 })).toMatchObject({
    verdict: 'now',
    reasons: [{ rule: 'season', when: day(1) }],
  });
});

it('ends a season on the last of a month that has no such day', () => {
  const last = [
    linked(0),
    fitted(1),
    staged(1),
    { ...sealed(1), time: '2031-08-31T10:00:00.000Z' },
  ];
  expect(at(1, last)).toMatchObject({ by: '2032-02-29T10:00:00.000Z' });
});

it('takes a reading much colder or warmer than the calibration for a reason, with which reading and when', () => {
  expect(rules(5, readingAt(4, 9))).toEqual([]); // five degrees below the coldest is within
  expect(rules(5, readingAt(4, 8.9))).toEqual(['temperature']);
  expect(rules(5, readingAt(4, 23.5))).toEqual(['temperature']);
  const again = at(5, [...CALIBRATED, readingAt(3, -3), readingAt(4, 24)]);
  expect(again.reasons[0]).toMatchObject({ when: day(3) }); // the farther of the two
  expect(again.reasons[0]?.evidence).toContain('14 to 18 °C; a reading was taken at −3 °C');
  expect(at(5, [...CALIBRATED, readingAt(4, -3)], { months: 6, degrees: 20 }).verdict).toBe(
    'not yet',
  );
});

it('lets only readings under the coefficients in force tell of temperature', () => {
  expect(rules(5, readingAt(4, -10, 0))).toEqual([]);
  expect(rules(9, readingAt(4, -10), fitted(8), staged(8, '0000000B'), sealed(8, 2, '0000000B'))).toEqual([]); // prettier-ignore
});

it('takes a knock and a change of battery for reasons, the knock first, with what was written', () => {
  const battery = entry(3, { kind: 'battery changed', id: 'b3' });
  expect(rules(5, battery, knock(4, { text: 'off the table' }))).toEqual(['knock', 'battery']);
  const again = at(5, [...CALIBRATED, knock(4, { text: 'off the table' })]);
  expect(again.reasons[0]).toMatchObject({ evidence: '“off the table”', when: day(4) });
  expect(againLine(again)).toBe('Calibrate again, because it was knocked or dropped');
});

it('counts a knock by the day it happened on, and not by when it was written down', () => {
  expect(rules(5, knock(4, { on: '2031-03-09' }))).toEqual([]); // before the calibration
  expect(rules(5, knock(4, { on: '2031-03-11' }))).toEqual(['knock']); // that day, told afterwards
  expect(rules(5, knock(4, { on: '2031-03-12' }))).toEqual(['knock']);
});

it('forgets a knock that was withdrawn, and one before the newest calibration', () => {
  expect(rules(5, knock(3), entry(4, { kind: 'remark withdrawn', of: 'k3' }))).toEqual([]);
  expect(rules(5, knock(3), staged(4, '0000000B'), sealed(4, 2, '0000000B'))).toEqual([]);
});

it('remembers a knock where coefficients made before it are put back on', () => {
  const newer = [knock(3), staged(4, '0000000B'), sealed(4, 2, '0000000B')];
  const chosen = entry(5, { kind: 'set chosen', calibration: 'c2', source: { generation: 1 } });
  const old = [chosen, { ...staged(6, '0000000A', ''), calibration: 'c2' } as Entry, sealed(6, 3)];
  expect(rules(7, ...newer, ...old)).toEqual(['knock']);
});

it('takes other firmware than that of the calibration for a reason, as long as it runs', () => {
  expect(rules(5, linked(4, '1.1'))).toEqual(['firmware']);
  expect(rules(6, linked(4, '1.1'), linked(5, '1.0'))).toEqual([]);
});

it('takes a proof that did not pass for a reason, until one passes', () => {
  expect(rules(3, proof(2, false))).toEqual(['failed proof']);
  expect(rules(4, proof(2, false), proof(3, true))).toEqual([]);
});

it('takes a check in the field that failed for a reason, until one of its kind is passed', () => {
  expect(rules(3, check(2, 'failed'))).toEqual(['failed check']);
  expect(rules(4, check(2, 'failed'), check(3, 'passed', 'loop'))).toEqual(['failed check']);
  expect(rules(4, check(2, 'failed'), check(3, 'passed'))).toEqual([]);
  expect(rules(3, check(2, 'failed', 'rolls', '0000000B'))).toEqual([]); // of other coefficients
});

it('leaves a check that failed standing where one after it settles nothing', () => {
  const unsettled = [check(2, 'failed'), check(3, 'not settled')];
  expect(rules(4, ...unsettled)).toEqual(['failed check']);
  expect(rules(5, ...unsettled, check(4, 'passed'))).toEqual([]);
  expect(rules(3, check(2, 'not settled'))).toEqual([]);
});

it('takes coefficients that went back, or were lost, for a reason', () => {
  const newer = [staged(2, '0000000B'), sealed(2, 2, '0000000B')];
  const back = entry(3, { kind: 'reverted', calibration: 'c1', generation: 3, crc: '0000000A' });
  expect(rules(4, ...newer, back)).toEqual(['reverted']);
  expect(rules(4, found(3))).toEqual(['lost']);
  expect(rules(4, found(3, { crc: '0000000C', generation: 7 }))).toEqual(['lost']);
  expect(rules(5, found(3), found(4, { crc: '0000000A', generation: 1 }))).toEqual([]);
});

it('does not take coefficients for lost that an answer which never came had sealed', () => {
  const late = [staged(2, '0000000B'), found(3, { crc: '0000000B', generation: 2 })];
  expect(rules(4, ...late, sealed(3, 2, '0000000B'))).toEqual([]);
});

it('knows a board without coefficients from one whose coefficients nobody here made', () => {
  expect(at(2, [linked(0), found(0)])).toMatchObject({ verdict: 'no coefficients' });
  const unknown = at(2, [linked(0), found(0, { crc: '0000000C', generation: 4 })]);
  expect(unknown).toMatchObject({ verdict: 'now', reasons: [{ rule: 'never', when: day(0) }] });
});

it('takes thresholds that make no sense for ordinary ones', () => {
  expect(thresholdsFrom(undefined)).toEqual(ORDINARY_THRESHOLDS);
  expect(thresholdsFrom({ months: 0, degrees: NaN })).toEqual(ORDINARY_THRESHOLDS);
  expect(thresholdsFrom({ months: 12, degrees: 'x' })).toEqual({ ...ORDINARY_THRESHOLDS, months: 12 }); // prettier-ignore
});
