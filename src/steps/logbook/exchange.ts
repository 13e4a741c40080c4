import type { StoredEntry } from '../../records/entries.ts';
import { asWritten, MOST_BYTES, writeLogbook, type Holding } from '../../records/logbook-file.ts';
import type { Problem } from '../../records/logbook-file-reader.ts';
import {
  isSameData,
  LogbookError,
  writerOf,
  type ForeignEntry,
  type Logbook,
  type Merged,
} from '../../records/logbook.ts';
import { papersInShort, type Note } from '../../records/papers.ts';
import { inReadingOrder } from '../../records/reading-order.ts';
import { BenchError, messageOf } from '../bench-words.ts';
import { foldHistory } from '../calibration-state.ts';
import { fileName, type FileOut } from '../file-out.ts';
import { bytesOf, UNREADABLE } from '../chosen-file.ts';
import { calibrationCsv } from './calibration-csv.ts';

/** What the screen shows of taking out and bringing in: replaced whole at every change. */
export interface ExchangeState {
  /** What is being done now. */
  work?: string;
  /** What came of it last. */
  said: string;
  trouble?: {
    heading: string;
    message: string;
    /** Where in the file something is wrong, and what. */
    problems: readonly Problem[];
    /** How many more things are wrong. */
    others: number;
    /** What offers to bring it in all the same; absent where nothing can be. */
    allTheSame?: string;
  };
}

export interface ExchangeParts {
  logbook: Pick<Logbook, 'bench' | 'batches' | 'entriesOfBoard' | 'merge' | 'papers' | 'notesOf'>;
  /** The time of day. */
  today(): Date;
  /** Serial numbers of the boards at the bench whose calibration is not ended. */
  underWay(): readonly string[];
  /** Resolves when this page has the bench; rejects with a `BenchError` where another has it. */
  ready(): Promise<void>;
}

/** How many differing entries are named. */
const MOST_NAMED = 10;

/** How far the clock of another bench may be ahead of this one's, milliseconds: a day, as for a wrong time zone. */
const CLOCKS_APART = 86_400_000;

/** @throws BenchError where it cannot be loaded, for want of the place this page came from */
const fileReader = () =>
  import('../../records/logbook-file-reader.ts').catch((error: unknown) => {
    throw new BenchError('not_loaded', messageOf(error));
  });

/** Lets the page draw and answer, for a turn of its loop. */
const turn = () => new Promise<void>((resolve) => setTimeout(resolve));

/** Takes entries out of the logbook as files, and brings them in, also those of other benches. */
export class Exchange {
  readonly #parts: ExchangeParts;
  readonly #listeners = new Set<() => void>();
  #state: ExchangeState = { said: '' };
  /** The file that was refused and may be brought in all the same. */
  #refused: Blob | undefined;

  constructor(parts: ExchangeParts) {
    this.#parts = parts;
  }

  get state(): ExchangeState {
    return this.#state;
  }

  /** Calls `listener` after every change of state, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /**
   * Entries as a logbook file: all (with all papers), those of a board, or those of one calibration of it. With a
   * calibration goes what the board was then: without its scales its readings could not be fitted elsewhere.
   *
   * @returns the file and how many entries it holds; nothing where the logbook cannot be read, which is shown then, or
   *   while something else is done
   */
  async takeOut(
    holds: { board?: string; calibration?: string } = {},
  ): Promise<(FileOut<Blob> & { entries: number }) | undefined> {
    return this.#during('Taking out', async () => {
      const notes = holds.board === undefined ? await this.#allNotes() : [];
      return this.#fileOf(holds, this.#batches(holds), notes);
    });
  }

  /**
   * One paper alone as a logbook file, with all entries of the boards it is of.
   *
   * @param boards serial numbers
   * @returns as {@link takeOut}
   */
  async takeOutPaper(
    paper: string,
    boards: readonly string[],
  ): Promise<(FileOut<Blob> & { entries: number }) | undefined> {
    const { logbook } = this.#parts;
    const batches = async function* () {
      for (const board of new Set(boards)) yield* logbook.batches(board);
    };
    return this.#during('Taking out', async () => {
      const notes = await logbook.notesOf(paper);
      return this.#fileOf({ paper }, batches(), notes);
    });
  }

  async #fileOf(
    holds: Holding,
    batches: AsyncIterable<readonly StoredEntry[]>,
    notes: readonly Note[],
  ): Promise<FileOut<Blob> & { entries: number }> {
    const { bench } = this.#parts.logbook;
    const exported = this.#parts.today().toISOString();
    const parts: Blob[] = [];
    let count = 0;
    const counted = async function* () {
      for await (const batch of batches) {
        count += batch.length;
        yield batch;
      }
    };
    // a Blob of each part, so that the browser may put it on disk
    for await (const part of writeLogbook({ exported, bench, holds }, counted(), notes))
      parts.push(new Blob([part]));
    const named = papersInShort(notes).find(({ paper }) => paper === holds.paper);
    this.#change({ said: `${capital(both(count, '', notes.length))} taken out.` });
    return {
      name: fileName(
        [named?.of ?? 'logbook', named?.name ?? holds.board, day(holds, exported)],
        'json',
      ),
      content: new Blob(parts),
      type: 'application/json',
      entries: count,
    };
  }

  async #allNotes(): Promise<Note[]> {
    const { logbook } = this.#parts;
    const papers = await Promise.all([logbook.papers('course'), logbook.papers('workshop')]);
    return (await Promise.all(papers.flat().map(({ paper }) => logbook.notesOf(paper)))).flat();
  }

  /** The readings of a calibration as a readings file. @returns as {@link takeOut}; nothing where it has none, too */
  async takeOutReadings(board: string, calibration: string): Promise<FileOut<Blob> | undefined> {
    return this.#during('Taking out', async () => {
      const text = calibrationCsv(await this.#parts.logbook.entriesOfBoard(board), calibration);
      if (text === undefined) {
        this.#change({ said: 'This calibration has no readings.' });
        return undefined;
      }
      const name = fileName(['readings', board, day({ calibration }, '')], 'csv');
      this.#change({ said: 'Readings taken out.' });
      return { name, content: new Blob([text]), type: 'text/csv' };
    });
  }

  /**
   * Brings in a logbook file, all of it or nothing. Entries that are here already are passed over. Where an entry differs
   * from the one that is here under its bench and number, nothing is brought in unless a person wants both kept.
   * Only the page that has the bench brings anything in: no other knows what is under way.
   */
  async bringIn(file: Blob, { keepBoth = false } = {}): Promise<void> {
    await this.#during('Reading the file', async () => {
      this.#refused = undefined;
      await this.#parts.ready();
      if (file.size > MOST_BYTES) {
        const message = `The file is too long for a logbook file (over ${MOST_BYTES} bytes). Nothing was changed.`;
        return this.#refuse({ message });
      }
      const { readLogbookFile } = await fileReader();
      const bytes = await bytesOf(file);
      if (bytes === undefined) return this.#refuse({ message: UNREADABLE });
      const read = await readLogbookFile(bytes, (done, of) => {
        this.#change({ work: `Checking the file: ${done} of ${of} entries` });
        return turn();
      });
      if (!read.ok) return this.#refuse(read);
      this.#change({ work: 'Comparing with what is here' });
      const { differing, wrong, late, fresh } = await this.#compare(read.entries);
      const changed = await this.#compareNotes(read.notes);
      late.push(...changed.late);
      if (late.length > 0) {
        const message =
          'The file holds what is dated of a time that is yet to come: they would stay the newest whatever is done here, so none of it was taken in. Nothing was changed. If the clock of this computer is slow, set it and bring the file in again; otherwise the clock where the file was written was fast.';
        return this.#refuse({ message, ...named(late) });
      }
      if (wrong.length > 0) {
        const message =
          'The file says of a calibration that is here that it is another board’s, so none of it was taken in. Nothing was changed.';
        return this.#refuse({ message, ...named(wrong) });
      }
      if (changed.differing.length > 0) {
        const message =
          'Notes of the file differ from those that are here under the same ids, so the file was changed since it was taken out. None of it was taken in, and nothing was changed. Use a file as it was taken out.';
        return this.#refuse({ message, ...named(changed.differing) });
      }
      if (differing.length > 0 && !keepBoth) {
        this.#refused = file;
        const what =
          differing.length === 1
            ? 'An entry of the file differs from the one that is here under the same bench and number'
            : `${differing.length} entries of the file differ from those that are here under the same bench and number`;
        const message = `${what}, so none of it was taken in. Nothing was changed. Such a file was changed by hand, or this logbook was put back as it had been and then written on. If you trust the file, both can be kept.`;
        return this.#refuse({
          message,
          ...named(differing),
          allTheSame: 'Bring it in, and keep both',
        });
      }
      const board = await this.#changedUnderWay(fresh);
      if (board !== undefined) {
        const message = `A calibration of board ${board} is under way here, and what the file holds would change it or take its place. Nothing was changed. End the calibration or leave it, then bring the file in.`;
        return this.#refuse({ message });
      }
      this.#change({ work: 'Writing to the logbook' });
      const merged = await this.#parts.logbook.merge(read.entries, read.notes);
      if (!merged.ok) throw new LogbookError(merged);
      this.#change({ said: mergedWords(merged, read.entries) });
    });
  }

  /** Brings in what was refused because entries differ, and keeps both. */
  async bringInAllTheSame(): Promise<void> {
    const file = this.#refused;
    if (file) await this.bringIn(file, { keepBoth: true });
  }

  #batches({ board, calibration }: Holding): AsyncIterable<readonly StoredEntry[]> {
    const { logbook } = this.#parts;
    if (board === undefined || calibration === undefined) return logbook.batches(board);
    return once(logbook.entriesOfBoard(board).then((all) => ofCalibration(all, calibration)));
  }

  /** Holds entries of a file against all that is here. `fresh` are those that would be added, as they would be named. */
  async #compare(entries: readonly ForeignEntry[]): Promise<{
    differing: Problem[];
    wrong: Problem[];
    late: Problem[];
    fresh: ForeignEntry[];
  }> {
    const latest = this.#parts.today().getTime() + CLOCKS_APART;
    const given = new Map(entries.map((each, at) => [keyOf(each), { each, at }]));
    const boards = new Map(
      entries.flatMap(({ entry }, at) =>
        entry.calibration === undefined ? [] : [[entry.calibration, { board: entry.board, at }]],
      ),
    );
    const same = new Set<string>();
    const differs = new Map<string, Problem>();
    const wrong = new Map<string, Problem>();
    for await (const batch of this.#parts.logbook.batches()) {
      for (const stored of batch) {
        const here = asWritten(this.#parts.logbook.bench, stored);
        for (const key of [keyOf(here), keyOf({ ...here, bench: writerOf(here.bench) })]) {
          const found = given.get(key);
          if (!found) continue;
          if (isSameData(found.each.entry, here.entry)) same.add(key);
          else differs.set(key, differenceOf(found.each, found.at));
        }
        const { calibration = '', board } = here.entry;
        const said = boards.get(calibration);
        if (said && said.board !== board) {
          const what = `calibration “${calibration}” is of board ${board} here`;
          wrong.set(calibration, { path: `entries[${said.at}].entry.board`, what });
        }
      }
    }
    return {
      differing: [...differs].flatMap(([key, problem]) => (same.has(key) ? [] : [problem])),
      wrong: [...wrong.values()],
      late: entries.flatMap((each, at) =>
        Date.parse(each.entry.time) > latest && !same.has(keyOf(each)) ? [lateness(each, at)] : [],
      ),
      fresh: entries
        .filter((each) => !same.has(keyOf(each)))
        .map((each) =>
          differs.has(keyOf(each)) ? { ...each, bench: `${writerOf(each.bench)} (2)` } : each,
        ),
    };
  }

  /** The same of notes, and what of them is dated too late. */
  async #compareNotes(notes: readonly Note[]): Promise<{ differing: Problem[]; late: Problem[] }> {
    if (notes.length === 0) return { differing: [], late: [] };
    const latest = this.#parts.today().getTime() + CLOCKS_APART;
    const here = await this.#allNotes();
    const there = new Map(here.map((note) => [note.id, note]));
    const kinds = new Map(here.map(({ paper, of }) => [paper, of]));
    const differing: Problem[] = [];
    const late: Problem[] = [];
    for (const [at, note] of notes.entries()) {
      const same = there.get(note.id);
      const of = kinds.get(note.paper) ?? note.of;
      if (same ? !isSameData(same, note) : of !== note.of)
        differing.push({ path: `notes[${at}]`, what: `of a ${note.of}: it is another here` });
      if (!same && Date.parse(note.time) > latest)
        late.push({ path: `notes[${at}].time`, what: `of a ${note.of}, is of ${note.time}` });
    }
    return { differing, late };
  }

  /**
   * A board whose calibration under way would be another, or stand elsewhere, with these entries: by the same fold that
   * the work goes by.
   */
  async #changedUnderWay(fresh: readonly ForeignEntry[]): Promise<string | undefined> {
    const { logbook } = this.#parts;
    for (const board of this.#parts.underWay()) {
      const added = fresh.filter(({ entry }) => entry.board === board);
      if (added.length === 0) continue;
      const here = await logbook.entriesOfBoard(board);
      const then = inReadingOrder(logbook.bench, [
        ...here,
        ...added.map(({ bench, number, entry }) =>
          bench === logbook.bench
            ? { ...entry, number }
            : { ...entry, number, foreign: { bench, number } },
        ),
      ]);
      if (!isSameData(foldHistory(here).calibration, foldHistory(then).calibration)) return board;
    }
    return undefined;
  }

  #refuse(trouble: Partial<NonNullable<ExchangeState['trouble']>> & { message: string }): void {
    const { message, problems = [], others = 0, allTheSame } = trouble;
    this.#change({
      said: '',
      trouble: {
        heading: 'Nothing was brought in',
        message,
        problems,
        others,
        ...(allTheSame !== undefined && { allTheSame }),
      },
    });
  }

  /** Does one thing at a time; what goes wrong with the logbook or the bench is shown. */
  async #during<T>(work: string, task: () => Promise<T>): Promise<T | undefined> {
    if (this.#state.work !== undefined) return undefined;
    this.#state = { said: '' };
    this.#change({ work });
    try {
      return await task();
    } catch (error) {
      if (!(error instanceof LogbookError || error instanceof BenchError)) throw error;
      const heading = error instanceof BenchError ? error.heading : 'The logbook could not do this';
      const { message } = error;
      this.#change({ said: '', trouble: { heading, message, problems: [], others: 0 } });
      return undefined;
    } finally {
      const { work: _, ...rest } = this.#state;
      this.#state = rest;
      this.#tell();
    }
  }

  #change(change: Partial<ExchangeState>): void {
    this.#state = { ...this.#state, ...change };
    this.#tell();
  }

  #tell(): void {
    for (const listener of this.#listeners) listener();
  }
}

const keyOf = ({ bench, number }: Pick<ForeignEntry, 'bench' | 'number'>) => `${bench} ${number}`;

const differenceOf = ({ bench, number, entry }: ForeignEntry, at: number): Problem => ({
  path: `entries[${at}]`,
  what: `“${entry.kind}” of board ${entry.board}, entry ${number} of bench ${bench.slice(0, 8)}, is another here`,
});

const lateness = ({ bench, number, entry }: ForeignEntry, at: number): Problem => ({
  path: `entries[${at}].entry.time`,
  what: `“${entry.kind}” of board ${entry.board}, entry ${number} of bench ${bench.slice(0, 8)}, is of ${entry.time}`,
});

const named = (all: readonly Problem[]) => ({
  problems: all.slice(0, MOST_NAMED),
  others: Math.max(0, all.length - MOST_NAMED),
});

/** The entries of a calibration, after what the board was, and what it ran, when it was begun. */
function ofCalibration(all: readonly StoredEntry[], calibration: string): StoredEntry[] {
  const first = all.findIndex((entry) => entry.calibration === calibration);
  if (first < 0) return [];
  const before = all.slice(0, first);
  const last = (kind: StoredEntry['kind']) => before.findLast((entry) => entry.kind === kind) ?? [];
  const own = all.filter((entry) => entry.calibration === calibration);
  return [last('board linked'), last('coefficients saved'), own].flat();
}

async function* once<T>(batch: Promise<T>): AsyncGenerator<T> {
  yield await batch;
}

const entriesWords = (count: number): string => (count === 1 ? 'One entry' : `${count} entries`);

const notesWords = (count: number): string => (count === 1 ? 'one note' : `${count} notes`);

/** What of entries and notes there is, such as "3 entries of one board, and 2 notes". */
const both = (entries: number, of: string, notes: number): string =>
  [
    ...(entries > 0 || notes === 0 ? [entriesWords(entries).toLowerCase() + of] : []),
    ...(notes > 0 ? [notesWords(notes)] : []),
  ].join(', and ');

const capital = (words: string): string => words.charAt(0).toUpperCase() + words.slice(1);

function mergedWords({ added, already, notes }: Merged, entries: readonly ForeignEntry[]): string {
  const boards = new Set(entries.map(({ entry }) => entry.board)).size;
  const of = boards === 1 ? ' of one board' : ` of ${boards} boards`;
  const { added: fresh, already: known } = notes ?? { added: 0, already: 0 };
  if (entries.length === 0 && !notes)
    return 'There are no entries in the file. Nothing was changed.';
  if (added + fresh === 0) return `Everything in the file was here already (${both(already, of, known)}). Nothing was changed.`; // prettier-ignore
  const rest = already + known === 0 ? '' : ` ${capital(both(already, '', known))} ${already + known === 1 ? 'was' : 'were'} here already.`; // prettier-ignore
  return `Brought in: ${both(added, of, fresh)}.${rest}`;
}

/** The day of a calibration where its name holds one, else of the taking out. */
const day = ({ calibration }: Holding, exported: string): string =>
  /\d{4}-\d\d-\d\d/.exec(calibration ?? exported)?.[0] ?? '';
