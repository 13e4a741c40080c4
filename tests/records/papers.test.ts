import 'fake-indexeddb/auto';
import fc from 'fast-check';
import { IDBFactory } from 'fake-indexeddb';
import { expect, it } from 'vitest';
import { HeldEntries } from '../../src/records/held-entries.ts';
import { openLogbook, type Logbook } from '../../src/records/logbook.ts';
import {
  inNoteOrder,
  papersInShort,
  randomId,
  timeAfter,
  type Note,
} from '../../src/records/papers.ts';

async function opened(indexedDB = new IDBFactory()): Promise<Logbook> {
  const logbook = await openLogbook({ indexedDB });
  if (!logbook.ok) throw new Error(logbook.message);
  return logbook;
}

const minute = (n: number) => new Date(Date.UTC(2031, 4, 1, 9, n)).toISOString();

const note = (n: number, { paper = 'a', of = 'workshop' as Note['of'], body = {} } = {}): Note => ({
  id: n.toString(16).padStart(32, '0'),
  paper: paper.repeat(32),
  of,
  time: minute(n),
  body: { kind: 'remark', text: `note ${n}`, ...body },
});

const someNotes = fc
  .array(
    fc.record({
      n: fc.nat(30),
      paper: fc.constantFrom('a', 'b', 'c'),
      time: fc.nat(5),
      name: fc.option(fc.string({ maxLength: 3 })),
    }),
    { maxLength: 25 },
  )
  .map((all) => {
    // the same id is the same note everywhere
    const notes = new Map(
      all.map(({ n, paper, time, name }) => [
        n,
        {
          ...note(n, {
            paper,
            of: paper === 'c' ? 'course' : 'workshop',
            body: name === null ? {} : { name },
          }),
          time: minute(time),
        },
      ]),
    );
    return all.map(({ n }) => notes.get(n)!);
  });

it('keeps notes of each paper in an order that follows from them alone, whatever the order and number of writings', async () => {
  await fc.assert(
    fc.asyncProperty(someNotes, fc.infiniteStream(fc.nat(3)), async (notes, sizes) => {
      const [one, other] = [await opened(), await opened()];
      const unique = [...new Map(notes.map((each) => [each.id, each])).values()];
      expect(await one.write(...notes)).toEqual({
        ok: true,
        added: unique.length,
        already: notes.length - unique.length,
      });
      const back = [...notes].reverse();
      for (let at = 0; at < back.length;) {
        const size = 1 + sizes.next().value;
        await other.merge([], back.slice(at, at + size));
        at += size;
      }
      await other.merge([], notes);
      for (const paper of ['a', 'b', 'c'].map((letter) => letter.repeat(32))) {
        const own = inNoteOrder(unique.filter((each) => each.paper === paper));
        expect(await one.notesOf(paper)).toEqual(own);
        expect(await other.notesOf(paper)).toEqual(own);
      }
      for (const of of ['workshop', 'course'] as const) {
        const papers = await one.papers(of);
        expect(await other.papers(of)).toEqual(papers);
        expect(papers).toEqual(papersInShort(unique.filter((each) => each.of === of)));
      }
    }),
    { numRuns: 15 },
  );
});

it('says of a paper its newest name, how many notes it has, and from when they are', async () => {
  const logbook = await opened();
  const named = [
    note(1, { body: { name: 'Spring' } }),
    note(3, { body: { name: 'Spring course' } }),
    note(2, { body: { name: 'Sprong' } }),
    note(4),
  ];
  await logbook.write(...named, note(5, { paper: 'b', of: 'course' }));
  expect(await logbook.papers('workshop')).toEqual([
    {
      paper: 'a'.repeat(32),
      of: 'workshop',
      name: 'Spring course',
      notes: 4,
      firstTime: minute(1),
      lastTime: minute(4),
    },
  ]);
  expect(await logbook.papers('course')).toMatchObject([{ notes: 1 }]);
});

it('keeps notes over a closing and opening, and none of a writing that fails', async () => {
  const factory = new IDBFactory();
  const logbook = await opened(factory);
  await logbook.write(note(1));
  const uncloneable = { ...note(2), body: { kind: 'remark', text: () => '' } };
  expect(await logbook.write(note(3), uncloneable)).toMatchObject({ ok: false, cause: 'failed' });
  expect(await logbook.merge([], [note(3), uncloneable])).toMatchObject({ ok: false });
  logbook.close();
  expect(await (await opened(factory)).notesOf('a'.repeat(32))).toEqual([note(1)]);
});

it('brings in entries and notes together, all of both or none', async () => {
  const logbook = await opened();
  const entry = { kind: 'note', board: 'B1', time: minute(1), text: 'dropped' } as const;
  const bench = 'f'.repeat(32);
  const bad = { bench, number: 0, entry };
  expect(await logbook.merge([bad], [note(1)])).toMatchObject({ ok: false });
  expect(await logbook.notesOf('a'.repeat(32))).toEqual([]);
  const good = { bench, number: 1, entry };
  expect(await logbook.merge([good], [note(1), note(2)])).toEqual({
    ok: true,
    added: 1,
    already: 0,
    notes: { added: 2, already: 0 },
  });
  expect(await logbook.merge([good], [note(2), note(3)])).toEqual({
    ok: true,
    added: 0,
    already: 1,
    notes: { added: 1, already: 1 },
  });
});

it('reads a note that was written in answer to another after it, though the clock here is behind', () => {
  fc.assert(
    fc.property(fc.array(fc.integer({ min: -1000, max: 1000 }), { maxLength: 5 }), (minutes) => {
      const there = minutes.map((n, i) => ({ ...note(i), time: minute(n) }));
      const here = { id: '0'.repeat(32), paper: '', of: 'workshop' as const, body: {} };
      const answer = { ...here, time: timeAfter(there, new Date(minute(0))) };
      expect(inNoteOrder([answer, ...there]).at(-1)).toBe(answer);
      expect(Date.parse(answer.time)).toBeGreaterThanOrEqual(Date.parse(minute(0)));
    }),
  );
  expect(timeAfter([], new Date(minute(7)))).toBe(minute(7));
});

it('gives no two ids alike', () => {
  const ids = Array.from({ length: 100 }, randomId);
  expect(new Set(ids).size).toBe(100);
  for (const id of ids) expect(id).toMatch(/^[0-9a-f]{32}$/);
});

/** A disk that is full while `full` says so. */
class FullDisk {
  full = true;
  constructor(readonly logbook: Logbook) {}
  get held(): HeldEntries {
    const quota = { ok: false, cause: 'quota', message: 'There is no room.' } as const;
    const { logbook } = this;
    const spoilt = new Proxy(logbook, {
      get: (_, name) => {
        const value = Reflect.get(logbook, name) as unknown;
        if (typeof value !== 'function') return value;
        if (this.full && ['append', 'merge', 'write'].includes(String(name)))
          return async () => quota;
        return (value as (...how: unknown[]) => unknown).bind(logbook);
      },
    });
    return new HeldEntries(spoilt);
  }
}

it('holds notes in memory while the disk is full, reads them as if they were there, and puts them down later', async () => {
  const disk = new FullDisk(await opened());
  await disk.logbook.write(note(1), note(9, { paper: 'b', body: { name: 'Other' } }));
  const held = disk.held;
  expect(await held.write(note(1), note(3), note(2), note(3))).toEqual({
    ok: true,
    added: 2,
    already: 2,
  });
  expect(await held.append({ kind: 'note', board: 'B1', time: minute(4), text: '' })).toMatchObject({ ok: true }); // prettier-ignore
  expect(held.heldNotes).toHaveLength(2);
  expect(held.isHolding).toBe(true);
  expect(await disk.logbook.notesOf('a'.repeat(32))).toEqual([note(1)]);
  expect(await held.notesOf('a'.repeat(32))).toEqual([note(1), note(2), note(3)]);
  expect(await held.papers('workshop')).toMatchObject([{ notes: 3 }, { name: 'Other', notes: 1 }]);
  disk.full = false;
  await held.write(note(4));
  expect(held.isHolding).toBe(false);
  expect(await disk.logbook.notesOf('a'.repeat(32))).toEqual([1, 2, 3, 4].map((n) => note(n)));
  expect(await disk.logbook.entriesOfBoard('B1')).toHaveLength(1);
  expect(await held.papers('workshop')).toEqual(await disk.logbook.papers('workshop'));
});
