import type { StoredEntry } from '../../records/entries.ts';
import { LogbookError, type BoardInShort, type Logbook } from '../../records/logbook.ts';
import {
  ORDINARY_THRESHOLDS,
  thresholdsFrom,
  whenAgain,
  type Thresholds,
  type WhenAgain,
} from './when-again.ts';

export type { StoredEntry } from '../../records/entries.ts';
export type { BoardInShort } from '../../records/logbook.ts';

/** What the logbook part of the page shows: replaced whole at every change, never changed in place. */
export interface LogbookState {
  /** A line for each board; absent until they were read. */
  boards?: readonly BoardInShort[];
  /** The board whose page is open; its entries are absent until they were read. */
  opened?: { serial: string; entries?: readonly StoredEntry[] };
  /** When a board is to be calibrated again: what a person chose, or what is ordinary. */
  thresholds: Thresholds;
  /** Why the logbook could not be read, what is safe, and what to do next. */
  trouble?: string;
}

type ReadByDesk = 'boardsInShort' | 'entriesOfBoard' | 'keep' | 'kept';

/** Under which key thresholds are kept. */
const THRESHOLDS = 'when again';

/** Of entries that come fast, as in a calibration, some are read together; milliseconds. */
const READ_TOGETHER = 250;

/**
 * The logbook as a person reads it: every board in short, and all that is known of one of them. It works with no board
 * linked, and beside another page that has the bench.
 */
export class LogbookDesk {
  readonly #logbook: Pick<Logbook, ReadByDesk>;
  readonly #listeners = new Set<() => void>();
  #state: LogbookState = { thresholds: ORDINARY_THRESHOLDS };
  /** The reading that is under way, and whether another must follow it. */
  #reading: Promise<void> | undefined;
  #again = false;

  readonly #today: () => Date;
  /** Set while something written waits to be read. */
  #soon: ReturnType<typeof setTimeout> | undefined;

  /** @param today the time of day */
  constructor(logbook: Pick<Logbook, ReadByDesk>, today: () => Date) {
    this.#logbook = logbook;
    this.#today = today;
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
    if (this.#listeners.size === 0 || this.#soon !== undefined) return;
    this.#soon = setTimeout(() => {
      this.#soon = undefined;
      void this.refresh();
    }, READ_TOGETHER);
  }

  /** The time of day. */
  now(): Date {
    return this.#today();
  }

  /** The line of a board; undefined while it was not read, or where there is none. */
  lineOf(serial: string): BoardInShort | undefined {
    return this.#state.boards?.find((each) => each.serial === serial);
  }

  /** When a board is to be calibrated again. */
  again(board: BoardInShort): WhenAgain {
    return whenAgain(board, this.#today().toISOString(), this.#state.thresholds);
  }

  /** From now on boards are to be calibrated again by these. Undefined where that was kept; else why not. */
  async setThresholds(thresholds: Thresholds): Promise<string | undefined> {
    const kept = await this.#logbook.keep(THRESHOLDS, thresholds);
    if (!kept.ok) return kept.message;
    await this.refresh();
    return undefined;
  }

  async #read(): Promise<void> {
    do {
      this.#again = false;
      const { opened, ...known } = this.#state;
      const serial = opened?.serial;
      // to open a board of the list, that need not be read again: while anyone follows, it is as what is written changes it
      const isOpening = opened !== undefined && !opened.entries && this.#listeners.size > 0;
      const listed = isOpening && known.trouble === undefined ? known.boards : undefined;
      try {
        const [boards, thresholds, entries] = await Promise.all([
          listed ?? this.#logbook.boardsInShort(),
          listed ? known.thresholds : this.#logbook.kept(THRESHOLDS).then(thresholdsFrom),
          serial === undefined ? undefined : this.#logbook.entriesOfBoard(serial),
        ]);
        // another board may have been opened meanwhile
        const isOpened = serial === this.#state.opened?.serial;
        const { trouble: _, ...state } = this.#state;
        this.#change({
          ...state,
          boards,
          thresholds,
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
