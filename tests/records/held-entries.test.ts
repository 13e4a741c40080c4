import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { Entry, StoredEntry } from '../../src/records/entries.ts';
import { HeldEntries } from '../../src/records/held-entries.ts';
import { openLogbook, type Logbook } from '../../src/records/logbook.ts';
import { without } from '../../src/steps/copy-without.ts';

/** The disk under every database of these tests: while it is full, whatever is written to it fails as in a browser. */
const plain = { add: IDBObjectStore.prototype.add, put: IDBObjectStore.prototype.put };
let isFull = false;
const write = (method: 'add' | 'put') =>
  function (this: IDBObjectStore, value: unknown, key?: IDBValidKey) {
    if (isFull) throw new DOMException('full', 'QuotaExceededError');
    return plain[method].call(this, value, key);
  };

let indexedDB: IDBFactory;
beforeEach(() => {
  indexedDB = new IDBFactory();
  isFull = false;
  IDBObjectStore.prototype.add = write('add');
  IDBObjectStore.prototype.put = write('put');
});
afterEach(() => {
  Object.assign(IDBObjectStore.prototype, plain);
});

/** What is on disk, as a page that is opened anew sees it. */
async function disk(): Promise<Logbook> {
  const logbook = await openLogbook({ indexedDB });
  if (!logbook.ok) throw new Error(logbook.message);
  return logbook;
}

const opened = async () => new HeldEntries(await disk());

const minute = (n: number) => new Date(Date.UTC(2031, 4, 1, 9, n)).toISOString();
let clock = 0;
const happening = (board = 'B1') => ({ board, time: minute(clock++) });
const aside = (reading: string, calibration = 'c1'): Entry => ({
  ...happening(),
  kind: 'set aside',
  calibration,
  reading,
  reason: 'the field was disturbed',
  by: 'person',
});
const note = (text: string, board?: string): Entry => ({ ...happening(board), kind: 'note', text });
const eraseBegun = (): Entry => ({ ...happening(), kind: 'erase begun', through: 7, count: 7 });

const asWritten = (entries: readonly StoredEntry[]) =>
  entries.map((entry) => without(entry, 'number'));

it('goes on in memory where the disk is full, in order, and reads as if it were on disk', async () => {
  const logbook = await opened();
  const entries = [note('a'), aside('1'), aside('2', 'c2'), note('b', 'B0'), aside('3')];
  expect(await logbook.append(entries[0]!)).toEqual({ ok: true, numbers: [1] });
  isFull = true;
  expect(await logbook.append(entries[1]!, entries[2]!)).toEqual({ ok: true, numbers: [2, 3] });
  expect(await logbook.append(entries[3]!)).toEqual({ ok: true, numbers: [4] });
  expect(await logbook.append(entries[4]!)).toEqual({ ok: true, numbers: [5] });
  expect(asWritten(logbook.held)).toEqual(entries.slice(1));
  const numbered = entries.map((entry, i) => ({ ...entry, number: i + 1 }));
  const of = (test: (entry: Entry) => boolean) => numbered.filter(test);
  expect(await logbook.entriesOfBoard('B1')).toEqual(of(({ board }) => board === 'B1'));
  expect(await logbook.boards()).toEqual(['B0', 'B1']);
  expect((await logbook.boardsInShort()).map(({ serial, entries }) => [serial, entries])).toEqual([
    ['B0', 1],
    ['B1', 4],
  ]);
  const batches: StoredEntry[] = [];
  for await (const batch of logbook.batches()) batches.push(...batch);
  expect(batches).toEqual(numbered);
  expect(await (await disk()).entriesOfBoard('B1')).toHaveLength(1);
});

it('writes what was held before anything newer, as soon as there is room', async () => {
  const logbook = await opened();
  const entries = [note('a'), aside('1'), aside('2'), aside('3')];
  await logbook.append(entries[0]!);
  isFull = true;
  await logbook.append(entries[1]!);
  await logbook.append(entries[2]!);
  isFull = false;
  expect(await logbook.append(entries[3]!)).toEqual({ ok: true, numbers: [4] });
  expect(logbook.held).toEqual([]);
  expect(logbook.isHolding).toBe(false);
  const after = await disk();
  expect(asWritten(await after.entriesOfBoard('B1'))).toEqual(entries);
  expect(await after.boardsInShort()).toMatchObject([{ serial: 'B1', entries: 4 }]);
});

it('keeps the order of entries that are written at once while the disk fills up and empties', async () => {
  const logbook = await opened();
  const entries = Array.from({ length: 12 }, (_, i) => aside(`${i}`));
  const done = entries.map((entry, i) =>
    logbook.append(entry).finally(() => {
      isFull = i >= 2 && i < 7;
    }),
  );
  const outcomes = await Promise.all(done);
  expect(outcomes.map((each) => each.ok && each.numbers)).toEqual(entries.map((_, i) => [i + 1]));
  expect(asWritten(await (await disk()).entriesOfBoard('B1'))).toEqual(entries);
});

it('refuses what stands before a change of the board while anything is only in memory, and says why', async () => {
  const logbook = await opened();
  isFull = true;
  expect(await logbook.append(eraseBegun())).toMatchObject({ ok: false, cause: 'quota' });
  expect(logbook.held).toEqual([]);
  await logbook.append(aside('1'));
  for (const entry of [
    eraseBegun(),
    { ...eraseBegun(), kind: 'erased' },
    { ...happening(), kind: 'seal begun', calibration: 'c1', replaces: 1, crc: '00000000' },
    { ...happening(), kind: 'update swap begun' },
  ] as Entry[]) {
    const refused = await logbook.append(note('with it'), entry);
    expect(refused).toMatchObject({ ok: false, cause: 'quota' });
    expect(!refused.ok && refused.message).toMatch(/Nothing was changed.*One entry is only in/);
  }
  expect(logbook.held).toHaveLength(1);
  isFull = false;
  expect(await logbook.append(eraseBegun())).toEqual({ ok: true, numbers: [2] });
  expect(logbook.held).toEqual([]);
});

it('holds nothing where the fault is another than a full disk', async () => {
  const logbook = await opened();
  logbook.close();
  expect(await logbook.append(aside('1'))).toMatchObject({ ok: false, cause: 'closed' });
  expect(logbook.held).toEqual([]);
});

it('gives held entries the numbers they get on disk, so that a file of them adds nothing twice', async () => {
  const logbook = await opened();
  await logbook.append(note('a'));
  isFull = true;
  await logbook.append(aside('1'), aside('2'));
  const { bench } = logbook;
  const file = logbook.held.map(({ number, ...entry }) => ({ bench, number, entry }));
  isFull = false;
  // the page was closed: only the file has them
  expect(await (await opened()).merge(file)).toEqual({ ok: true, added: 2, already: 0 });
  // it was not closed after all
  expect(await logbook.append(aside('3'))).toEqual({ ok: true, numbers: [4] });
  expect(await logbook.merge(file)).toEqual({ ok: true, added: 0, already: 2 });
  expect(await (await disk()).entriesOfBoard('B1')).toHaveLength(4);
});

it('reads held entries after those of another bench by the same rule as on disk', async () => {
  const logbook = await opened();
  const [mine, theirs] = [note('mine'), note('theirs, later')];
  await logbook.merge([{ bench: 'f', number: 1, entry: theirs }]);
  isFull = true;
  await logbook.append(mine);
  const held = await logbook.entriesOfBoard('B1');
  expect(held.map((entry) => entry.kind === 'note' && entry.text)).toEqual([
    'mine',
    'theirs, later',
  ]);
  isFull = false;
  await logbook.append(note('last'));
  expect((await logbook.entriesOfBoard('B1')).slice(0, 2)).toEqual(held);
});

it('sums up a board that has held entries as it will be on disk, whether another page brought in others or these', async () => {
  const sealed = (generation: number): Entry => ({
    ...happening(),
    ...{ kind: 'sealed', calibration: 'c1', generation, replaced: 0 },
    ...{ crc: `0000000${generation}`, known: 'answer' },
  });
  for (const areOnDisk of [false, true]) {
    indexedDB = new IDBFactory();
    const logbook = await opened();
    await logbook.append(note('a'));
    const [mine, theirs] = [sealed(1), sealed(2)];
    isFull = true;
    await logbook.append(mine);
    isFull = false;
    const { bench } = logbook;
    const file = logbook.held.map(({ number, ...entry }) => ({ bench, number, entry }));
    const other = { bench: 'f', number: 1, entry: theirs };
    await (await disk()).merge([other, ...(areOnDisk ? file : [])]);
    const short = await logbook.boardsInShort();
    expect(short).toMatchObject([{ entries: 3, since: { inForce: { generation: 2 } } }]);
    await logbook.merge([]); // puts down what is held
    expect(await (await disk()).boardsInShort()).toEqual(short);
  }
});

it('gives held entries in batches once, whether another page brought in others or these', async () => {
  for (const areOnDisk of [false, true]) {
    indexedDB = new IDBFactory();
    const logbook = await opened();
    await logbook.append(note('a'));
    isFull = true;
    await logbook.append(aside('1'), note('b', 'B0'));
    isFull = false;
    const { bench } = logbook;
    const file = logbook.held.map(({ number, ...entry }) => ({ bench, number, entry }));
    const others = [1, 2, 3].map((number) => ({ bench: 'f', number, entry: note(`f ${number}`) }));
    expect(await (await disk()).merge([...others, ...(areOnDisk ? file : [])])).toMatchObject({ ok: true }); // prettier-ignore
    const own = async (board?: string) => {
      const all: StoredEntry[] = [];
      for await (const batch of logbook.batches(board)) all.push(...batch);
      return all.filter(({ foreign }) => !foreign).map(({ number, kind }) => `${number} ${kind}`);
    };
    expect((await own()).sort()).toEqual(['1 note', '2 set aside', '3 note']);
    expect(await own('B0')).toEqual(['3 note']);
  }
});

it('holds the newest of each kept value, and writes it when there is room', async () => {
  const logbook = await opened();
  await logbook.keep('memory', 1);
  isFull = true;
  expect(await logbook.keep('memory', 2)).toEqual({ ok: true });
  expect(await logbook.keep('memory', 3)).toEqual({ ok: true });
  expect(logbook.isHolding).toBe(true);
  expect(await logbook.kept('memory')).toBe(3);
  expect(await (await disk()).kept('memory')).toBe(1);
  isFull = false;
  await logbook.append(note('a'));
  await logbook.keep('other', 0); // goes in turn after those that were held
  expect(logbook.isHolding).toBe(false);
  expect(await (await disk()).kept('memory')).toBe(3);
});

it('does not overwrite a newer value with one that was held', async () => {
  const logbook = await opened();
  isFull = true;
  await logbook.keep('memory', 'held');
  isFull = false;
  await Promise.all([logbook.append(note('a')), logbook.keep('memory', 'newer')]);
  await logbook.keep('other', 0);
  expect(await logbook.kept('memory')).toBe('newer');
  expect(await (await disk()).kept('memory')).toBe('newer');
});

it('tells that nothing is held any more where a newer value went to disk', async () => {
  const logbook = await opened();
  isFull = true;
  await logbook.keep('memory', 'held');
  isFull = false;
  const told: boolean[] = [];
  logbook.subscribe(() => told.push(logbook.isHolding));
  await logbook.keep('memory', 'newer');
  await logbook.keep('memory', 'newest');
  expect(told).toEqual([false]);
});

it('tells of every write, and of what it added', async () => {
  const logbook = await opened();
  const told: string[] = [];
  const stop = logbook.subscribe((written) =>
    told.push(`${written.map(({ kind }) => kind).join()} ${logbook.held.length}`),
  );
  await logbook.append(note('a'));
  isFull = true;
  await logbook.append(aside('1'));
  await logbook.append(eraseBegun());
  isFull = false;
  await logbook.append(note('b'));
  stop();
  await logbook.append(note('c'));
  expect(told).toEqual(['note 0', 'set aside 1', ' 1', ' 0', 'note 0']);
});
