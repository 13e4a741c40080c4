import type { Page } from 'playwright-core';
import type { Entry } from '../../src/records/entries.ts';

/**
 * The logbook's database as the browser has it, without the app: filled as the app's first version laid it out (the app
 * brings it up to date when it opens it), and read as it lies there. The page must be of the app's origin.
 */

/** Makes the database. There must be none. @param kept the values kept beside the entries, by key */
export async function makeLogbook(page: Page, kept: Iterable<[string, unknown]>): Promise<void> {
  await page.evaluate(
    async (values) => {
      const request = indexedDB.open('lodebench', 1);
      request.onupgradeneeded = () => {
        const entries = request.result.createObjectStore('entries', { autoIncrement: true });
        entries.createIndex('board', 'board');
        entries.createIndex('calibration', 'calibration');
        entries.createIndex('board and calibration', ['board', 'calibration']);
        const store = request.result.createObjectStore('kept');
        for (const [key, value] of values) store.add(value, key);
      };
      await new Promise((resolve, reject) => {
        request.onsuccess = resolve;
        request.onerror = () => reject(request.error);
      });
      request.result.close();
    },
    [...kept],
  );
}

/** Adds entries to it, in their order. */
export async function addEntries(page: Page, entries: readonly Entry[]): Promise<void> {
  await page.evaluate(async (rows) => {
    const request = indexedDB.open('lodebench');
    await new Promise((resolve, reject) => {
      request.onsuccess = resolve;
      request.onerror = () => reject(request.error);
    });
    const transaction = request.result.transaction('entries', 'readwrite');
    for (const row of JSON.parse(rows) as unknown[]) transaction.objectStore('entries').add(row);
    await new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = () => reject(transaction.error);
    });
    request.result.close();
  }, JSON.stringify(entries));
}

/** What lies in the database. */
export interface LogbookAsItLies {
  /** In the order of their numbers. */
  entries: readonly (Entry & { number: number })[];
  /** What the simulated boards remember, by the key each is kept under. */
  memories: ReadonlyMap<string, Uint8Array>;
}

/** Reads all of it; nothing where there is no database yet. */
export async function readLogbook(page: Page): Promise<LogbookAsItLies> {
  const { entries, memories } = await page.evaluate(async () => {
    // opening it would make it
    if (!(await indexedDB.databases()).some(({ name }) => name === 'lodebench')) {
      return { entries: '[]', memories: [] };
    }
    const opening = indexedDB.open('lodebench');
    await new Promise((resolve, reject) => {
      opening.onsuccess = resolve;
      opening.onerror = () => reject(opening.error);
    });
    const transaction = opening.result.transaction(['entries', 'kept']);
    const store = transaction.objectStore('entries');
    const keptThere = transaction.objectStore('kept');
    const reading = [
      store.getAll(),
      store.getAllKeys(),
      keptThere.getAll(),
      keptThere.getAllKeys(),
    ] as const;
    await new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = () => reject(transaction.error);
    });
    opening.result.close();
    const [rows, numbers, values, keys] = reading.map(({ result }) => result as unknown[]);
    return {
      entries: JSON.stringify(rows!.map((row, i) => ({ ...(row as Entry), number: numbers![i] }))),
      memories: keys!.flatMap((key, i) => {
        const value = values![i];
        return value instanceof Uint8Array ? [[String(key), [...value]] as const] : [];
      }),
    };
  });
  return {
    entries: JSON.parse(entries) as LogbookAsItLies['entries'],
    memories: new Map(memories.map(([key, bytes]) => [key, Uint8Array.from(bytes)])),
  };
}
