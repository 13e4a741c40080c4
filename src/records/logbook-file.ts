import type { StoredEntry } from './entries.ts';
import type { ForeignEntry } from './logbook.ts';

/**
 * Entries of the logbook as a JSON file (docs/files.md, docs/schemas/logbook-1.schema.json): what it is, and how it is
 * written. How it is read stands in logbook-file-reader.ts, which knows every kind of entry and is loaded when it is needed.
 */

export const TYPE = 'lodebench.logbook';
export const VERSION = 1;

/** The most bytes such a file may have: 150,000 readings with their fits have some hundred million. */
export const MOST_BYTES = 400_000_000;

/** What a file holds: of everything, of one board, or of one calibration of it. */
export interface Holding {
  board?: string;
  calibration?: string;
}

export interface LogbookFileHead {
  /** When it was taken out, ISO 8601, UTC. */
  exported: string;
  /** The bench that took it out. */
  bench: string;
  holds: Holding;
}

export interface LogbookFile extends LogbookFileHead {
  /** Each with the bench that wrote it, and its number there; none stands there twice. */
  entries: readonly ForeignEntry[];
}

/** An entry with the bench that wrote it, whichever bench's logbook it lies in. */
export function asWritten(bench: string, stored: StoredEntry): ForeignEntry {
  const { number, foreign, ...entry } = stored;
  return { bench, number, ...foreign, entry };
}

/**
 * Writes such a file, a part for each batch: a whole logbook would make too long a text for one.
 *
 * @param batches entries as they lie in the logbook of the bench that takes them out
 */
export async function* writeLogbook(
  { exported, bench, holds }: LogbookFileHead,
  batches: AsyncIterable<readonly StoredEntry[]>,
): AsyncGenerator<string, void, void> {
  const head = { type: TYPE, version: VERSION, exported, bench, holds };
  yield `${JSON.stringify(head).slice(0, -1)},"entries":[`;
  let between = '\n';
  for await (const batch of batches) {
    if (batch.length === 0) continue;
    yield between + batch.map((entry) => JSON.stringify(asWritten(bench, entry))).join(',\n');
    between = ',\n';
  }
  yield '\n]}\n';
}
