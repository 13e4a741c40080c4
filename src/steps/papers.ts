import { LogbookError, type Logbook } from '../records/logbook.ts';
import type { Note, PaperInShort, PaperKind } from '../records/papers.ts';
import type { Written } from './logbook/news.ts';

/** The papers of the logbook (records/papers.ts), whichever page has the bench; only that page writes. */
export class Papers {
  readonly #logbook: Pick<Logbook, 'bench' | 'write' | 'notesOf' | 'papers'>;
  readonly #ready: () => Promise<void>;
  readonly #listeners = new Set<(written: Written) => void>();

  /** @param ready resolves when this page has the bench; rejects with a `BenchError` where another has it */
  constructor(
    logbook: Pick<Logbook, 'bench' | 'write' | 'notesOf' | 'papers'>,
    ready: () => Promise<void>,
  ) {
    this.#logbook = logbook;
    this.#ready = ready;
  }

  /** Id of this logbook. */
  get bench(): string {
    return this.#logbook.bench;
  }

  /**
   * Adds notes, all or none; they are safe when it resolves.
   *
   * @throws BenchError where another page has the bench
   * @throws LogbookError where they could not be written
   */
  async write(...notes: Note[]): Promise<void> {
    await this.#ready();
    const written = await this.#logbook.write(...notes);
    if (!written.ok) throw new LogbookError(written);
  }

  /** All notes of one paper, in reading order. @throws LogbookError where they cannot be read */
  notesOf(paper: string): Promise<Note[]> {
    return this.#logbook.notesOf(paper);
  }

  /** A line for each paper of a kind. @throws LogbookError as above */
  papers(of: PaperKind): Promise<PaperInShort[]> {
    return this.#logbook.papers(of);
  }

  /**
   * Calls `listener` whenever notes or entries were written, here, in another page, or brought in, with the papers and
   * boards they are of, until the returned function is called.
   */
  subscribe(listener: (written: Written) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Tells whoever listens of what was written. */
  wrote(written: Written): void {
    for (const listener of this.#listeners) listener(written);
  }
}
