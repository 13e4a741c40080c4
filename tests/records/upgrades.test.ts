import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import type { Entry } from '../../src/records/entries.ts';
import { openLogbook, type Logbook } from '../../src/records/logbook.ts';
import { restore, saved, type SavedDatabase } from './saved/indexed-database.ts';

/** What versions left behind (saved/freeze.ts): one board calibrated to the end, one with five readings. */
const frozen = (version: number) =>
  JSON.parse(
    readFileSync(new URL(`saved/version-${version}.json`, import.meta.url), 'utf8'),
  ) as SavedDatabase;
const [version1, version2] = [frozen(1), frozen(2)];

const rowsOf = ({ stores }: SavedDatabase, store: string) =>
  stores.find(({ name }) => name === store)?.rows ?? [];

const entries1 = rowsOf(version1, 'entries') as [number, Entry][];

async function withSaved(version: SavedDatabase): Promise<IDBFactory> {
  const factory = new IDBFactory();
  await restore(factory, 'lodebench', version);
  return factory;
}
const withVersion1 = () => withSaved(version1);

async function opened(indexedDB: IDBFactory): Promise<Logbook> {
  const logbook = await openLogbook({ indexedDB });
  if (!logbook.ok) throw new Error(logbook.message);
  return logbook;
}

/** How many times the method is called while `work` runs, and the call at which it fails (none where that is 0). */
async function failing<T>(
  prototype: object,
  method: string,
  at: number,
  work: () => Promise<T>,
): Promise<{ calls: number; outcome: T }> {
  const plain = Object.getOwnPropertyDescriptor(prototype, method)!;
  let calls = 0;
  Object.defineProperty(prototype, method, {
    ...plain,
    value(this: unknown, ...how: unknown[]) {
      if (++calls === at) throw new DOMException('cut off', 'UnknownError');
      return (plain.value as (...how: unknown[]) => unknown).apply(this, how);
    },
  });
  try {
    return { outcome: await work(), calls };
  } finally {
    Object.defineProperty(prototype, method, plain);
  }
}

it('stands here with the work that was frozen: readings, fits, a seal and a proof', () => {
  const kinds = new Set(entries1.map(([, { kind }]) => kind));
  for (const kind of ['reading', 'fit', 'staged', 'sealed', 'proof reading', 'proof']) {
    expect(kinds).toContain(kind);
  }
  expect(version1.version).toBe(1);
  expect(entries1.length).toBeGreaterThan(150);
});

it('brings forward all that the first version kept, entry by entry and value by value', async () => {
  const factory = await withVersion1();
  const logbook = await opened(factory);
  const boards = await logbook.boards();
  expect(boards).toHaveLength(2);
  for (const board of boards) {
    const before = entries1.filter(([, entry]) => entry.board === board);
    expect(await logbook.entriesOfBoard(board)).toEqual(
      before.map(([number, entry]) => ({ ...entry, number })),
    );
  }
  logbook.close();
  const now = await saved(factory, 'lodebench');
  expect(rowsOf(now, 'entries')).toEqual(rowsOf(version1, 'entries'));
  expect(rowsOf(version1, 'kept').length).toBeGreaterThan(3);
  expect(rowsOf(now, 'kept')).toEqual(rowsOf(version1, 'kept'));
});

it('sums up each board from what the first version wrote', async () => {
  const logbook = await opened(await withVersion1());
  const of = (board: string) => entries1.filter(([, entry]) => entry.board === board);
  const [first, second] = await logbook.boardsInShort();
  const sealed = entries1.find(([, { kind }]) => kind === 'sealed')![1];
  const proof = entries1.find(([, { kind }]) => kind === 'proof')![1];
  const both = [first!, second!].sort((a, b) => b.entries - a.entries);
  expect(both[0]).toMatchObject({
    serial: sealed.board,
    name: 'Simulated board',
    hardware: 'simulated 1',
    entries: of(sealed.board).length,
    calibrations: 1,
    firstTime: of(sealed.board)[0]![1].time,
    lastTime: of(sealed.board).at(-1)![1].time,
    since: {
      firmware: { version: '1.0' },
      inForce: { time: sealed.time, generation: 1 },
    },
    proof: { time: proof.time, passed: true },
  });
  expect(both[1]).toMatchObject({ calibrations: 1, entries: of(both[1]!.serial).length });
  expect(both[1]!.since).not.toHaveProperty('inForce');
  expect(both[1]).not.toHaveProperty('proof');
});

it('goes on numbering where the first version stopped, under one bench id from then on', async () => {
  const factory = await withVersion1();
  const logbook = await opened(factory);
  const { bench } = logbook;
  expect(bench).toMatch(/^[0-9a-f]{32}$/);
  const last = entries1.at(-1)!;
  const note: Entry = { kind: 'note', board: last[1].board, time: last[1].time, text: 'knocked' };
  expect(await logbook.append(note)).toEqual({ ok: true, numbers: [last[0] + 1] });
  logbook.close();
  const again = await opened(factory);
  expect(again.bench).toBe(bench);
  expect((await again.entriesOfBoard(note.board)).at(-1)).toEqual({ ...note, number: last[0] + 1 });
  expect((await opened(await withVersion1())).bench).not.toBe(bench);
});

it('brings forward all that the second version kept, with its bench, its boards in short and room for notes', async () => {
  expect(version2.version).toBe(2);
  const factory = await withSaved(version2);
  const logbook = await opened(factory);
  expect(await logbook.boardsInShort()).toEqual(
    rowsOf(version2, 'boards').map(([, value]) => (value as { short: unknown }).short),
  );
  expect(logbook.bench).toBe(rowsOf(version2, 'about')[0]![1]);
  expect(await logbook.papers('workshop')).toEqual([]);
  const note = { id: 'a'.repeat(32), paper: 'b'.repeat(32), of: 'workshop' as const };
  const whole = { ...note, time: '2031-05-01T09:00:00.000Z', body: { kind: 'x' } };
  expect(await logbook.write(whole)).toEqual({ ok: true, added: 1, already: 0 });
  logbook.close();
  const now = await saved(factory, 'lodebench');
  expect(now.version).toBe(3);
  for (const store of ['entries', 'kept', 'boards', 'about']) {
    expect(rowsOf(now, store)).toEqual(rowsOf(version2, store));
  }
  expect(rowsOf(now, 'notes')).toEqual([[note.id, whole]]);
});

it('has the same stores and indexes whichever version it was brought forward from', async () => {
  const shapeFrom = async (factory: IDBFactory) => {
    (await opened(factory)).close();
    const { version, stores } = await saved(factory, 'lodebench');
    return { version, stores: stores.map(({ rows: _, ...store }) => store) };
  };
  const anew = await shapeFrom(new IDBFactory());
  expect(anew.stores.map(({ name }) => name)).toContain('notes');
  for (const version of [version1, version2]) {
    expect(await shapeFrom(await withSaved(version))).toEqual(anew);
  }
});

it('leaves the second version whole where the upgrade is cut off, and makes it at the next opening', async () => {
  for (const [prototype, method, calls] of [
    [IDBDatabase.prototype, 'createObjectStore', 1],
    [IDBObjectStore.prototype, 'createIndex', 2],
  ] as const) {
    for (let call = 1; call <= calls; call++) {
      const factory = await withSaved(version2);
      const { outcome } = await failing(prototype, method, call, () =>
        openLogbook({ indexedDB: factory }),
      );
      expect(outcome.ok).toBe(false);
      expect(await saved(factory, 'lodebench')).toEqual(version2);
      expect(await (await opened(factory)).boardsInShort()).toHaveLength(2);
    }
  }
});

it('leaves the first version whole where the upgrade is cut off, at whatever step, and makes it at the next opening', async () => {
  const steps = [
    [IDBDatabase.prototype, 'createObjectStore'],
    [IDBObjectStore.prototype, 'add'],
    [IDBObjectStore.prototype, 'createIndex'],
    [IDBCursor.prototype, 'continue'],
  ] as const;
  for (const [prototype, method] of steps) {
    const whole = await withVersion1();
    const { calls } = await failing(prototype, method, 0, async () =>
      (await opened(whole)).close(),
    );
    expect(calls).toBeGreaterThan(0);
    // every step of the few, and of the many entries the first, one in the middle, and the last
    const at = new Set(calls < 10 ? Array.from({ length: calls }, (_, i) => i + 1) : [1, calls >> 1, calls]); // prettier-ignore
    for (const call of at) {
      const factory = await withVersion1();
      const { outcome } = await failing(prototype, method, call, () =>
        openLogbook({ indexedDB: factory }),
      );
      expect(outcome.ok).toBe(false);
      expect(await saved(factory, 'lodebench')).toEqual(version1);
      expect(await (await opened(factory)).boardsInShort()).toHaveLength(2);
    }
  }
});

it('does not touch a database from a newer version, though its stores have our names', async () => {
  const newer: SavedDatabase = {
    version: 99,
    stores: [
      {
        name: 'boards',
        keyPath: 'serial',
        autoIncrement: false,
        indexes: [{ name: 'from', keyPath: 'from', unique: false }],
        rows: [['B1', { serial: 'B1', from: 'the future' }]],
      },
      { ...version1.stores[0]!, rows: [[7, { kind: 'of the future', board: 'B1' }]] },
    ],
  };
  const factory = new IDBFactory();
  await restore(factory, 'lodebench', newer);
  const before = await saved(factory, 'lodebench');
  expect(before).toEqual(newer); // nothing was lost in looking
  const refused = await openLogbook({ indexedDB: factory });
  expect(refused).toMatchObject({ ok: false, cause: 'newer_version' });
  expect(!refused.ok && refused.message).toMatch(/newer version.*not touched/);
  expect(await saved(factory, 'lodebench')).toEqual(before);
});
