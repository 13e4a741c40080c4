import {
  wrap,
  type DBSchema,
  type IDBPDatabase,
  type IDBPObjectStore,
  type IDBPTransaction,
  type StoreNames,
} from 'idb';
import { inShortAfter, type BoardInShort } from './board-in-short.ts';
import { Blocked, openDatabase, type Upgrade } from './database.ts';
import type { Entry, StoredEntry } from './entries.ts';
import { inNoteOrder, papersInShort, randomId } from './papers.ts';
import type { Note, PaperInShort, PaperKind } from './papers.ts';
import { inReadingOrder } from './reading-order.ts';

export type { BoardInShort } from './board-in-short.ts';

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

/** An entry, the bench that wrote it, and its number there: what makes it the same entry wherever it is brought in. */
export interface ForeignEntry {
  bench: string;
  number: number;
  entry: Entry;
}

/** What became of notes: how many are new here, how many were here already. */
export interface NotesWritten {
  added: number;
  already: number;
}

/** What became of entries that were brought in: how many are new here, how many were here already. */
export interface Merged {
  ok: true;
  added: number;
  already: number;
  /** The same of notes; absent where none were brought in. */
  notes?: NotesWritten;
}

/** No bench comes to as many entries as this; a number that is higher is none. */
export const HIGHEST_NUMBER = 2 ** 40;
/** So far above all numbers here may those of this bench's own lost entries be: the next is counted on from them. */
const LOST_AT_MOST = 2_000_000;
/** An entry that differs from another of its bench and number is kept beside it; so many go by one number. */
const MOST_COPIES = 99;
/** A bench's id, without the mark of an entry that was kept beside another: the one here may be marked elsewhere. */
export const writerOf = (bench: string): string => bench.replace(/ \(\d+\)$/, '');

/**
 * Writing gives a value, good or bad. Reading rejects with a {@link LogbookError} where the database is gone;
 * there is nothing sensible to go on with then.
 */
export interface Logbook {
  readonly ok: true;
  /** Which bench this logbook is: a random id that it got when it was made. */
  readonly bench: string;
  /** Adds entries in order, all or none. Resolves when they are safely on disk, not before. */
  append(...entries: Entry[]): Promise<Written | LogbookFault>;
  /**
   * Adds entries written at any bench, all or none; those that are here already are passed over. Two that differ under
   * one bench and number (a logbook was put back as it had been, and written on) are both kept, the second under the
   * bench's id with ` (2)` after it; which of them is the second does not matter elsewhere. Notes are added with them, as
   * by {@link write}: all of both or none.
   */
  merge(entries: readonly ForeignEntry[], notes?: readonly Note[]): Promise<Merged | LogbookFault>;
  /** Adds notes, all or none; those that are here already, by their ids, are passed over. Resolves as {@link append}. */
  write(...notes: Note[]): Promise<({ ok: true } & NotesWritten) | LogbookFault>;
  /** All notes of one paper, in reading order (papers.ts). */
  notesOf(paper: string): Promise<Note[]>;
  /** A line for each paper of a kind, the one with the earliest note first. */
  papers(of: PaperKind): Promise<PaperInShort[]>;
  /** All entries of one board, of every calibration and of none, in reading order (reading-order.ts). */
  entriesOfBoard(board: string): Promise<StoredEntry[]>;
  /** Every entry that is there now (of one board, if given), in batches, the lowest number first. */
  batches(board?: string): AsyncIterable<readonly StoredEntry[]>;
  /** Serial numbers of all boards that have an entry, sorted. */
  boards(): Promise<string[]>;
  /** A line for each board, sorted by serial number. */
  boardsInShort(): Promise<BoardInShort[]>;
  /** The highest number an entry has here; 0 where there is none. */
  highestNumber(): Promise<number>;
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

/** An entry as the database has it: its number is the key, and one of this bench's own does not say whose it is. */
type Row = Entry & Pick<StoredEntry, 'foreign'>;

interface Schema extends DBSchema {
  entries: {
    key: number;
    value: Row;
    indexes: { board: string; calibration: string; foreign: [string, number] };
  };
  /** By serial number; `shared` where entries of another bench are among them. */
  boards: { key: string; value: { short: BoardInShort; shared: boolean } };
  kept: { key: string; value: unknown };
  notes: { key: string; value: Note; indexes: { paper: string; of: PaperKind } };
  /** What this logbook is. */
  about: { key: 'bench'; value: string };
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
  (database, transaction) => {
    const entries = transaction.objectStore('entries');
    entries.deleteIndex('board and calibration');
    entries.createIndex('foreign', ['foreign.bench', 'foreign.number'], { unique: true });
    database.createObjectStore('about').add(randomId(), 'bench');
    database.createObjectStore('boards');
    sumUpOwn(transaction);
  },
  (database) => {
    const notes = database.createObjectStore('notes', { keyPath: 'id' });
    notes.createIndex('paper', 'paper');
    notes.createIndex('of', 'of');
  },
];

/** Sums up every board of a logbook that has none but its own entries. */
function sumUpOwn(transaction: IDBTransaction): void {
  const boards = new Map<string, BoardInShort>();
  const walk = transaction.objectStore('entries').openCursor();
  walk.onsuccess = () => {
    const cursor = walk.result;
    if (cursor) {
      const entry = cursor.value as Entry; // only this module writes them
      boards.set(entry.board, inShortAfter(boards.get(entry.board), entry));
      cursor.continue();
      return;
    }
    const store = transaction.objectStore('boards');
    for (const [serial, short] of boards) store.add({ short, shared: false }, serial);
  };
}

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

function tooFar(number: number, highest: number): LogbookFault {
  const message = `There is an entry ${number} of this very bench, whose own numbers come to ${highest}: it was not written here, and no number would be left after it. None of these entries were taken in, and what was written before is safe. Use a file as it was taken out.`;
  return { ok: false, cause: 'failed', message };
}

/** What a database reported, as one of our causes. */
function faultOf(error: unknown): LogbookFault {
  if (error instanceof LogbookError) return error.fault;
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
  const wrapped = wrap(database) as IDBPDatabase<Schema>;
  try {
    const bench = await wrapped.get('about', 'bench');
    return new OpenLogbook(wrapped, bench!); // written as the database was made
  } catch (error) {
    return faultOf(error);
  }
}

type EntryStore = IDBPObjectStore<
  Schema,
  ArrayLike<StoreNames<Schema>>,
  'entries',
  'readonly' | 'readwrite'
>;
type WritableEntryStore = IDBPObjectStore<
  Schema,
  ArrayLike<StoreNames<Schema>>,
  'entries',
  'readwrite'
>;

type SummingUp = Pick<
  IDBPTransaction<Schema, ('entries' | 'boards')[], 'readwrite'>,
  'objectStore'
>;
type WritableNoteStore = IDBPObjectStore<
  Schema,
  ArrayLike<StoreNames<Schema>>,
  'notes',
  'readwrite'
>;

/** How many entries are read at once where all are wanted. */
const BATCH = 500;

class OpenLogbook implements Logbook {
  readonly ok = true;
  readonly bench: string;
  readonly #database: IDBPDatabase<Schema>;

  constructor(database: IDBPDatabase<Schema>, bench: string) {
    this.#database = database;
    this.bench = bench;
  }

  async append(...entries: Entry[]): Promise<Written | LogbookFault> {
    return this.#write(['entries', 'boards'], async (transaction) => {
      const store = transaction.objectStore('entries');
      // async, so that an entry that cannot be cloned fails like any other
      const numbers = await Promise.all(entries.map(async (entry) => store.add(entry)));
      await this.#sumUp(transaction, entries);
      return { ok: true, numbers } as const;
    });
  }

  async merge(
    entries: readonly ForeignEntry[],
    notes: readonly Note[] = [],
  ): Promise<Merged | LogbookFault> {
    return this.#write(['entries', 'boards', 'notes'], async (transaction) => {
      entries.forEach(checkForeign);
      const store = transaction.objectStore('entries');
      const written = entries.map((each) => ({ ...each, bench: writerOf(each.bench) }));
      const highest = (await store.openKeyCursor(null, 'prev'))?.primaryKey ?? 0;
      const lost = new Map<number, ForeignEntry>();
      for (const each of written) {
        const { bench, number } = each;
        if (bench === this.bench && number > highest && !lost.has(number)) lost.set(number, each);
      }
      for (const number of lost.keys())
        if (number > highest + LOST_AT_MOST) throw new LogbookError(tooFar(number, highest));
      const fresh: Entry[] = [];
      // what this bench has lost first: these have their numbers, and others take the next that is free
      const others = written.filter((each) => lost.get(each.number) !== each);
      for (const part of [[...lost.values()], others]) {
        for (let at = 0; at < part.length; at += BATCH) {
          fresh.push(...(await this.#bringInSome(store, part.slice(at, at + BATCH))));
        }
      }
      await this.#sumUp(transaction, fresh, { merged: true });
      const added = fresh.length;
      const noted = await addNotes(transaction.objectStore('notes'), notes);
      return {
        ok: true,
        added,
        already: entries.length - added,
        ...(notes.length > 0 && { notes: noted }),
      } as const;
    });
  }

  async write(...notes: Note[]): Promise<({ ok: true } & NotesWritten) | LogbookFault> {
    return this.#write(['notes'], async (transaction) => ({
      ok: true as const,
      ...(await addNotes(transaction.objectStore('notes'), notes)),
    }));
  }

  notesOf(paper: string): Promise<Note[]> {
    return this.#read(async () =>
      inNoteOrder(await this.#database.getAllFromIndex('notes', 'paper', paper)),
    );
  }

  papers(of: PaperKind): Promise<PaperInShort[]> {
    return this.#read(async () =>
      papersInShort(await this.#database.getAllFromIndex('notes', 'of', of)),
    );
  }

  async keep(key: string, value: unknown): Promise<{ ok: true } | LogbookFault> {
    return this.#write(['kept'], async (transaction) => {
      await transaction.objectStore('kept').put(value, key);
      return { ok: true } as const;
    });
  }

  kept(key: string): Promise<unknown> {
    return this.#read(() => this.#database.get('kept', key));
  }

  entriesOfBoard(board: string): Promise<StoredEntry[]> {
    return this.#read(() => this.#inOrder(this.#database.transaction('entries').store, board));
  }

  async *batches(board?: string): AsyncGenerator<readonly StoredEntry[]> {
    // Each batch has a transaction of its own: none would stay open while the last batch is worked on.
    const numbers = await this.#read(() =>
      board === undefined
        ? this.#database.getAllKeys('entries')
        : this.#database.getAllKeysFromIndex('entries', 'board', board),
    );
    for (let at = 0; at < numbers.length; at += BATCH) {
      const some = numbers.slice(at, at + BATCH);
      yield await this.#read(async () => {
        const { store } = this.#database.transaction('entries');
        if (board === undefined) {
          const range = IDBKeyRange.bound(some[0], some.at(-1));
          return numbered(...(await Promise.all([store.getAll(range), store.getAllKeys(range)])));
        }
        const rows = await Promise.all(some.map((number) => store.get(number)));
        return numbered(rows as Row[], some); // no entry is ever removed
      });
    }
  }

  boards(): Promise<string[]> {
    return this.#read(() => this.#database.getAllKeys('boards'));
  }

  boardsInShort(): Promise<BoardInShort[]> {
    return this.#read(async () =>
      (await this.#database.getAll('boards')).map(({ short }) => short),
    );
  }

  highestNumber(): Promise<number> {
    return this.#read(async () => {
      const { store } = this.#database.transaction('entries');
      return (await store.openKeyCursor(null, 'prev'))?.primaryKey ?? 0;
    });
  }

  close(): void {
    this.#database.close();
  }

  async #inOrder(store: EntryStore, board: string): Promise<StoredEntry[]> {
    const index = store.index('board');
    const [numbers, rows] = await Promise.all([index.getAllKeys(board), index.getAll(board)]);
    return inReadingOrder(this.bench, numbered(rows, numbers));
  }

  /** Adds entries as they were written at a bench, unless they are here; gives those that were not. */
  async #bringInSome(store: WritableEntryStore, some: readonly ForeignEntry[]): Promise<Entry[]> {
    const there = await Promise.all(some.map((each) => this.#find(store, each)));
    const adding: Promise<unknown>[] = [];
    const added = new Set<string>();
    const fresh: Entry[] = [];
    for (const [i, each] of some.entries()) {
      const key = `${each.bench} ${each.number}`;
      const found = there[i];
      if (!found && !added.has(key)) {
        added.add(key);
        adding.push(this.#add(store, each));
        fresh.push(each.entry);
      } else if (!found || !isSameData(found, this.#rowOf(each))) {
        await Promise.all(adding);
        if (await this.#bringInBeside(store, each)) fresh.push(each.entry);
      }
    }
    await Promise.all(adding);
    return fresh;
  }

  /** Adds an entry beside those that differ from it under its bench and number. @returns whether it was not here */
  async #bringInBeside(store: WritableEntryStore, each: ForeignEntry): Promise<boolean> {
    for (let copy = 1; copy <= MOST_COPIES; copy++) {
      const named = copy === 1 ? each : { ...each, bench: `${each.bench} (${copy})` };
      const found = await this.#find(store, named);
      if (!found) {
        await this.#add(store, named);
        return true;
      }
      if (isSameData(found, this.#rowOf(named))) return false;
    }
    throw new RangeError(`over ${MOST_COPIES} entries that differ have number ${each.number}`);
  }

  /** What lies where this entry lies or would lie. */
  #find(store: EntryStore, { bench, number }: ForeignEntry): Promise<Row | undefined> {
    return bench === this.bench ? store.get(number) : store.index('foreign').get([bench, number]);
  }

  // async, so that an entry that cannot be cloned fails like any other
  async #add(store: WritableEntryStore, each: ForeignEntry): Promise<number> {
    const row = this.#rowOf(each);
    return each.bench === this.bench ? store.add(row, each.number) : store.add(row);
  }

  #rowOf({ bench, number, entry }: ForeignEntry): Row {
    return bench === this.bench ? entry : { ...entry, foreign: { bench, number } };
  }

  /** Brings what is said of boards up to date with entries that were just added. */
  async #sumUp(
    transaction: SummingUp,
    added: readonly Entry[],
    { merged = false } = {},
  ): Promise<void> {
    const boards = transaction.objectStore('boards');
    for (const [serial, entries] of byBoard(added)) {
      const before = await boards.get(serial);
      // What was written here last is read last, unless another bench's clock is ahead.
      const all =
        merged || before?.shared
          ? await this.#inOrder(transaction.objectStore('entries'), serial)
          : undefined;
      const short = (all ?? entries).reduce(inShortAfter, all ? undefined : before?.short);
      const shared = all?.some(({ foreign }) => foreign) ?? false;
      await boards.put({ short: short!, shared }, serial);
    }
  }

  async #read<T>(work: () => Promise<T>): Promise<T> {
    try {
      return await work();
    } catch (error) {
      throw new LogbookError(faultOf(error));
    }
  }

  /** Runs one transaction, all or nothing; resolves when it is on disk. */
  async #write<S extends StoreNames<Schema>[], T>(
    stores: S,
    work: (transaction: IDBPTransaction<Schema, S, 'readwrite'>) => Promise<T>,
  ): Promise<T | LogbookFault> {
    try {
      const transaction = this.#database.transaction(stores, 'readwrite', {
        durability: 'strict',
      });
      const outcome = work(transaction).catch((error: unknown) => {
        abort(transaction);
        throw error;
      });
      const [result, end] = await Promise.allSettled([outcome, transaction.done]);
      // what ended the transaction says more than the request that found it ended; but not where that is just "aborted"
      const ended = end.status === 'rejected' ? end.reason : undefined;
      if (ended !== undefined && !isAbort(ended)) throw ended;
      if (result.status === 'rejected') throw result.reason;
      if (ended !== undefined) throw ended;
      return result.value;
    } catch (error) {
      return faultOf(error);
    }
  }
}

/** Adds those that are not here, each once. */
async function addNotes(store: WritableNoteStore, notes: readonly Note[]): Promise<NotesWritten> {
  const there = await Promise.all(notes.map(({ id }) => store.getKey(id)));
  const fresh = new Map(notes.flatMap((note, i) => (there[i] ? [] : [[note.id, note] as const])));
  // async, so that a note that cannot be cloned fails like any other
  await Promise.all([...fresh.values()].map(async (note) => store.add(note)));
  return { added: fresh.size, already: notes.length - fresh.size };
}

const numbered = (rows: readonly Row[], numbers: readonly number[]): StoredEntry[] =>
  rows.map((row, i) => ({ ...row, number: numbers[i]! }));

function byBoard(entries: readonly Entry[]): Map<string, Entry[]> {
  const boards = new Map<string, Entry[]>();
  for (const entry of entries) {
    const some = boards.get(entry.board);
    if (some) some.push(entry);
    else boards.set(entry.board, [entry]);
  }
  return boards;
}

/** @throws RangeError where it could not be put in order, or would leave no numbers for what comes after */
function checkForeign({ number, entry }: ForeignEntry): void {
  if (!Number.isInteger(number) || number < 1 || number >= HIGHEST_NUMBER)
    throw new RangeError(`there is no entry number ${number}`);
  if (Number.isNaN(Date.parse(entry.time)))
    throw new RangeError(`entry ${number} has no time that can be read`);
}

/** Whether both are the same plain data, whatever the order of their fields. */
export function isSameData(a: unknown, b: unknown): boolean {
  if (typeof a !== 'object' || typeof b !== 'object' || a === null || b === null) return a === b;
  const [inA, inB] = [a, b].map((each) =>
    Object.entries(each).filter(([, value]) => value !== undefined),
  );
  const other = new Map(inB);
  return (
    inA!.length === other.size &&
    inA!.every(([key, value]) => other.has(key) && isSameData(value, other.get(key)))
  );
}

const isAbort = (error: unknown): boolean =>
  error instanceof DOMException && error.name === 'AbortError';

/** Undoes a transaction whose work failed before the database saw it (a value that cannot be cloned). */
function abort(transaction: { abort(): void }): void {
  try {
    transaction.abort();
  } catch (error) {
    // The failed request has ended it already; its own error is what the caller gets.
    if (!(error instanceof DOMException && error.name === 'InvalidStateError')) throw error;
  }
}
