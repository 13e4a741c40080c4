import type { StoredEntry } from '../../records/entries.ts';
import { writeLogbook, type Holding } from '../../records/logbook-file.ts';
import type { Problem } from '../../records/logbook-file-reader.ts';
import { LogbookError, type Logbook } from '../../records/logbook.ts';
import { papersInShort, type Note } from '../../records/papers.ts';
import { BenchError, messageOf } from '../bench-words.ts';
import { fileName, type FileOut } from '../file-out.ts';
import type { Refusal } from './bringing-in.ts';
import { calibrationCsv } from './calibration-csv.ts';
import { capital, countWords } from './exchange-words.ts';

/** What the screen shows of taking out and bringing in: replaced whole at every change. */
export interface ExchangeState {
  /** What is being done now. */
  work?: string;
  /** What came of it last. */
  said: string;
  trouble?: ExchangeTrouble;
}

/** What went wrong with a file, or with a list that was given. */
export interface ExchangeTrouble {
  heading: string;
  message: string;
  /** Where in it something is wrong, and what. */
  problems: readonly Problem[];
  /** How many more things are wrong. */
  others: number;
  /** What the button says that does it all the same; absent where nothing can be. */
  allTheSame?: string;
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

/** @throws BenchError where it cannot be loaded, for want of the place this page came from */
const bringer = () =>
  import('./bringing-in.ts').catch((error: unknown) => {
    throw new BenchError('not_loaded', messageOf(error));
  });

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
      const notes = holds.board === undefined ? await allNotes(this.#parts.logbook) : [];
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
    this.#change({ said: `${capital(countWords(count, '', notes.length))} taken out.` });
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
      const { broughtIn } = await bringer();
      const outcome = await broughtIn(file, this.#parts, {
        keepBoth,
        working: (work) => this.#change({ work }),
      });
      if (outcome.ok) return this.#change({ said: outcome.said });
      if (outcome.allTheSame !== undefined) this.#refused = file;
      this.#refuse(outcome);
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

  #refuse({ message, problems, others, allTheSame }: Refusal): void {
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

/** The day of a calibration where its name holds one, else of the taking out. */
const day = ({ calibration }: Holding, exported: string): string =>
  /\d{4}-\d\d-\d\d/.exec(calibration ?? exported)?.[0] ?? '';

/** All notes of all papers. */
export async function allNotes(logbook: Pick<Logbook, 'papers' | 'notesOf'>): Promise<Note[]> {
  const papers = await Promise.all([logbook.papers('course'), logbook.papers('workshop')]);
  return (await Promise.all(papers.flat().map(({ paper }) => logbook.notesOf(paper)))).flat();
}
