import type { StoredEntry } from './entries.ts';
import type { ForeignEntry } from './logbook.ts';
import type { Note } from './papers.ts';

/**
 * The logbook as a JSON file (docs/files.md, docs/schemas/logbook-2.schema.json): what it is, and how it is
 * written. How it is read stands in logbook-file-reader.ts, which knows every kind of entry and is loaded when it is needed.
 */

export const TYPE = 'lodebench.logbook';
/** The newest; a file without papers is of version 1, so that programs that know of none read it. */
export const VERSION = 2;

/** The most bytes such a file may have: 150,000 readings with their fits have some hundred million. */
export const MOST_BYTES = 400_000_000;

/** What a file holds: of everything, of one board, of one calibration of it, or of one paper with the boards it is of. */
export interface Holding {
  board?: string;
  calibration?: string;
  paper?: string;
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
  /** None stands there twice. */
  notes: readonly Note[];
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
 * @param notes of papers that go with them
 */
export async function* writeLogbook(
  { exported, bench, holds }: LogbookFileHead,
  batches: AsyncIterable<readonly StoredEntry[]>,
  notes: readonly Note[] = [],
): AsyncGenerator<string, void, void> {
  const version = notes.length > 0 ? VERSION : 1;
  const head = { type: TYPE, version, exported, bench, holds };
  yield `${JSON.stringify(head).slice(0, -1)},"entries":[`;
  let between = '\n';
  for await (const batch of batches) {
    if (batch.length === 0) continue;
    yield between + batch.map((entry) => JSON.stringify(asWritten(bench, entry))).join(',\n');
    between = ',\n';
  }
  if (version > 1) yield `\n],"notes":[\n${notes.map((note) => JSON.stringify(note)).join(',\n')}`;
  yield '\n]}\n';
}
