import * as v from 'valibot';
import { checkEntry, list, text, time } from './entry-schemas.ts';
import { openJsonFile, type JsonFault } from './json-file.ts';
import { MOST_BYTES, TYPE, VERSION, type LogbookFile } from './logbook-file.ts';
import { HIGHEST_NUMBER, isSameData, type ForeignEntry } from './logbook.ts';
import { checkNote } from './note-schemas.ts';
import type { Note } from './papers.ts';

/** Reads a logbook file (logbook-file.ts), trusting nothing of it. */

const MOST_ENTRIES = 2_000_000;
const MOST_NOTES = 500_000;
/** Lists and objects within each other in one entry; a fit has five. */
const MOST_DEPTH = 12;
/** How much of what is wrong with a file is said. */
const MOST_PROBLEMS = 20;

/** One thing that is wrong. */
export interface Problem {
  /** Where, such as `entries[17].entry.reading.acc[2]`. */
  path: string;
  what: string;
}

export interface LogbookFileFault extends JsonFault {
  /** The first of what is wrong within it; empty where the file as a whole is meant. */
  problems: readonly Problem[];
  /** How many there are beside these. */
  others: number;
}

const BENCH = /^[0-9a-f]{32}$/;
/** An entry that differed from another of the same bench and number, and was kept beside it, has a mark. */
const WRITER = /^[0-9a-f]{32}( \([1-9]\d{0,3}\))?$/;

const headFields = {
  type: v.literal(TYPE),
  exported: time,
  bench: v.pipe(v.string(), v.regex(BENCH, 'it must be the id of a bench, 32 hexadecimal digits')),
  entries: list(v.unknown(), MOST_ENTRIES),
};
const holds = {
  board: v.exactOptional(text(64, 1)),
  calibration: v.exactOptional(text(100, 1)),
};

/** The file in each version, its entries and notes not looked at. */
export const HEADS = [
  v.strictObject({ ...headFields, version: v.literal(1), holds: v.strictObject(holds) }),
  v.strictObject({
    ...headFields,
    version: v.literal(VERSION),
    holds: v.strictObject({
      ...holds,
      paper: v.exactOptional(
        v.pipe(text(32), v.regex(BENCH, 'it must be the id of a paper, 32 hexadecimal digits')),
      ),
    }),
    notes: list(v.unknown(), MOST_NOTES),
  }),
] as const;
const Head = v.variant('version', HEADS);

/** One of its entries, not looked at, and whose it is. */
export const Row = v.strictObject(
  {
    bench: v.pipe(
      v.string('it must be a text'),
      v.regex(WRITER, 'it must be the id of a bench, 32 hexadecimal digits'),
    ),
    number: v.pipe(
      v.number('it must be a number'),
      v.integer('it must be a whole number'),
      v.minValue(1, 'it must be 1 at least'),
      v.maxValue(HIGHEST_NUMBER - 1, `it must be below ${HIGHEST_NUMBER}`),
    ),
    entry: v.unknown(),
  },
  'it must be an object',
);

/** Gathers what is wrong with a file. */
class Problems {
  readonly first: Problem[] = [];
  count = 0;

  add(path: string, what: string): void {
    this.count++;
    if (this.first.length < MOST_PROBLEMS) this.first.push({ path: path.replace(/^\./, ''), what });
  }

  addIssue(within: string, issue: v.BaseIssue<unknown>): void {
    const path = (issue.path ?? []).map(({ key }) => step(key)).join('');
    const what =
      issue.type === 'strict_object' && issue.expected === 'never'
        ? 'no such field is known here'
        : issue.received === 'undefined'
          ? 'it is missing'
          : issue.message;
    this.add(within + path, what);
  }
}

/** One step of a path; a key that is no plain word is shortened, and shown without control characters. */
function step(key: unknown): string {
  if (typeof key === 'number') return `[${key}]`;
  const text = String(key);
  if (/^[A-Za-z_]\w{0,39}$/.test(text)) return `.${text}`;
  const short = text.length > 40 ? `${text.slice(0, 40)}…` : text;
  return `["${short.replace(/\p{C}|"/gu, '·')}"]`;
}

/**
 * Reads such a file from its bytes, whole or not at all.
 *
 * @param breathe called now and then with how many of how many entries were looked at
 */
export async function readLogbookFile(
  bytes: Uint8Array,
  breathe: (done: number, of: number) => Promise<void> = async () => {},
): Promise<({ ok: true } & LogbookFile) | LogbookFileFault> {
  const kind = { type: TYPE, version: VERSION, label: 'logbook file', mostBytes: MOST_BYTES };
  const opened = openJsonFile(bytes, kind);
  if (!opened.ok) return { ...opened, problems: [], others: 0 };
  const problems = new Problems();
  const head = readHead(opened.content, problems);
  if (!head) return faulty(problems);
  const entries: ForeignEntry[] = [];
  const there = new Map<string, ForeignEntry>();
  const boards = new Map<string, string>();
  for (const [at, row] of head.entries.entries()) {
    const read = readRow(row, `entries[${at}]`, problems);
    if (read && isFirst(read, `entries[${at}]`, there, problems)) {
      isOfOneBoard(read, `entries[${at}]`, boards, problems);
      entries.push(read);
    }
    if (at % 2000 === 1999) await breathe(at + 1, head.entries.length);
  }
  const notes = head.version === 1 ? [] : readNotes(head.notes, problems);
  if (problems.count > 0) return faulty(problems);
  const { exported, bench, holds } = head;
  return { ok: true, exported, bench, holds, entries, notes };
}

function faulty({ first, count }: Problems): LogbookFileFault {
  const wrong = count === 1 ? 'One thing is wrong' : `${count} things are wrong`;
  return {
    ok: false,
    cause: 'bad_value',
    message: `${wrong} with the file, so none of it was taken in. Nothing was changed.`,
    problems: first,
    others: count - first.length,
  };
}

function readHead(content: unknown, problems: Problems): v.InferOutput<typeof Head> | undefined {
  // the lists are looked at item by item, and must not be walked here
  const { entries: _, notes: _notes, ...rest } = content as { entries?: unknown; notes?: unknown };
  const harm = harmIn(rest);
  if (harm) {
    problems.add(harm.path, harm.what);
    return undefined;
  }
  const read = v.safeParse(Head, content);
  if (read.success) return read.output;
  for (const issue of read.issues) problems.addIssue('', issue);
  return undefined;
}

function readRow(row: unknown, path: string, problems: Problems): ForeignEntry | undefined {
  const harm = harmIn(row);
  if (harm) {
    problems.add(path + harm.path, harm.what);
    return undefined;
  }
  const read = v.safeParse(Row, row, { abortEarly: true });
  if (!read.success) {
    for (const issue of read.issues) problems.addIssue(path, issue);
    return undefined;
  }
  const checked = checkEntry(read.output.entry);
  if (!checked.ok) {
    for (const issue of checked.issues) problems.addIssue(`${path}.entry`, issue);
    return undefined;
  }
  return { ...read.output, entry: checked.entry };
}

/** Every note once; one that stands there twice and differs, and a paper of two kinds, are problems. */
function readNotes(given: readonly unknown[], problems: Problems): Note[] {
  const notes = new Map<string, Note>();
  const kinds = new Map<string, Note['of']>();
  for (const [at, each] of given.entries()) {
    const path = `notes[${at}]`;
    const harm = harmIn(each);
    if (harm) {
      problems.add(path + harm.path, harm.what);
      continue;
    }
    const checked = checkNote(each);
    if (!checked.ok) {
      for (const issue of checked.issues) problems.addIssue(path, issue);
      continue;
    }
    const { note } = checked;
    const before = notes.get(note.id);
    if (before && !isSameData(before, note)) {
      problems.add(path, 'a note of this id stands in the file twice, and differs');
    }
    const of = kinds.get(note.paper) ?? note.of;
    if (of !== note.of) problems.add(`${path}.of`, `notes before have this paper as a ${of}`);
    kinds.set(note.paper, of);
    notes.set(note.id, note);
  }
  return [...notes.values()];
}

/**
 * What in it is nested too deep, or named as what every object has (`__proto__`, `constructor`), which no schema would
 * notice; nothing where all is well.
 */
function harmIn(value: unknown, depth = 0): Problem | undefined {
  if (typeof value !== 'object' || value === null) return undefined;
  if (depth > MOST_DEPTH) return { path: '', what: 'it is nested too deep' };
  for (const key of Object.keys(value)) {
    if (key in Object.prototype) return { path: step(key), what: 'no field may have this name' };
    const harm = harmIn((value as Record<string, unknown>)[key], depth + 1);
    if (harm) return { ...harm, path: step(Array.isArray(value) ? Number(key) : key) + harm.path };
  }
  return undefined;
}

/** Whether no entry before was the same; one of the same bench and number that differs is a problem. */
function isFirst(
  each: ForeignEntry,
  path: string,
  there: Map<string, ForeignEntry>,
  problems: Problems,
): boolean {
  const key = `${each.bench} ${each.number}`;
  const before = there.get(key);
  if (!before) {
    there.set(key, each);
    return true;
  }
  if (!isSameData(before.entry, each.entry)) {
    problems.add(path, `entry ${each.number} of this bench stands in the file twice, and differs`);
  }
  return false;
}

function isOfOneBoard(
  { entry }: ForeignEntry,
  path: string,
  boards: Map<string, string>,
  problems: Problems,
): void {
  const { calibration, board } = entry;
  if (calibration === undefined) return;
  const before = boards.get(calibration);
  if (before === undefined) boards.set(calibration, board);
  else if (before !== board) {
    problems.add(`${path}.entry.board`, 'entries before have this calibration on another board');
  }
}
