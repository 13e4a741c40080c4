import { beforeAll, describe, expect, it } from 'vitest';
import { applyCoefficients } from '../../../src/calib/model.ts';
import { degrees } from '../../../src/calib/geometry.ts';
import type { StoredSet } from '../../../src/protocol/board.ts';
import { setCrc } from '../../../src/protocol/messages.ts';
import type { Entry, StoredEntry } from '../../../src/records/entries.ts';
import { splitCsv } from '../../../src/records/rfc4180.ts';
import {
  changeSummary,
  readingsByGeneration,
  readingsUnder,
  readingsUnderCsv,
} from '../../../src/steps/logbook/readings-under.ts';
import {
  asChosen,
  coefficientsOfSet,
  setName,
  setsOfBoard,
} from '../../../src/steps/logbook/sets-of-board.ts';
import { BenchInProcess } from '../bench-in-process.ts';

/** What a board ran when, and what its readings become under another set: from the entries of real work at the bench. */

let entries: readonly StoredEntry[];
let ids: { first: string; second: string };

beforeAll(async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
  const first = setsOfBoard(await on.logbook()).sets[0]!;
  await on.ask('begin', 'take rest', 'fit');
  await on.run(
    on.place.mark({
      does: 'set aside',
      reading: on.calibration.readings[5]!.id,
      reason: 'It moved while it was taken',
    }),
  );
  await on.ask('fit', 'write', 'prove', 'end');
  const second = setsOfBoard(await on.logbook()).sets[0]!;
  await on.run(on.place.putOn(asChosen(first, 1.1), on.place.serial!));
  await on.ask('prove');
  entries = await on.logbook();
  ids = { first: first.id, second: second.id };
}, 60_000);

describe('the sets of a board', () => {
  it('are each there once, with every generation it was, whence it came, and its proofs', () => {
    const { sets, dip } = setsOfBoard(entries);
    expect(sets).toHaveLength(3);
    const [first, second, unsealed] = sets;
    expect(first).toMatchObject({ id: ids.first, generations: [1, 3], onBoard: 'in force' });
    expect(first!.events.map(({ kind }) => kind)).toEqual(['fitted', 'sealed', 'sealed']);
    expect(first!.proofs.map((proof) => [proof.generation, proof.passed])).toEqual([
      [1, true],
      [3, true],
    ]);
    expect(second).toMatchObject({ id: ids.second, generations: [2], onBoard: 'previous' });
    expect(unsealed!.generations).toEqual([]);
    expect(unsealed!.onBoard).toBeUndefined();
    expect(sets.map(setName)).toEqual([
      'Generations 1 and 3',
      'Generation 2',
      expect.stringMatching(/^A fit of .*, never sealed$/),
    ]);
    expect(dip).toBeCloseTo(entries.findLast((each) => each.kind === 'fit')!.dip, 12);
  });

  it('bear the CRC that the board said of them', () => {
    const saved = entries.flatMap((each) =>
      each.kind === 'coefficients saved' && each.inForce ? [each.inForce] : [],
    );
    expect(new Set(saved.map(({ crc }) => crc)).size).toBe(2);
    const { sets } = setsOfBoard(entries);
    for (const { crc, generation } of saved) {
      expect(sets.find((set) => set.crc === crc)!.generations).toContain(generation);
    }
  });

  it('are known too where they were only found on the board, entered, or gone back to', () => {
    const board = 'B';
    const at = (second: number) => ({ board, time: `2031-01-01T00:00:0${second}.000Z` });
    const stored = (offset: number, generation: number): StoredSet => {
      const values = [...[16384, 3000, offset, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1], 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1]; // prettier-ignore
      return { model: 'straight', values, generation, crc: setCrc({ model: 'straight', values }) };
    };
    const [a, b, c] = [stored(0, 4), stored(0.5, 3), stored(0.25, 0)];
    const all: Entry[] = [
      { ...at(1), kind: 'coefficients saved', inForce: a, previous: b },
      { ...at(2), kind: 'coefficients entered', set: c, crc: c.crc, name: 'Elsewhere', by: 'hand' },
      { ...at(3), calibration: 'x', kind: 'reverted', generation: 5, crc: b.crc, replaced: 4, known: 'answer' }, // prettier-ignore
    ];
    const { sets } = setsOfBoard(all);
    expect(sets.map(({ generations, onBoard, entered }) => ({ generations, onBoard, entered }))).toEqual([
      { generations: [3, 5], onBoard: 'in force', entered: undefined },
      { generations: [], onBoard: undefined, entered: 'Elsewhere' },
      { generations: [4], onBoard: 'previous', entered: undefined },
    ]); // prettier-ignore
    expect(setsOfBoard([]).sets).toEqual([]);
  });
});

describe('the readings of a board', () => {
  it('are grouped by the generation they carry, and computed again give what the board said', () => {
    const groups = readingsByGeneration(entries, setsOfBoard(entries).sets);
    expect(groups.map(({ generation }) => generation)).toEqual([3, 2, 1, 0]);
    const numbers = groups.flatMap(({ readings }) =>
      readings.map(({ reading }) => reading.reading),
    );
    expect(new Set(numbers).size).toBe(numbers.length);
    for (const { generation, set, agreement } of groups.filter((each) => each.generation > 0)) {
      expect(set!.generations).toContain(generation);
      expect(agreement!.agrees).toBe(true);
    }
    const [third, , , none] = groups;
    expect(third!.readings.map(({ takenFor }) => takenFor)).toEqual(Array(12).fill('proof'));
    expect(none!.set).toBeUndefined();
    expect(none!.words).toContain('no coefficients then');
  });

  it('are there once, and what they were taken for stays known, when they are found on the board again', () => {
    const taken = entries.flatMap((each) => (each.kind === 'proof reading' ? [each.reading] : []));
    const before = { ...taken[0]!, reading: 900, generation: 2 };
    const twice = { ...taken[1]!, reading: 900, generation: 2 }; // another with its number, as after a repair
    const memory = entries.find((each) => each.kind === 'memory saved')!;
    const found: Entry = { ...memory, readings: [...taken, before, twice] };
    const { sets } = setsOfBoard(entries);
    const groups = readingsByGeneration([...entries, found], sets);
    expect(groups[0]!.readings.map(({ takenFor }) => takenFor)).toEqual(Array(12).fill('proof'));
    const added = groups[1]!.readings.filter(({ reading }) => reading.reading === 900);
    expect(added.map(({ id, takenFor }) => [id, takenFor])).toEqual([
      ['900', 'found'],
      ['900 again 1', 'found'],
    ]);
  });

  it('are said not to fit where the board said other angles than its set gives', () => {
    const spoilt = entries.map((entry) =>
      entry.kind === 'proof reading' && entry.reading.generation === 2
        ? {
            ...entry,
            reading: { ...entry.reading, inclination: entry.reading.inclination! + 0.02 },
          }
        : entry,
    );
    const { sets } = setsOfBoard(spoilt);
    const group = readingsByGeneration(spoilt, sets).find(({ generation }) => generation === 2)!;
    expect(group.agreement!.agrees).toBe(false);
    expect(group.words).toMatch(/differ from what the board said by up to 0\.02\d°/);
  });

  it('are held against the nearest where two sets bore the number, as after a repair', () => {
    const { sets } = setsOfBoard(entries);
    const doubled = sets.map((set) => ({ ...set, generations: [1, 2, 3] }));
    const groups = readingsByGeneration(entries, doubled);
    expect(groups.map(({ set }) => set?.id)).toEqual([ids.first, ids.second, ids.first, undefined]);
    expect(groups.slice(0, 3).every(({ agreement }) => agreement!.agrees)).toBe(true);
  });

  it('become under another set what its coefficients make of the raw counts, with the change', () => {
    const { sets } = setsOfBoard(entries);
    const second = sets.find(({ id }) => id === ids.second)!;
    const [third] = readingsByGeneration(entries, sets);
    const rows = readingsUnder(third!.readings, coefficientsOfSet(second));
    const { reading } = third!.readings[0]!;
    const seen = applyCoefficients(coefficientsOfSet(second), reading.acc, reading.mag);
    expect(rows[0]!.seen).toEqual(seen);
    expect(rows[0]!.change.inclination).toBeCloseTo(
      degrees(seen.inclination!) - reading.inclination!,
      9,
    );
    const summary = changeSummary(rows);
    expect(summary.n).toBe(12);
    expect(summary.inclination.largest).toBeGreaterThan(0.001);
    expect(summary.inclination.rms).toBeLessThanOrEqual(summary.inclination.largest);
    // under their own set nothing changes but by the board's rounding
    const own = changeSummary(readingsUnder(third!.readings, coefficientsOfSet(third!.set!)));
    expect(own.azimuth.largest).toBeLessThan(0.01);
  });

  it('go out as CSV with the columns of “apply” first, empty where the board said nothing', () => {
    const { sets } = setsOfBoard(entries);
    const all = readingsByGeneration(entries, sets).flatMap(({ readings }) => readings);
    const csv = readingsUnderCsv('B "1"', { name: 'Generation 2', crc: '0A0A0A0A' }, readingsUnder(all, coefficientsOfSet(sets[0]!))); // prettier-ignore
    expect(csv).toMatch(/^# board=B%20%221%22 under=Generation%202 crc=0A0A0A0A\n/);
    const split = splitCsv(csv);
    if (!split.ok) throw new Error('it is no CSV');
    const rows = csv.trim().split('\n').slice(1).map((line) => line.split(',')); // prettier-ignore
    expect(rows[0]!.slice(0, 7).join()).toBe('id,azimuth,inclination,roll,gravity,field,dip');
    expect(rows).toHaveLength(all.length + 1);
    expect(rows.every((row) => row.length === rows[0]!.length)).toBe(true);
    const generation = rows[0]!.indexOf('generation');
    const change = rows[0]!.indexOf('change_azimuth');
    const before = rows.filter((row) => row[generation] === '0');
    expect(before.length).toBeGreaterThan(0);
    expect(before.every((row) => row[change] === '' && row[1] !== '')).toBe(true);
  });
});
