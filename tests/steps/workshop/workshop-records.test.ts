import fc from 'fast-check';
import { expect, it } from 'vitest';
import type { Note } from '../../../src/records/papers.ts';
import type { KitFields, WorkshopNote } from '../../../src/records/workshop-notes.ts';
import { EMPTY_HISTORY } from '../../../src/steps/calibration-state.ts';
import { stageOf } from '../../../src/steps/workshop/kit-stage.ts';
import { kitRow, workshopNow, type KitRow } from '../../../src/steps/workshop/roster.ts';
import { foldWorkshop } from '../../../src/steps/workshop/workshop-records.ts';
import { someWorkshopNotes } from '../../records/some-notes.ts';

const minute = (n: number) => new Date(Date.UTC(2031, 4, 1, 9, n)).toISOString();

const note = (n: number, body: WorkshopNote): Note<WorkshopNote> => ({
  id: n.toString(16).padStart(32, '0'),
  paper: 'a'.repeat(32),
  of: 'workshop',
  time: minute(n === 0xffff ? 0 : n),
  body,
});

const opened = note(0xffff, {
  kind: 'workshop set out',
  name: 'Spring',
  place: 'The shed',
  day: '2031-05-01',
  tolerance: { degrees: 1, grade: '5' },
});
const added = (n: number, kit: string, fields: KitFields = {}) =>
  note(n, { kind: 'kit added', kit, ...fields });
const changed = (n: number, kit: string, from: KitFields, to: KitFields) =>
  note(n, { kind: 'kit changed', kit, from, to });

/** The roster where no board is known. */
function rosterOf(notes: readonly Note[]) {
  const records = foldWorkshop(notes)!;
  const row = (kit: (typeof records.kits)[number]) => kitRow(kit, {}, records);
  return workshopNow(records, records.kits.map(row), records.takenOff.map(row));
}

it('comes to the same roster from exports of several computers, in any order and brought in any number of times', () => {
  fc.assert(
    fc.property(
      someWorkshopNotes.chain((notes) =>
        fc.record({
          notes: fc.constant(notes),
          shuffled: fc.shuffledSubarray(notes, { minLength: notes.length }),
          again: fc.shuffledSubarray(notes),
        }),
      ),
      ({ notes, shuffled, again }) => {
        const once = rosterOf([opened, ...notes]);
        expect(rosterOf([...again, ...shuffled, opened, ...shuffled])).toEqual(once);
        // and every kit that was added is there, on the roster or off it, or is one with another
        const ids = new Set(
          notes.flatMap(({ body }) => (body.kind === 'kit added' ? [body.kit] : [])),
        );
        const there = [...once.kits, ...once.takenOff].flatMap(({ kit, alias }) => [kit, ...alias]);
        expect(there.sort()).toEqual([...ids].sort());
        // two of one serial number contradict each other, or are one; and both say so
        for (const one of once.kits) {
          const others = once.kits.filter(
            (each) => each !== one && one.serial !== '' && each.serial === one.serial,
          );
          expect(one.twins).toHaveLength(others.length);
          if (others.length > 0) expect(one.trouble).toContain('the same serial number as');
        }
      },
    ),
  );
});

it('keeps what two computers changed of different things of a kit', () => {
  const { kits } = rosterOf([
    opened,
    added(1, 'k1', { serial: 'B1' }),
    changed(2, 'k1', {}, { builder: 'Ann' }),
    changed(3, 'k1', {}, { place: '4' }),
  ]);
  expect(kits).toMatchObject([{ serial: 'B1', builder: 'Ann', place: '4', overruled: [] }]);
});

it('takes the later where two computers changed the same of a kit, and shows the other until somebody settles it', () => {
  const both = [
    opened,
    added(1, 'k1', { builder: 'A.' }),
    changed(2, 'k1', { builder: 'A.' }, { builder: 'Ann' }), // here
    changed(5, 'k1', { builder: 'A.' }, { builder: 'Anna' }), // there, without knowing
  ];
  expect(rosterOf(both).kits).toMatchObject([
    { builder: 'Anna', overruled: [{ field: 'builder', value: 'Ann', time: minute(2) }] },
  ]);
  const settled = changed(6, 'k1', { builder: 'Anna' }, { builder: 'Ann' });
  expect(rosterOf([...both, settled]).kits).toMatchObject([{ builder: 'Ann', overruled: [] }]);
  // one after the other, each knowing of the one before, is no such thing
  const inTurn = changed(5, 'k1', { builder: 'Ann' }, { builder: 'Anna' });
  expect(rosterOf([...both.slice(0, 3), inTurn]).kits).toMatchObject([{ overruled: [] }]);
  // nor is the same written twice
  const same = changed(5, 'k1', { builder: 'A.' }, { builder: 'Ann' });
  expect(rosterOf([...both.slice(0, 3), same]).kits).toMatchObject([{ overruled: [] }]);
});

it('has kits that come to have one serial number as one, in the place of the first', () => {
  const notes = [
    opened,
    added(1, 'here', { serial: 'B1', builder: 'Ann' }),
    added(2, 'other', { builder: 'Ben' }),
    added(3, 'there', { serial: ' B1 ', place: '3' }),
    note(4, { kind: 'workshop remark', kit: 'there', text: 'A cold joint' }),
  ];
  expect(rosterOf(notes).kits).toMatchObject([
    {
      kit: 'here',
      alias: ['there'],
      serial: 'B1',
      builder: 'Ann',
      place: '3',
      remarks: [{ text: 'A cold joint' }],
    },
    { kit: 'other' },
  ]);
  // one that turns out to be another after all is a kit of its own again
  const apart = changed(6, 'there', { serial: 'B1' }, { serial: 'B2' });
  expect(rosterOf([...notes, apart]).kits.map(({ serial }) => serial)).toEqual(['B1', '', 'B2']);
});

it('keeps both builders where two kits were given one serial number, and says so of both until it is settled', () => {
  const notes = [
    opened,
    added(1, 'k6', { builder: 'Fay', place: '6' }),
    added(2, 'k7', { builder: 'Gus', place: '7' }),
    changed(3, 'k7', {}, { serial: 'B1' }), // here
    changed(4, 'k6', {}, { serial: 'B1' }), // there, mistyped
    added(5, 'k8', { serial: 'B1', place: '8' }), // and again
    added(6, 'k9', { serial: 'B1', builder: 'Fay' }), // the same as the first
  ];
  const trouble = 'the same serial number as';
  const { kits, counts } = rosterOf(notes);
  expect(kits).toMatchObject([
    { builder: 'Fay', place: '6', alias: ['k9'], trouble: `${trouble} place 7 and place 8`, shape: 'bad' }, // prettier-ignore
    { builder: 'Gus', place: '7', alias: [], trouble: `${trouble} place 6 and place 8` },
    { place: '8', trouble: `${trouble} place 6 and place 7` },
  ]);
  expect(counts).toMatchObject({ kits: 3, trouble: 3 });
  // one that nobody named joins the first, and is his from then on
  const named = [opened, added(1, 'a', { serial: 'B1' }), added(2, 'b', { serial: 'B1', builder: 'Ann' }), added(3, 'c', { serial: 'B1', builder: 'Ben' })]; // prettier-ignore
  expect(rosterOf(named).kits).toMatchObject([{ builder: 'Ann', alias: ['b'] }, { builder: 'Ben', alias: [] }]); // prettier-ignore
  const settled = [
    changed(7, 'k6', { serial: 'B1' }, { serial: 'B2' }),
    changed(8, 'k9', { serial: 'B1' }, { serial: 'B2' }),
    note(9, { kind: 'kit taken off', kit: 'k8' }),
  ];
  const after = rosterOf([...notes, ...settled]);
  expect(after.kits.map(({ builder, trouble }) => [builder, trouble])).toEqual([
    ['Fay', undefined],
    ['Gus', undefined],
  ]);
});

it('has kits that are off as one too, and does not join them with one that is on', () => {
  const off = (n: number, kit: string) => note(n, { kind: 'kit taken off', kit });
  const notes = [
    opened,
    added(1, 'here', { serial: 'B1', builder: 'Ann' }),
    added(2, 'there', { serial: 'B1', place: '3' }),
    off(3, 'here'),
  ];
  expect(rosterOf(notes)).toMatchObject({
    kits: [{ kit: 'there', builder: '' }],
    takenOff: [{ kit: 'here', place: '' }],
  });
  expect(rosterOf([...notes, off(4, 'there')])).toMatchObject({
    kits: [],
    takenOff: [{ kit: 'here', alias: ['there'], builder: 'Ann', place: '3' }],
  });
});

it('takes a kit off and puts it back where it was, and knows none that nobody added', () => {
  const notes = [opened, added(1, 'k1'), added(2, 'k2'), changed(3, 'k9', {}, { place: '1' })];
  const off = note(4, { kind: 'kit taken off', kit: 'k1' });
  expect(rosterOf([...notes, off])).toMatchObject({
    kits: [{ kit: 'k2' }],
    takenOff: [{ kit: 'k1' }],
  });
  const back = note(5, { kind: 'kit put back', kit: 'k1' });
  const { kits, takenOff } = rosterOf([...notes, off, back]);
  expect(kits.map(({ kit }) => kit)).toEqual(['k1', 'k2']);
  expect(takenOff).toEqual([]);
});

it('shows a board that another computer saw as it stood there, by what was seen last', () => {
  const seen = (n: number, when: number, words: string): Note =>
    note(n, {
      kind: 'board seen',
      board: 'B1',
      seen: minute(when),
      stage: 'taking readings',
      words,
    });
  const notes = [opened, added(1, 'k1', { serial: 'B1' }), seen(2, 30, 'readings 31 of 56'), seen(3, 20, 'readings 4 of 56')]; // prettier-ignore
  expect(rosterOf(notes).kits).toMatchObject([
    {
      whereabouts: 'elsewhere',
      stage: { name: 'taking readings', words: 'readings 31 of 56' },
      asOf: minute(30),
    },
  ]);
  expect(rosterOf(notes.slice(0, 2)).kits).toMatchObject([
    { whereabouts: 'not seen', stage: { words: 'not linked yet', step: 0 }, shape: 'ahead' },
  ]);
});

it('counts no kit as proven that something speaks against, but does where only its link was lost since', () => {
  const records = foldWorkshop([opened, added(1, 'k1', { serial: 'B1' })])!;
  const [kit] = rosterOf([opened, added(1, 'k1', { serial: 'B1' })]).kits;
  const proven = { ...kit!, stage: stageOf('proven') };
  const result = { tolerance: { degrees: 1 }, judged: 'good' as const, azimuth: 0, inclination: 0, readings: 56 }; // prettier-ignore
  const count = (change: Partial<KitRow>) =>
    workshopNow(records, [{ ...proven, ...change }], []).counts.proven;
  expect(count({ result })).toBe(1);
  expect(count({ result, trouble: 'The link was lost' })).toBe(1);
  expect(count({ result: { ...result, judged: 'bad' } })).toBe(0);
  expect(count({ result: { ...result, against: 'a check in the field did not pass' } })).toBe(0);
  expect(count({})).toBe(1); // as another computer saw it, whose entries are not here
  expect(count({ trouble: 'a check in the field did not pass' })).toBe(0);
});

it('does not say of a board of this bench that it is elsewhere, whatever this bench itself noted of it', () => {
  const [here, there] = ['1'.repeat(32), '2'.repeat(32)];
  const seen = (n: number, bench: string): Note =>
    note(n, { kind: 'board seen', board: 'B1', bench, seen: minute(n), stage: 'linked', words: `at ${bench[0]}` }); // prettier-ignore
  const rowAt = (bench: string, notes: readonly Note[]) => {
    const records = foldWorkshop([opened, added(1, 'k1', { serial: 'B1' }), ...notes])!;
    return kitRow(records.kits[0]!, { here: bench }, records);
  };
  expect(rowAt(here, [seen(5, here)]).whereabouts).toBe('not seen');
  expect(rowAt(here, [seen(5, here), seen(3, there)])).toMatchObject({
    whereabouts: 'elsewhere',
    stage: { words: 'at 2' },
    asOf: minute(3),
    bench: there,
  });
  expect(rowAt(there, [seen(5, here), seen(3, there)])).toMatchObject({ stage: { words: 'at 1' } });
});

it('says by which check of the site a kit goes: that of its own board on the day, else the one for all', () => {
  const forAll = note(2, { kind: 'site checked for all', board: 'B9', checked: minute(1), verdict: 'clean' }); // prettier-ignore
  const notes = [opened, added(1, 'k1', { serial: 'B1' }), forAll];
  const own = (time: string) => {
    const records = foldWorkshop(notes)!;
    const newest = { time, spots: [], figures: [], verdict: 'clean' as const, blindTo: [] };
    const history = { ...EMPTY_HISTORY, site: { newest } };
    return kitRow(records.kits[0]!, { logged: { history, time } }, records).site;
  };
  expect(own(minute(5))).toBe('own');
  expect(own('2030-05-01T09:00:00.000Z')).toBe('for all');
  expect(rosterOf(notes)).toMatchObject({ kits: [{ site: 'for all' }], site: { board: 'B9' } });
  const back = rosterOf([...notes, note(3, { kind: 'site check taken back' })]);
  expect(back.kits[0]).not.toHaveProperty('site');
  expect(back).not.toHaveProperty('site');
});

it('is no workshop where nobody said what it is', () => {
  expect(foldWorkshop([])).toBeUndefined();
  expect(foldWorkshop([added(1, 'k1')])).toBeUndefined();
  expect(foldWorkshop([{ ...opened, of: 'course' }])).toBeUndefined();
});
