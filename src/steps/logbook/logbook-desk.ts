import type { StoredEntry } from '../../records/entries.ts';
import { LogbookError, type BoardInShort, type Logbook } from '../../records/logbook.ts';

export type { BoardInShort } from '../../records/logbook.ts';

/** What the logbook part of the page shows: replaced whole at every change, never changed in place. */
export interface LogbookState {
  /** A line for each board; absent until they were read. */
  boards?: readonly BoardInShort[];
  /** The board whose page is open; its entries are absent until they were read. */
  opened?: { serial: string; entries?: readonly StoredEntry[] };
  /** Another page has the bench: here one may look, and nothing is written. */
  readOnly: boolean;
  /** Why the logbook could not be read, what is safe, and what to do next. */
  trouble?: string;
}

/**
 * The logbook as a person reads it: every board in short, and all that is known of one of them. It works with no board
 * linked, and beside another page that has the bench.
 */
export class LogbookDesk {
  readonly #logbook: Logbook;
  readonly #listeners = new Set<() => void>();
  #state: LogbookState = { readOnly: false };
  /** The reading that is under way, and whether another must follow it. */
  #reading: Promise<void> | undefined;
  #again = false;

  constructor(logbook: Logbook) {
    this.#logbook = logbook;
  }

  get state(): LogbookState {
    return this.#state;
  }

  /** Calls `listener` after every change of state, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Opens the page of a board, or, without a serial number, the list of all. Resolves when it was read. */
  async open(serial?: string): Promise<void> {
    const { opened, ...state } = this.#state;
    if (serial === undefined) this.#change(state);
    else if (opened?.serial !== serial) this.#change({ ...state, opened: { serial } });
    await this.refresh();
  }

  /** Reads again what is shown. Asked for in the midst of reading, it is done once more, however often it was asked. */
  refresh(): Promise<void> {
    if (this.#reading) {
      this.#again = true;
      return this.#reading;
    }
    this.#reading = this.#read().finally(() => {
      this.#reading = undefined;
    });
    return this.#reading;
  }

  /** Something was written to the logbook, here or in another page: what is shown is read again, if anyone looks. */
  wrote(): void {
    if (this.#listeners.size > 0) void this.refresh();
  }

  /** Whether another page has the bench. */
  setReadOnly(readOnly: boolean): void {
    if (readOnly !== this.#state.readOnly) this.#change({ ...this.#state, readOnly });
  }

  async #read(): Promise<void> {
    do {
      this.#again = false;
      const serial = this.#state.opened?.serial;
      try {
        const boards = await this.#logbook.boardsInShort();
        const entries =
          serial === undefined ? undefined : await this.#logbook.entriesOfBoard(serial);
        // another board may have been opened meanwhile
        const isOpened = serial === this.#state.opened?.serial;
        const { trouble: _, ...state } = this.#state;
        this.#change({
          ...state,
          boards,
          ...(isOpened && serial !== undefined && entries && { opened: { serial, entries } }),
        });
        if (!isOpened) this.#again = true;
      } catch (error) {
        if (!(error instanceof LogbookError)) throw error;
        this.#change({ ...this.#state, trouble: error.message });
      }
    } while (this.#again);
  }

  #change(state: LogbookState): void {
    this.#state = state;
    for (const listener of this.#listeners) listener();
  }
}
