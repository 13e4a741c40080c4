import { inShortAfter, type BoardInShort } from './board-in-short.ts';
import type { Entry, EntryKind, StoredEntry } from './entries.ts';
import type {
  ForeignEntry,
  Logbook,
  LogbookFault,
  Merged,
  NotesWritten,
  Written,
} from './logbook.ts';
import {
  inNoteOrder,
  papersInShort,
  type Note,
  type PaperInShort,
  type PaperKind,
} from './papers.ts';
import { inReadingOrder } from './reading-order.ts';

/**
 * What is written before a board is asked to change what it keeps, and what lets it forget: these must be on disk. A
 * board's own memory is the last copy of a reading that is not.
 */
const BEFORE_A_CHANGE: Record<
  | Exclude<
      Extract<EntryKind, `${string} begun`>,
      'capture begun' | 'check begun' | 'assembly check begun'
    >
  | 'erased',
  true
> = {
  'seal begun': true,
  'revert begun': true,
  'settings begun': true,
  'rename begun': true,
  'clock begun': true,
  'erase begun': true,
  'restore begun': true,
  'update begun': true,
  'update swap begun': true,
  'update confirm begun': true,
  erased: true,
};

const mayBeHeld = ({ kind }: Entry): boolean => !(kind in BEFORE_A_CHANGE);

/**
 * A logbook that goes on in memory where the disk is full: entries that only collect or judge are held, in order, and
 * read as if they were on disk; each later write first tries to put them there. What stands before a change of the board
 * is refused until they are. Notes of papers, and the newest of each value that is kept, are held likewise.
 */
export class HeldEntries implements Logbook {
  readonly ok = true;
  readonly #disk: Logbook;
  readonly #listeners = new Set<(written: readonly Entry[]) => void>();
  /** One write after the other, so that none gets to disk before one that was held. */
  readonly #entriesInTurn = queue();
  readonly #valuesInTurn = queue();
  #held: readonly StoredEntry[] = [];
  #heldNotes: readonly Note[] = [];
  readonly #values = new Map<string, unknown>();

  constructor(disk: Logbook) {
    this.#disk = disk;
  }

  get bench(): string {
    return this.#disk.bench;
  }

  /** The entries that are only in memory, in order; closing the page loses them. */
  get held(): readonly StoredEntry[] {
    return this.#held;
  }

  /** The notes that are only in memory, likewise. */
  get heldNotes(): readonly Note[] {
    return this.#heldNotes;
  }

  /** Whether anything is only in memory, an entry, a note or a value. */
  get isHolding(): boolean {
    return this.#held.length > 0 || this.#heldNotes.length > 0 || this.#values.size > 0;
  }

  /** Calls `listener` after every write with the entries that were added, until the returned function is called. */
  subscribe(listener: (written: readonly Entry[]) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  append(...entries: Entry[]): Promise<Written | LogbookFault> {
    return this.#entriesInTurn(async () => {
      const free = await this.#putDown();
      let written = free.ok ? await this.#disk.append(...entries) : free;
      if (!written.ok && written.cause === 'quota') {
        if (entries.every(mayBeHeld)) written = await this.#hold(entries);
        else if (this.#held.length > 0) written = { ...written, message: this.#refusal };
      }
      this.#tell(written.ok ? entries : []);
      return written;
    });
  }

  merge(entries: readonly ForeignEntry[], notes?: readonly Note[]): Promise<Merged | LogbookFault> {
    return this.#entriesInTurn(async () => {
      const free = await this.#putDown();
      const merged = free.ok ? await this.#disk.merge(entries, notes) : free;
      this.#tell(merged.ok ? entries.map(({ entry }) => entry) : []);
      return merged;
    });
  }

  write(...notes: Note[]): Promise<({ ok: true } & NotesWritten) | LogbookFault> {
    return this.#entriesInTurn(async () => {
      const free = await this.#putDown();
      let written = free.ok ? await this.#disk.write(...notes) : free;
      if (!written.ok && written.cause === 'quota') written = await this.#holdNotes(notes);
      this.#tell([]);
      return written;
    });
  }

  async notesOf(paper: string): Promise<Note[]> {
    const held = this.#heldNotes.filter((note) => note.paper === paper);
    return withHeld(await this.#disk.notesOf(paper), held);
  }

  async papers(of: PaperKind): Promise<PaperInShort[]> {
    const held = this.#heldNotes.filter((note) => note.of === of);
    const papers = await this.#disk.papers(of);
    if (held.length === 0) return papers;
    const ids = new Set([...papers, ...held].map(({ paper }) => paper));
    return papersInShort((await Promise.all([...ids].map((id) => this.notesOf(id)))).flat());
  }

  keep(key: string, value: unknown): Promise<{ ok: true } | LogbookFault> {
    return this.#valuesInTurn(async () => {
      const kept = await this.#disk.keep(key, value);
      if (kept.ok) {
        if (this.#values.delete(key)) this.#tell([]);
        return kept;
      }
      if (kept.cause !== 'quota') return kept;
      this.#values.set(key, structuredClone(value));
      this.#tell([]);
      return { ok: true };
    });
  }

  async kept(key: string): Promise<unknown> {
    return this.#values.has(key) ? structuredClone(this.#values.get(key)) : this.#disk.kept(key);
  }

  entriesOfBoard(board: string): Promise<StoredEntry[]> {
    const held = this.#held.filter((entry) => entry.board === board);
    return this.#after(this.#disk.entriesOfBoard(board), held);
  }

  async *batches(board?: string): AsyncGenerator<readonly StoredEntry[]> {
    const held = this.#held.filter((entry) => board === undefined || entry.board === board);
    const own = new Set<number>(); // another page may have brought in others with higher numbers
    for await (const batch of this.#disk.batches(board)) {
      if (held.length > 0) for (const { foreign, number } of batch) if (!foreign) own.add(number);
      yield batch;
    }
    const left = held.filter(({ number }) => !own.has(number)); // else they came to disk meanwhile
    if (left.length > 0) yield left;
  }

  async boards(): Promise<string[]> {
    const boards = await this.#disk.boards();
    return [...new Set([...boards, ...this.#held.map(({ board }) => board)])].sort();
  }

  async boardsInShort(): Promise<BoardInShort[]> {
    const stored = await this.#disk.boardsInShort();
    if (this.#held.length === 0) return stored;
    const boards = new Map(stored.map((board) => [board.serial, board]));
    for (const serial of new Set(this.#held.map(({ board }) => board))) {
      // anew, as on disk: an entry of another bench may be read after those that are held
      const entries = await this.entriesOfBoard(serial);
      boards.set(serial, entries.reduce(inShortAfter, undefined)!);
    }
    return [...boards.values()].sort((a, b) => (a.serial < b.serial ? -1 : 1));
  }

  async highestNumber(): Promise<number> {
    return this.#held.at(-1)?.number ?? this.#disk.highestNumber();
  }

  close(): void {
    this.#disk.close();
  }

  async #after(
    stored: Promise<StoredEntry[]>,
    held: readonly StoredEntry[],
  ): Promise<StoredEntry[]> {
    const onDisk = await stored;
    if (held.length === 0) return onDisk;
    const own = new Set(onDisk.filter(({ foreign }) => !foreign).map(({ number }) => number));
    const left = held.filter(({ number }) => !own.has(number)); // else they came to disk meanwhile
    return inReadingOrder(this.bench, [...onDisk, ...left]);
  }

  /** Tries to write what is held, all of it or none, under the numbers it has been read and downloaded with. */
  async #putDown(): Promise<{ ok: true } | LogbookFault> {
    if (this.#held.length > 0 || this.#heldNotes.length > 0) {
      const { bench } = this;
      const merged = await this.#disk.merge(
        this.#held.map(({ number, ...entry }) => ({ bench, number, entry })),
        this.#heldNotes,
      );
      if (!merged.ok) return merged;
      this.#held = [];
      this.#heldNotes = [];
      this.#tell([]);
    }
    for (const key of this.#values.keys()) void this.#putDownValue(key); // worth delaying no entry
    return { ok: true };
  }

  #putDownValue(key: string): Promise<void> {
    return this.#valuesInTurn(async () => {
      if (!this.#values.has(key)) return; // a newer one was written meanwhile
      const kept = await this.#disk.keep(key, this.#values.get(key));
      if (kept.ok) this.#values.delete(key);
      this.#tell([]);
    });
  }

  async #hold(entries: readonly Entry[]): Promise<Written> {
    const first = (await this.highestNumber()) + 1;
    const held = entries.map((entry, i) => ({ ...structuredClone(entry), number: first + i }));
    this.#held = [...this.#held, ...held];
    return { ok: true, numbers: held.map(({ number }) => number) };
  }

  async #holdNotes(notes: readonly Note[]): Promise<{ ok: true } & NotesWritten> {
    const papers = new Set(notes.map(({ paper }) => paper));
    const there = (await Promise.all([...papers].map((paper) => this.notesOf(paper)))).flat();
    const ids = new Set(there.map(({ id }) => id));
    const fresh = new Map(notes.filter(({ id }) => !ids.has(id)).map((note) => [note.id, note]));
    this.#heldNotes = [...this.#heldNotes, ...structuredClone([...fresh.values()])];
    return { ok: true, added: fresh.size, already: notes.length - fresh.size };
  }

  get #refusal(): string {
    const these = this.#held.length === 1 ? 'One entry is' : `${this.#held.length} entries are`;
    return `There is no room left to write to the logbook, and nothing is changed on a board before the logbook has it. Nothing was changed. ${these} only in the memory of this page: download them, free some space on this device, then try again.`;
  }

  #tell(written: readonly Entry[]): void {
    for (const listener of this.#listeners) listener(written);
  }
}

/** Notes that are on disk with those that are held, but for what came to disk meanwhile. */
function withHeld(onDisk: readonly Note[], held: readonly Note[]): Note[] {
  const there = new Set(onDisk.map(({ id }) => id));
  return inNoteOrder([...onDisk, ...held.filter(({ id }) => !there.has(id))]);
}

/** Does one piece of work after the other. */
function queue(): <T>(work: () => Promise<T>) => Promise<T> {
  let last: Promise<unknown> = Promise.resolve();
  return (work) => {
    const done = last.then(work);
    last = done.catch(() => {}); // whoever asked for it is told; the next goes on all the same
    return done;
  };
}
