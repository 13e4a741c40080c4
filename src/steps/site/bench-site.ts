import type { Logbook, LogbookFault } from '../../records/logbook.ts';
import { LogbookError } from '../../records/logbook.ts';
import { without } from '../copy-without.ts';
import type { GeoPlace } from './earth-field.ts';

/** Where the bench stands, and what tells the earth's field there. */
export interface KeptSite {
  place?: GeoPlace;
  /** How the place came to be known. */
  from?: 'typed' | 'browser';
  /** Coefficients of the earth's field in place of those that came with this program: the text of their file. */
  coefficients?: string;
}

const KEY = 'site of the bench';

/** The site of the bench, kept across reloads; the same for all boards at it. */
export class BenchSite {
  readonly #logbook: Pick<Logbook, 'kept' | 'keep'>;
  readonly #ready: () => Promise<void>;
  readonly #listeners = new Set<() => void>();
  #kept: KeptSite = {};
  #reading: Promise<void> | undefined;
  #keeping: Promise<void> = Promise.resolve();

  /** @param ready resolves when this page has the bench; rejects with a `BenchError` where another has it */
  constructor(logbook: Pick<Logbook, 'kept' | 'keep'>, ready: () => Promise<void>) {
    this.#logbook = logbook;
    this.#ready = ready;
  }

  /** What is known of it; empty until {@link read} has resolved. Replaced whole at every change. */
  get kept(): KeptSite {
    return this.#kept;
  }

  /** Calls `listener` after every change, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /**
   * Reads what was kept, once however often it is asked for.
   *
   * @throws LogbookError where it cannot be read; it can be asked for again then
   */
  read(): Promise<void> {
    this.#reading ??= this.#logbook.kept(KEY).then(
      // only the function below writes it
      (kept) => this.#change((kept as KeptSite | undefined) ?? {}),
      (error: unknown) => {
        this.#reading = undefined;
        throw error;
      },
    );
    return this.#reading;
  }

  /**
   * From now on the bench stands there.
   *
   * @throws BenchError where another page has the bench
   * @throws LogbookError where it could not be kept; nothing is changed then
   */
  keepPlace(place: GeoPlace, from: 'typed' | 'browser'): Promise<void> {
    return this.#keep((kept) => ({ ...kept, place, from }));
  }

  /** Nobody is to know any more where the bench stands. Throws as {@link keepPlace}. */
  forgetPlace(): Promise<void> {
    return this.#keep((kept) => without(kept, 'place', 'from'));
  }

  /**
   * From now on the earth's field is told by these; by those that came with the program where none are given. Throws as
   * {@link keepPlace}.
   *
   * @param coefficients text that {@link readFieldModel} can read
   */
  keepCoefficients(coefficients?: string): Promise<void> {
    return this.#keep((kept) =>
      coefficients === undefined ? without(kept, 'coefficients') : { ...kept, coefficients },
    );
  }

  /** One after the other: each change is made to what the one before it left. */
  #keep(changed: (kept: KeptSite) => KeptSite): Promise<void> {
    const keeping = this.#keeping.then(async () => {
      await this.#ready();
      await this.read();
      const site = changed(this.#kept);
      const outcome: { ok: true } | LogbookFault = await this.#logbook.keep(KEY, site);
      if (!outcome.ok) throw new LogbookError(outcome);
      this.#change(site);
    });
    this.#keeping = keeping.catch(() => {}); // told to whoever asked for it; the next is tried all the same
    return keeping;
  }

  #change(kept: KeptSite): void {
    this.#kept = kept;
    for (const listener of this.#listeners) listener();
  }
}
