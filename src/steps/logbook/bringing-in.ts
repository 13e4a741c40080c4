import { asWritten, MOST_BYTES } from '../../records/logbook-file.ts';
import { readLogbookFile, type Problem } from '../../records/logbook-file-reader.ts';
import {
  isSameData,
  LogbookError,
  writerOf,
  type ForeignEntry,
  type Merged,
} from '../../records/logbook.ts';
import type { Note } from '../../records/papers.ts';
import { inReadingOrder } from '../../records/reading-order.ts';
import { foldHistory } from '../calibration-state.ts';
import { bytesOf, UNREADABLE } from '../chosen-file.ts';
import { allNotes, type ExchangeParts } from './exchange.ts';
import { capital, countWords } from './exchange-words.ts';

/** Bringing a logbook file in: loaded when it is wanted, with all kinds of entries and notes that it knows. */

/** Why nothing was brought in. */
export interface Refusal {
  ok: false;
  message: string;
  /** Where in the file something is wrong, and what. */
  problems: readonly Problem[];
  /** How many more things are wrong. */
  others: number;
  /** What offers to bring it in all the same; absent where nothing can be. */
  allTheSame?: string;
}

/** How many differing entries are named. */
const MOST_NAMED = 10;

/** How far the clock of another bench may be ahead of this one's, milliseconds: a day, as for a wrong time zone. */
const CLOCKS_APART = 86_400_000;

/** Lets the page draw and answer, for a turn of its loop. */
const turn = () => new Promise<void>((resolve) => setTimeout(resolve));

/**
 * Brings in a file, all of it or nothing ({@link Exchange.bringIn}).
 *
 * @param working told what is being done, as it goes
 * @throws LogbookError where the logbook cannot be read or written
 */
export async function broughtIn(
  file: Blob,
  parts: ExchangeParts,
  { keepBoth, working }: { keepBoth: boolean; working(what: string): void },
): Promise<{ ok: true; said: string } | Refusal> {
  if (file.size > MOST_BYTES) {
    return refused(
      `The file is too long for a logbook file (over ${MOST_BYTES} bytes). Nothing was changed.`,
    );
  }
  const bytes = await bytesOf(file);
  if (bytes === undefined) return refused(UNREADABLE);
  const read = await readLogbookFile(bytes, (done, of) => {
    working(`Checking the file: ${done} of ${of} entries`);
    return turn();
  });
  if (!read.ok) return read;
  working('Comparing with what is here');
  const { differing, wrong, late, fresh } = await compare(read.entries, parts);
  const notes = await compareNotes(read.notes, parts);
  if (late.length + notes.late.length > 0) {
    return refused(
      'The file holds entries or notes of a time that is yet to come: they would stay the newest whatever is done here, so none of it was taken in. Nothing was changed. If the clock of this computer is slow, set it and bring the file in again; otherwise the clock where the file was written was fast.',
      [...late, ...notes.late],
    );
  }
  if (wrong.length > 0) {
    return refused(
      'The file says of a calibration that is here that it is another board’s, so none of it was taken in. Nothing was changed.',
      wrong,
    );
  }
  if (notes.differing.length > 0) {
    return refused(
      'Notes of the file differ from those that are here under the same ids, so the file was changed since it was taken out. None of it was taken in, and nothing was changed. Use a file as it was taken out.',
      notes.differing,
    );
  }
  if (differing.length > 0 && !keepBoth) {
    const what =
      differing.length === 1
        ? 'An entry of the file differs from the one that is here under the same bench and number'
        : `${differing.length} entries of the file differ from those that are here under the same bench and number`;
    const message = `${what}, so none of it was taken in. Nothing was changed. Such a file was changed by hand, or this logbook was put back as it had been and then written on. If you trust the file, both can be kept.`;
    return { ...refused(message, differing), allTheSame: 'Bring it in, and keep both' };
  }
  const board = await changedUnderWay(fresh, parts);
  if (board !== undefined) {
    return refused(
      `A calibration of board ${board} is under way here, and what the file holds would change it or take its place. Nothing was changed. End the calibration or leave it, then bring the file in.`,
    );
  }
  working('Writing to the logbook');
  const merged = await parts.logbook.merge(read.entries, read.notes);
  if (!merged.ok) throw new LogbookError(merged);
  return { ok: true, said: mergedWords(merged, read.entries) };
}

const refused = (message: string, problems: readonly Problem[] = []): Refusal => ({
  ok: false,
  message,
  problems: problems.slice(0, MOST_NAMED),
  others: Math.max(0, problems.length - MOST_NAMED),
});

/** Holds entries of a file against all that is here. `fresh` are those that would be added, as they would be named. */
async function compare(
  entries: readonly ForeignEntry[],
  { logbook, today }: ExchangeParts,
): Promise<{
  differing: Problem[];
  wrong: Problem[];
  late: Problem[];
  fresh: ForeignEntry[];
}> {
  const latest = today().getTime() + CLOCKS_APART;
  const given = new Map(entries.map((each, at) => [keyOf(each), { each, at }]));
  const boards = new Map(
    entries.flatMap(({ entry }, at) =>
      entry.calibration === undefined ? [] : [[entry.calibration, { board: entry.board, at }]],
    ),
  );
  const same = new Set<string>();
  const differs = new Map<string, Problem>();
  const wrong = new Map<string, Problem>();
  for await (const batch of logbook.batches()) {
    for (const stored of batch) {
      const here = asWritten(logbook.bench, stored);
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
async function compareNotes(
  notes: readonly Note[],
  { logbook, today }: ExchangeParts,
): Promise<{ differing: Problem[]; late: Problem[] }> {
  if (notes.length === 0) return { differing: [], late: [] };
  const latest = today().getTime() + CLOCKS_APART;
  const here = await allNotes(logbook);
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
async function changedUnderWay(
  fresh: readonly ForeignEntry[],
  { logbook, underWay }: ExchangeParts,
): Promise<string | undefined> {
  for (const board of underWay()) {
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

const keyOf = ({ bench, number }: Pick<ForeignEntry, 'bench' | 'number'>) => `${bench} ${number}`;

const differenceOf = ({ bench, number, entry }: ForeignEntry, at: number): Problem => ({
  path: `entries[${at}]`,
  what: `“${entry.kind}” of board ${entry.board}, entry ${number} of bench ${bench.slice(0, 8)}, is another here`,
});

const lateness = ({ bench, number, entry }: ForeignEntry, at: number): Problem => ({
  path: `entries[${at}].entry.time`,
  what: `“${entry.kind}” of board ${entry.board}, entry ${number} of bench ${bench.slice(0, 8)}, is of ${entry.time}`,
});

function mergedWords({ added, already, notes }: Merged, entries: readonly ForeignEntry[]): string {
  const boards = new Set(entries.map(({ entry }) => entry.board)).size;
  const of = boards === 1 ? ' of one board' : ` of ${boards} boards`;
  const { added: fresh, already: known } = notes ?? { added: 0, already: 0 };
  if (entries.length === 0 && !notes)
    return 'There are no entries in the file. Nothing was changed.';
  if (added + fresh === 0) return `Everything in the file was here already (${countWords(already, of, known)}). Nothing was changed.`; // prettier-ignore
  const rest = already + known === 0 ? '' : ` ${capital(countWords(already, '', known))} ${already + known === 1 ? 'was' : 'were'} here already.`; // prettier-ignore
  return `Brought in: ${countWords(added, of, fresh)}.${rest}`;
}
