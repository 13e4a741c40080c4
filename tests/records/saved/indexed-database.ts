/** A database whole, as plain data that JSON can hold: to freeze one that an earlier version wrote, or to compare two. */
export interface SavedDatabase {
  version: number;
  stores: readonly SavedStore[];
}

interface SavedStore {
  name: string;
  keyPath: string | string[] | null;
  autoIncrement: boolean;
  indexes: readonly { name: string; keyPath: string | string[]; unique: boolean }[];
  /** Keys with what lies under them; bytes as `{ "bytes in base64": ... }`. */
  rows: readonly [IDBValidKey, unknown][];
}

const BYTES = 'bytes in base64';

export function ask<T>(request: IDBRequest<T>): Promise<T> {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/** Reads a database of whatever version, and changes nothing. */
export async function saved(factory: IDBFactory, name: string): Promise<SavedDatabase> {
  const database = await ask(factory.open(name));
  const stores: SavedStore[] = [];
  for (const storeName of database.objectStoreNames) {
    const store = database.transaction(storeName).objectStore(storeName);
    const [keys, values] = [await ask(store.getAllKeys()), await ask(store.getAll())];
    stores.push({
      name: storeName,
      keyPath: store.keyPath as SavedStore['keyPath'],
      autoIncrement: store.autoIncrement,
      indexes: [...store.indexNames].map((each) => {
        const { name, keyPath, unique } = store.index(each);
        return { name, keyPath, unique };
      }),
      rows: keys.map((key, i) => [key, toPlain(values[i])]),
    });
  }
  const { version } = database;
  database.close();
  return { version, stores };
}

/** Makes a database that has just what is given. */
export async function restore(
  factory: IDBFactory,
  name: string,
  { version, stores }: SavedDatabase,
): Promise<void> {
  const request = factory.open(name, version);
  request.onupgradeneeded = () => {
    for (const { name, keyPath, autoIncrement, indexes, rows } of stores) {
      const store = request.result.createObjectStore(name, { keyPath, autoIncrement });
      for (const { name, keyPath, unique } of indexes) store.createIndex(name, keyPath, { unique });
      for (const [key, value] of rows) {
        if (keyPath === null) store.add(fromPlain(value), key);
        else store.add(fromPlain(value));
      }
    }
  };
  (await ask(request)).close();
}

function toPlain(value: unknown): unknown {
  if (value instanceof Uint8Array) return { [BYTES]: Buffer.from(value).toString('base64') };
  if (typeof value !== 'object' || value === null) return value;
  if (Array.isArray(value)) return value.map(toPlain);
  return Object.fromEntries(Object.entries(value).map(([key, each]) => [key, toPlain(each)]));
}

function fromPlain(value: unknown): unknown {
  if (typeof value !== 'object' || value === null) return value;
  if (Array.isArray(value)) return value.map(fromPlain);
  if (BYTES in value) return new Uint8Array(Buffer.from(String(value[BYTES]), 'base64'));
  return Object.fromEntries(Object.entries(value).map(([key, each]) => [key, fromPlain(each)]));
}
