import {
  numbersFrom,
  recallEach,
  type Board,
  type BoardReading,
  type MemoryState,
} from '../protocol/board.ts';
import type { Entry, EntryOf, UnreadableReading } from '../records/entries.ts';
import { sameReading } from './calibration-state.ts';

/** What a board's memory holds beside what the logbook holds of it. */

/** What came out of a board's memory. */
export interface Fetched {
  readings: readonly BoardReading[];
  unreadable: readonly UnreadableReading[];
}

/**
 * Recalls every reading in the board's memory whose number is wanted. One that makes no sense is named with the reason;
 * one that the board does not hold after all is passed over.
 *
 * @param onProgress told before each how many were asked for, and of how many
 * @throws ProtocolError as `recall` does, but for `nonsense`
 */
export async function fetchReadings(
  board: Pick<Board, 'recall'>,
  { first, last, count }: MemoryState,
  wanted: (reading: number) => boolean,
  onProgress: (done: number, of: number) => void,
  signal: AbortSignal,
): Promise<Fetched> {
  const numbers = count === 0 ? [] : [...numbersFrom(first, last)].filter(wanted);
  const readings: BoardReading[] = [];
  const unreadable: UnreadableReading[] = [];
  const withProgress = function* () {
    for (const [done, number] of numbers.entries()) {
      onProgress(done, numbers.length);
      yield number;
    }
  };
  const note = (reading: number, error: Error) =>
    unreadable.push({ reading, reason: error.message });
  for await (const reading of recallEach(board, withProgress(), note, signal)) {
    readings.push(reading);
  }
  return { readings, unreadable };
}

/** How many readings are recorded together: so many at most come again after a link that broke. */
const BATCH = 32;

/** The same, a batch at a time, so that each can be recorded before the next is asked for. */
export async function* fetchInBatches(
  board: Pick<Board, 'recall'>,
  memory: MemoryState,
  wanted: (reading: number) => boolean,
  onProgress: (done: number, of: number) => void,
  signal: AbortSignal,
): AsyncGenerator<Fetched, void, void> {
  const { first, last, count } = memory;
  const numbers = count === 0 ? [] : [...numbersFrom(first, last)].filter(wanted);
  for (let at = 0; at < numbers.length; at += BATCH) {
    const batch = new Set(numbers.slice(at, at + BATCH));
    const inBatch = (number: number) => batch.has(number);
    const show = (done: number) => onProgress(at + done, numbers.length);
    yield await fetchReadings(board, memory, inBatch, show, signal);
  }
}

/** Every reading that some entries hold. */
export const readingsAmong = (entries: readonly Entry[]): BoardReading[] =>
  entries.flatMap(readingsIn);

/** Those readings that none of a board's entries holds with the same number and the same counts. */
export function notHeldBy(
  entries: readonly Entry[],
  readings: readonly BoardReading[],
): BoardReading[] {
  const held = new Map<number, BoardReading[]>();
  for (const reading of entries.flatMap(readingsIn)) {
    held.set(reading.reading, [...(held.get(reading.reading) ?? []), reading]);
  }
  return readings.filter(
    (reading) => !held.get(reading.reading)?.some((each) => sameReading(each, reading)),
  );
}

function readingsIn(entry: Entry): readonly BoardReading[] {
  if (entry.kind === 'memory saved') return entry.readings;
  if (isTaking(entry)) return [entry.reading];
  return [];
}

const TAKINGS = ['reading', 'proof reading', 'check reading'] as const;
const isTaking = (entry: Entry): entry is EntryOf<(typeof TAKINGS)[number]> =>
  TAKINGS.some((kind) => kind === entry.kind);
