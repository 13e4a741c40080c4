import { wrap, type DBSchema, type IDBPDatabase, type IDBPTransaction } from 'idb';
import { Blocked, openDatabase, type Upgrade } from './database.ts';
import type { Entry, StoredEntry } from './entries.ts';

/** The logbook as it is kept in this browser: entries that are only ever added, and a few named values. */

/**
 * - `unavailable`: this browser keeps no database here (a private window, or storage forbidden)
 * - `newer_version`: it was written by a newer version of this program; nothing was touched
 * - `blocked`: another window holds an older version open
 * - `quota`: there is no room left; nothing of what was to be written is kept
 * - `closed`: the connection ended, because another window needed a newer version or the browser closed it
 * - `failed`: the database reported something else
 */
export type LogbookCause =
  'unavailable' | 'newer_version' | 'blocked' | 'quota' | 'closed' | 'failed';

export interface LogbookFault {
  ok: false;
  cause: LogbookCause;
  /** What happened, what is safe, and what to do next. */
  message: string;
}

export interface Written {
  ok: true;
  /** The numbers the entries got, in order. */
  numbers: readonly number[];
}

/**
 * Writing gives a value, good or bad. Reading rejects with a {@link LogbookError} where the database is gone;
 * there is nothing sensible to go on with then.
 */
export interface Logbook {
  readonly ok: true;
  /** Adds entries in order, all or none. Resolves when they are safely on disk, not before. */
  append(...entries: Entry[]): Promise<Written | LogbookFault>;
  /** The entries of one calibration in the order of writing. */
  entriesOf(calibration: string): Promise<StoredEntry[]>;
  /** All entries of one board, of every calibration and of none, in the order of writing. */
  entriesOfBoard(board: string): Promise<StoredEntry[]>;
  /** Serial numbers of all boards that have an entry, sorted. */
  boards(): Promise<string[]>;
  /** Ids of a board's calibrations, the oldest first. */
  calibrationsOf(board: string): Promise<string[]>;
  latestCalibration(board: string): Promise<string | undefined>;
  /** Keeps a value (by structured clone) under a key, in place of what was there. */
  keep(key: string, value: unknown): Promise<{ ok: true } | LogbookFault>;
  kept(key: string): Promise<unknown>;
  close(): void;
}

/** A {@link LogbookFault} thrown. */
export class LogbookError extends Error {
  override readonly name = 'LogbookError';
  readonly fault: LogbookFault;
  constructor(fault: LogbookFault) {
    super(fault.message);
    this.fault = fault;
  }
}

export interface LogbookOptions {
  /** Name of the database; another name is another logbook. */
  name?: string;
  /** Where the database lies; the browser's own unless given. Its classes must be the global ones. */
  indexedDB?: IDBFactory;
}

interface Schema extends DBSchema {
  entries: {
    key: number;
    value: Entry;
    indexes: { board: string; calibration: string; 'board and calibration': [string, string] };
  };
  kept: { key: string; value: unknown };
}

/** A step that has been published is never changed. New ones go at the end. */
const UPGRADES: readonly Upgrade[] = [
  (database) => {
    const entries = database.createObjectStore('entries', { autoIncrement: true });
    entries.createIndex('board', 'board');
    entries.createIndex('calibration', 'calibration');
    entries.createIndex('board and calibration', ['board', 'calibration']);
    database.createObjectStore('kept');
  },
];

const MESSAGES: Record<Exclude<LogbookCause, 'failed'>, string> = {
  unavailable:
    'This browser keeps no logbook here (a private window, or storage forbidden). Nothing would be kept: open the page in an ordinary window, or allow it to store data.',
  newer_version:
    'The logbook was written by a newer version of this program. It was not touched. Reload the page, or use the newer version.',
  blocked:
    'Another window of this program holds the logbook open in an older version. Nothing was changed. Close the other windows, then reload this page.',
  quota:
    'There is no room left to write to the logbook. What was written before is safe; this was not written. Free some space on this device, or export the logbook, then try again.',
  closed:
    'The logbook was closed, because another window needed it in a newer version or the browser ended it. What was written before is safe; reload this page to go on.',
};

function fault(cause: Exclude<LogbookCause, 'failed'>): LogbookFault {
  return { ok: false, cause, message: MESSAGES[cause] };
}

/** What a database reported, as one of our causes. */
function faultOf(error: unknown): LogbookFault {
  const name = error instanceof Error || error instanceof DOMException ? error.name : '';
  if (name === 'QuotaExceededError') return fault('quota');
  if (name === 'VersionError') return fault('newer_version');
  if (name === 'SecurityError') return fault('unavailable');
  if (name === 'InvalidStateError') return fault('closed');
  const message = `The logbook could not do this: ${String(error)}. What was written before is safe; try again, and if it happens again export the logbook and reload this page.`;
  return { ok: false, cause: 'failed', message };
}

/** Opens the logbook, making or upgrading it where needed. */
export async function openLogbook(options: LogbookOptions = {}): Promise<Logbook | LogbookFault> {
  // A browser may forbid even looking at `indexedDB`.
  let database: IDBDatabase;
  try {
    const factory = options.indexedDB ?? globalThis.indexedDB;
    if (!factory) return fault('unavailable');
    database = await openDatabase(factory, options.name ?? 'lodebench', UPGRADES);
  } catch (error) {
    return error instanceof Blocked ? fault('blocked') : faultOf(error);
  }
  // Make room for a newer version in another window; whatever is asked of this one afterwards says so.
  database.onversionchange = () => database.close();
  return new OpenLogbook(wrap(database) as IDBPDatabase<Schema>);
}

class OpenLogbook implements Logbook {
  readonly ok = true;
  readonly #database: IDBPDatabase<Schema>;

  constructor(database: IDBPDatabase<Schema>) {
    this.#database = database;
  }

  async append(...entries: Entry[]): Promise<Written | LogbookFault> {
    return this.#write('entries', async (transaction) => {
      const store = transaction.objectStore('entries');
      // async, so that an entry that cannot be cloned fails like any other
      const numbers = await Promise.all(entries.map(async (entry) => store.add(entry)));
      return { ok: true, numbers } as const;
    });
  }

  async keep(key: string, value: unknown): Promise<{ ok: true } | LogbookFault> {
    return this.#write('kept', async (transaction) => {
      await transaction.objectStore('kept').put(value, key);
      return { ok: true } as const;
    });
  }

  kept(key: string): Promise<unknown> {
    return this.#read(() => this.#database.get('kept', key));
  }

  entriesOf(calibration: string): Promise<StoredEntry[]> {
    return this.#entries('calibration', calibration);
  }

  entriesOfBoard(board: string): Promise<StoredEntry[]> {
    return this.#entries('board', board);
  }

  boards(): Promise<string[]> {
    return this.#read(async () => {
      const boards: string[] = [];
      const index = this.#database.transaction('entries').store.index('board');
      let cursor = await index.openKeyCursor(null, 'nextunique');
      for (; cursor; cursor = await cursor.continue()) boards.push(cursor.key);
      return boards;
    });
  }

  calibrationsOf(board: string): Promise<string[]> {
    return this.#read(async () => {
      const found: { calibration: string; first: number }[] = [];
      const index = this.#database.transaction('entries').store.index('board and calibration');
      const all = IDBKeyRange.bound([board], [board, []]); // an array sorts after every text
      let cursor = await index.openKeyCursor(all, 'nextunique');
      for (; cursor; cursor = await cursor.continue())
        found.push({ calibration: cursor.key[1], first: cursor.primaryKey });
      return found.sort((a, b) => a.first - b.first).map(({ calibration }) => calibration);
    });
  }

  async latestCalibration(board: string): Promise<string | undefined> {
    return (await this.calibrationsOf(board)).at(-1);
  }

  close(): void {
    this.#database.close();
  }

  #entries(by: 'board' | 'calibration', value: string): Promise<StoredEntry[]> {
    return this.#read(async () => {
      const index = this.#database.transaction('entries').store.index(by);
      const [numbers, entries] = await Promise.all([index.getAllKeys(value), index.getAll(value)]);
      return entries.map((entry, i) => ({ ...entry, number: numbers[i] }));
    });
  }

  async #read<T>(work: () => Promise<T>): Promise<T> {
    try {
      return await work();
    } catch (error) {
      throw new LogbookError(faultOf(error));
    }
  }

  /** Runs one transaction, all or nothing; resolves when it is on disk. */
  async #write<S extends 'entries' | 'kept', T>(
    store: S,
    work: (transaction: IDBPTransaction<Schema, S[], 'readwrite'>) => Promise<T>,
  ): Promise<T | LogbookFault> {
    try {
      const transaction = this.#database.transaction([store], 'readwrite', {
        durability: 'strict',
      });
      const outcome = work(transaction).catch((error: unknown) => {
        abort(transaction);
        throw error;
      });
      const [result, end] = await Promise.allSettled([outcome, transaction.done]);
      if (result.status === 'rejected') throw result.reason; // says more than the end, which is then just "aborted"
      if (end.status === 'rejected') throw end.reason;
      return result.value;
    } catch (error) {
      return faultOf(error);
    }
  }
}

/** Undoes a transaction whose work failed before the database saw it (a value that cannot be cloned). */
function abort(transaction: { abort(): void }): void {
  try {
    transaction.abort();
  } catch (error) {
    // The failed request has ended it already; its own error is what the caller gets.
    if (!(error instanceof DOMException && error.name === 'InvalidStateError')) throw error;
  }
}
