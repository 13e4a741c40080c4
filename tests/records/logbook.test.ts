import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { beforeEach, expect, it } from 'vitest';
import type { Entry } from '../../src/records/entries.ts';
import { LogbookError, openLogbook, type Logbook } from '../../src/records/logbook.ts';

let indexedDB: IDBFactory;
beforeEach(() => {
  indexedDB = new IDBFactory();
});

async function opened(name?: string): Promise<Logbook> {
  const logbook = await openLogbook({ indexedDB, ...(name && { name }) });
  if (!logbook.ok) throw new Error(logbook.message);
  return logbook;
}

const time = '2031-05-01T09:00:00.000Z';
const note = (board: string, text: string, calibration?: string): Entry => ({
  kind: 'note',
  board,
  time,
  text,
  ...(calibration && { calibration }),
});
const aside = (reading: string): Entry => ({
  kind: 'set aside',
  board: 'B1',
  calibration: 'c1',
  time,
  reading,
  reason: 'the field was disturbed',
  by: 'person',
});

it('gives entries back in the order of writing, numbered, after the logbook was closed and opened again', async () => {
  const before = await opened();
  expect(await before.append(aside('7'))).toEqual({ ok: true, numbers: [1] });
  expect(await before.append(aside('3'), aside('5'))).toEqual({ ok: true, numbers: [2, 3] });
  before.close();
  const after = await opened();
  expect(await after.entriesOfBoard('B1')).toEqual([
    { ...aside('7'), number: 1 },
    { ...aside('3'), number: 2 },
    { ...aside('5'), number: 3 },
  ]);
});

it('keeps boards apart', async () => {
  const logbook = await opened();
  await logbook.append(
    note('B2', 'linked'),
    note('B1', 'first', 'z'),
    note('B1', 'second', 'a'),
    note('B1', 'first again', 'z'),
    note('B1', 'of no calibration'),
    note('B10', 'another board', 'm'),
  );
  expect(await logbook.boards()).toEqual(['B1', 'B10', 'B2']);
  expect(await logbook.entriesOfBoard('B1')).toHaveLength(4);
  expect(await logbook.entriesOfBoard('unknown')).toEqual([]);
});

it('has an entry on disk once append resolves: a second connection sees it at once', async () => {
  const [one, two] = [await opened(), await opened()];
  await one.append(aside('7'));
  expect(await two.entriesOfBoard('B1')).toHaveLength(1);
});

it('asks the database for strict durability', async () => {
  const asked: unknown[] = [];
  const plain = IDBDatabase.prototype.transaction;
  IDBDatabase.prototype.transaction = function (stores, mode, options) {
    if (mode === 'readwrite') asked.push(options?.durability);
    return plain.call(this, stores, mode, options);
  };
  try {
    const logbook = await opened();
    await logbook.append(aside('7'));
    await logbook.keep('x', 1);
  } finally {
    IDBDatabase.prototype.transaction = plain;
  }
  expect(asked).toEqual(['strict', 'strict']);
});

it('writes all of several entries or none, when one of them cannot be written', async () => {
  const logbook = await opened();
  const broken = { ...aside('8'), reason: () => 'not data' } as unknown as Entry;
  expect(await logbook.append(aside('7'), broken)).toMatchObject({ ok: false, cause: 'failed' });
  expect(await logbook.entriesOfBoard('B1')).toEqual([]);
  expect(await logbook.append(aside('9'))).toMatchObject({ ok: true });
});

it('refuses a database from a newer version and leaves it untouched', async () => {
  await new Promise<void>((resolve, reject) => {
    const request = indexedDB.open('lodebench', 99);
    request.onupgradeneeded = () => {
      request.result.createObjectStore('of the future').put('treasure', 1);
    };
    request.onsuccess = () => {
      request.result.close();
      resolve();
    };
    request.onerror = () => reject(request.error);
  });
  const refused = await openLogbook({ indexedDB });
  expect(refused).toMatchObject({ ok: false, cause: 'newer_version' });
  const treasure = await new Promise((resolve, reject) => {
    const request = indexedDB.open('lodebench', 99);
    request.onsuccess = () => {
      const get = request.result.transaction('of the future').objectStore('of the future').get(1);
      get.onsuccess = () => resolve(get.result);
    };
    request.onerror = () => reject(request.error);
  });
  expect(treasure).toBe('treasure');
});

it('says that there is no room, what is safe and what to do, and keeps what was written before', async () => {
  const logbook = await opened();
  await logbook.append(aside('7'));
  const plain = IDBObjectStore.prototype.add;
  IDBObjectStore.prototype.add = function () {
    throw new DOMException('full', 'QuotaExceededError');
  };
  try {
    const full = await logbook.append(aside('8'));
    expect(full).toMatchObject({ ok: false, cause: 'quota' });
    expect(!full.ok && full.message).toMatch(/safe.*Free some space/);
  } finally {
    IDBObjectStore.prototype.add = plain;
  }
  expect(await logbook.entriesOfBoard('B1')).toHaveLength(1);
});

it('says that there is no room when the database finds out only as the transaction ends', async () => {
  const logbook = await opened();
  const plain = IDBObjectStore.prototype.add;
  IDBObjectStore.prototype.add = function (value, key) {
    const request = plain.call(this, value, key);
    const { transaction } = this;
    request.addEventListener('success', () => {
      Object.defineProperty(transaction, 'error', {
        value: new DOMException('full', 'QuotaExceededError'),
      });
      transaction.abort();
    });
    return request;
  };
  try {
    expect(await logbook.append(aside('8'))).toMatchObject({ ok: false, cause: 'quota' });
  } finally {
    IDBObjectStore.prototype.add = plain;
  }
  expect(await logbook.entriesOfBoard('B1')).toEqual([]);
});

it('makes room for a newer version in another window, and says so when asked again', async () => {
  const logbook = await opened();
  await new Promise<void>((resolve, reject) => {
    const request = indexedDB.open('lodebench', 99);
    request.onsuccess = () => resolve();
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error('blocked'));
  });
  expect(await logbook.append(aside('7'))).toMatchObject({ ok: false, cause: 'closed' });
  await expect(logbook.boards()).rejects.toThrow(LogbookError);
});

it('says that the browser keeps no database', async () => {
  const none = { open: () => { throw new DOMException('no', 'SecurityError'); } }; // prettier-ignore
  expect(await openLogbook({ indexedDB: none as unknown as IDBFactory })).toMatchObject({
    ok: false,
    cause: 'unavailable',
  });
});

it('keeps a value under a key, replaces it, and knows nothing of other keys', async () => {
  const logbook = await opened();
  const image = new Uint8Array([1, 2, 255]);
  expect(await logbook.keep('simulated board', { image, dip: 65 })).toEqual({ ok: true });
  expect(await logbook.keep('simulated board', { image, dip: 60 })).toEqual({ ok: true });
  expect(await logbook.kept('simulated board')).toEqual({ image, dip: 60 });
  expect(await logbook.kept('other')).toBeUndefined();
});

it('keeps logbooks of different names apart', async () => {
  const [one, two] = [await opened('one'), await opened('two')];
  await one.append(aside('7'));
  expect(await two.boards()).toEqual([]);
});
