import type { Entry } from '../../records/entries.ts';
import type { HeldEntries } from '../../records/held-entries.ts';
import { writeLogbook } from '../../records/logbook-file.ts';
import { LogbookError, type LogbookFault } from '../../records/logbook.ts';
import { fileName, type FileOut } from '../file-out.ts';

/** How safely the logbook lies in this browser: on disk or not, kept for good or not, and when it was last taken out. */

/** What the browser offers of itself, as `navigator.storage` does; parts of it are missing in some. */
export type BrowserStorage = Partial<Pick<StorageManager, 'persist' | 'persisted' | 'estimate'>>;

/**
 * What the browser says of how long it keeps what lies here. `for good`: until a person clears it. `may clear`: also
 * when the device runs short of room. `cannot tell`: it has no word for it.
 */
export type Keeps = 'for good' | 'may clear' | 'cannot tell';

/** The last time that everything was taken out, kept as `'last taken out'`. */
export interface TakenOut {
  /** ISO 8601. */
  time: string;
  /** How many entries the logbook had then. */
  entries: number;
}

/** Replaced whole at every change. */
export interface KeepingState {
  /** Entries and notes that are only in the memory of this page. */
  held: number;
  /** Whether anything is, of these or else. */
  isHolding: boolean;
  /** Absent until it was looked up. */
  keeps?: Keeps;
  /** The browser was asked to keep it for good at this time, ISO 8601. */
  asked?: string;
  /** Bytes that this page takes, and that it may take beside them; absent where the browser does not say. */
  room?: { used: number; free: number };
  takenOut?: TakenOut;
  /** It is time to take everything out again: what came since it was done last, or ever. */
  due?: { entries: number; days: number };
}

const TAKEN_OUT = 'last taken out';
const ASKED = 'storage asked';

/** How much may come to a logbook that the browser may clear before a person is reminded: two calibrations, a month. */
const MOST_ENTRIES = 300;
const MOST_DAYS = 30;
const DAY = 24 * 60 * 60 * 1000;

/** What a first look at a board writes: the board still has all of it. */
const LOOKED_UP: readonly Entry['kind'][] = [
  'board linked',
  'memory saved',
  'coefficients saved',
  'settings saved',
];

export class Keeping {
  readonly #logbook: HeldEntries;
  readonly #storage: BrowserStorage;
  readonly #today: () => Date;
  readonly #listeners = new Set<() => void>();
  #state: KeepingState = { held: 0, isHolding: false };
  /** Whether the browser was asked by this page, or need not be. */
  #isAsked = false;

  /**
   * @param storage the browser's; absent where it has none
   * @param today the time of day
   */
  constructor(logbook: HeldEntries, storage: BrowserStorage | undefined, today: () => Date) {
    this.#logbook = logbook;
    this.#storage = storage ?? {};
    this.#today = today;
    logbook.subscribe((written) => this.#wrote(written));
  }

  get state(): KeepingState {
    return this.#state;
  }

  /** Calls `listener` after every change of state, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /**
   * Looks up what the browser and the logbook say now. All stays as it was where the logbook cannot be read: whoever
   * shows the logbook says so.
   */
  async look(): Promise<void> {
    try {
      await this.#look();
    } catch (error) {
      if (!(error instanceof LogbookError)) throw error;
    }
  }

  async #look(): Promise<void> {
    const [keeps, room, asked, takenOut, boards] = await Promise.all([
      this.#keeps(),
      this.#room(),
      this.#logbook.kept(ASKED) as Promise<string | undefined>, // only this class writes it
      this.#logbook.kept(TAKEN_OUT) as Promise<TakenOut | undefined>,
      this.#logbook.boardsInShort(),
    ]);
    const entries = boards.reduce((sum, board) => sum + board.entries, 0);
    const first = Math.min(...boards.map(({ firstTime }) => Date.parse(firstTime)));
    const since = takenOut ? Date.parse(takenOut.time) : first;
    const come = entries - (takenOut?.entries ?? 0);
    const days = Math.floor((this.#today().getTime() - since) / DAY);
    const isDue = come > 0 && (come >= MOST_ENTRIES || days >= MOST_DAYS);
    const { held, isHolding } = this.#state;
    this.#change({
      held,
      isHolding,
      keeps,
      ...(room && { room }),
      ...(asked !== undefined && { asked }),
      ...(takenOut && { takenOut }),
      ...(isDue && keeps !== 'for good' && { due: { entries: come, days } }),
    });
  }

  /** Asks the browser to keep for good what lies here; it may ask the person. */
  async ask(): Promise<void> {
    this.#isAsked = true;
    await orCannot(this.#storage.persist?.());
    await this.#logbook.keep(ASKED, this.#today().toISOString());
    await this.look();
  }

  /** Everything that there was, so many entries, was taken out, and the person has it. */
  async wasTakenOut(entries: number): Promise<{ ok: true } | LogbookFault> {
    const time = this.#today().toISOString();
    const kept = await this.#logbook.keep(TAKEN_OUT, { time, entries } satisfies TakenOut);
    await this.look();
    return kept;
  }

  /** What is only in memory, as a logbook file that can be brought in. */
  async heldAsFile(): Promise<FileOut<string>> {
    const { held, heldNotes, bench } = this.#logbook;
    const exported = this.#today().toISOString();
    let content = '';
    const parts = writeLogbook({ exported, bench, holds: {} }, one(held), heldNotes);
    for await (const part of parts) content += part;
    const name = fileName(['logbook not on disk', exported.slice(0, 16)], 'json');
    return { name, content, type: 'application/json' };
  }

  #wrote(written: readonly Entry[]): void {
    const held = this.#logbook.held.length + this.#logbook.heldNotes.length;
    const { isHolding } = this.#logbook;
    if (held !== this.#state.held || isHolding !== this.#state.isHolding) {
      this.#change({ ...this.#state, held, isHolding });
    }
    if (!this.#isAsked && written.some(({ kind }) => !LOOKED_UP.includes(kind))) {
      this.#isAsked = true;
      void this.#askOnce();
    }
  }

  /** Asks by itself once, and never again where the browser or the person said no. */
  async #askOnce(): Promise<void> {
    await this.look();
    if (this.#state.keeps === 'may clear' && this.#state.asked === undefined) await this.ask();
  }

  async #keeps(): Promise<Keeps> {
    const persisted = await orCannot(this.#storage.persisted?.());
    if (persisted === undefined) return 'cannot tell';
    return persisted ? 'for good' : 'may clear';
  }

  async #room(): Promise<KeepingState['room']> {
    const { usage, quota } = (await orCannot(this.#storage.estimate?.())) ?? {};
    if (usage === undefined || quota === undefined) return undefined;
    return { used: usage, free: Math.max(0, quota - usage) };
  }

  #change(state: KeepingState): void {
    this.#state = state;
    for (const listener of this.#listeners) listener();
  }
}

/** What the browser answers; undefined where it cannot be asked, or only says that it may not tell (a TypeError). */
async function orCannot<T>(answer: Promise<T> | undefined): Promise<T | undefined> {
  try {
    return await answer;
  } catch (error) {
    if (!(error instanceof TypeError)) throw error;
    return undefined;
  }
}

async function* one<T>(batch: T): AsyncGenerator<T> {
  yield batch;
}
