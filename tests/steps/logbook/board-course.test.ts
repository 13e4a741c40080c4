import { expect, it } from 'vitest';
import type { StoredEntry } from '../../../src/records/entries.ts';
import { courseOf } from '../../../src/steps/logbook/board-course.ts';

const minute = (n: number) => new Date(Date.UTC(2031, 2, 10, 10, n)).toISOString();
let number = 0;
const entry = (n: number, more: object) =>
  ({ board: 'B1', time: minute(n), number: ++number, ...more }) as StoredEntry;
const linked = (n: number, firmware = '1.0') =>
  entry(n, { kind: 'board linked', identity: { name: '', hardware: 'h1', firmware } });
const found = (n: number, crc?: string, generation = 1) =>
  entry(n, {
    kind: 'coefficients saved',
    ...(crc && { inForce: { crc, generation, model: 'straight' } }),
  });
const saved = (n: number, ...numbers: number[]) =>
  entry(n, { kind: 'memory saved', readings: numbers.map((reading) => ({ reading })) });
const titles = (entries: readonly StoredEntry[]) => courseOf(entries).map(({ title }) => title);

it('tells the newest first, and nothing of a link that brought nothing new', () => {
  expect(titles([linked(1), linked(2), linked(3, '1.1'), entry(4, { kind: 'renamed', to: 'Anvil' })])).toEqual(['Renamed', 'Firmware changed', 'Linked here for the first time']); // prettier-ignore
});

it('tells of a memory once, however many parts it was saved in', () => {
  const course = courseOf([saved(1, 1, 2), saved(1, 3), saved(2), linked(3), saved(4, 4)]);
  expect(course.map(({ title, words }) => [title, ...words])).toEqual([
    ['Readings saved from its memory', 'One reading.'],
    ['Linked here for the first time', 'Hardware h1, firmware 1.0.'],
    ['Readings saved from its memory', '3 readings.'],
  ]);
});

it('raises no alarm at coefficients that a seal whose answer was lost had put in force', () => {
  const begun = entry(2, { kind: 'seal begun', calibration: 'c1', replaces: 1, crc: 'B' });
  const sealed = entry(4, { kind: 'sealed', calibration: 'c1', generation: 2, crc: 'B', replaced: 1 }); // prettier-ignore
  const before = [found(1, 'A'), begun, found(3, 'B', 2), sealed, found(4, 'B', 2)];
  expect(titles(before)).toEqual(['Sealed as generation 2', 'Coefficients found on it']);
  expect(titles([...before, found(5, 'C', 7)])[0]).toBe('Other coefficients found on it');
  expect(titles([...before, found(5)])[0]).toBe('Coefficients lost');
});

it('puts a knock on the day it happened, and shows that it was taken back', () => {
  const knock = entry(3, { kind: 'knocked', id: 'k', on: '2031-03-01', text: 'off the table' });
  const told = [linked(1), entry(2, { kind: 'note', id: 'n', text: 'lent out' }), knock];
  const course = courseOf(told);
  expect(course.map(({ title }) => title)).toEqual(['Note', 'Linked here for the first time', 'Knocked or dropped']); // prettier-ignore
  expect(course[2]).toMatchObject({ when: '2031-03-01', remark: 'k' });
  const withdrawn = courseOf([...told, entry(4, { kind: 'remark withdrawn', of: 'k' })])[2];
  expect(withdrawn).toMatchObject({ withdrawn: true });
  expect(withdrawn).not.toHaveProperty('remark'); // it cannot be taken back twice
});

it('says of a calibration how many readings it has and how many are set aside', () => {
  const plan = {
    name: 'cube',
    sightings: [{ sighting: '1', rolls: [0, 90] }],
    azimuths: 'relative',
  };
  const own = (n: number, more: object) => entry(n, { calibration: 'c1', ...more });
  const [told] = courseOf([
    linked(1),
    own(2, { kind: 'calibration started', plan }),
    own(3, { kind: 'reading', id: 'a', reading: { reading: 1 } }),
    own(4, { kind: 'reading', id: 'b', reading: { reading: 2 } }),
    own(5, { kind: 'set aside', reading: 'b', reason: 'it moved', by: 'person' }),
  ]);
  expect(told).toMatchObject({ title: 'Calibration', calibration: 'c1', mark: 'plain' });
  expect(told?.words).toEqual(['2 readings for the 2 attitudes of the cube plan, 1 set aside.']);
});
