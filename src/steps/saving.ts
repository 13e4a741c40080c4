import type { Board, BoardReading, StoredSet } from '../protocol/board.ts';
import type { CaptureAim, Entry } from '../records/entries.ts';
import { fetchedWords, foundWords, unreadableWords } from './bench-words.ts';
import { fetchReadings } from './board-memory.ts';
import type { Desk } from './desk.ts';
import { readingEntry } from './taking.ts';

/**
 * Records who the board is and all that is on it, before anything on it is changed; a reading that was asked for before
 * the link was lost gets its place.
 *
 * @param link what a person would call the link
 * @returns the newest number the board has given
 */
export async function saveBoard(desk: Desk, board: Board, link: string): Promise<number> {
  const { signal } = desk;
  const memory = await board.memory(signal);
  const { known } = desk.state.history;
  const { readings, unreadable } = await fetchReadings(
    board,
    memory,
    (number) => !known.has(number),
    (done, of) => desk.show({ what: 'Saving what is on the board', done, of, stoppable: true }),
    signal,
  );
  const stamp = desk.stamp(board.identity.serial);
  const awaited = awaitedAmong(desk, readings);
  const found = readings.filter((reading) => reading !== awaited?.reading);
  await desk.append(
    { ...stamp, kind: 'board linked', identity: board.identity, link },
    { ...stamp, kind: 'coefficients saved', ...(await setsOn(board, signal)) },
    {
      ...stamp,
      kind: 'memory saved',
      memory,
      readings: found,
      ...(unreadable.length > 0 && { unreadable }),
    },
    ...endOfCapture(desk, awaited?.reading),
  );
  const said = [
    ...(awaited ? [fetchedWords(awaited.reading, awaited.aim)] : []),
    ...(found.length > 0 ? [foundWords(found.length)] : []),
    ...(unreadable.length > 0 ? [unreadableWords(unreadable)] : []),
  ];
  if (said.length > 0) desk.say(said.join(' '));
  return memory.last;
}

/** Both sets a board keeps, those it has. */
export async function setsOn(
  board: Board,
  signal?: AbortSignal,
): Promise<{ inForce?: StoredSet; previous?: StoredSet }> {
  const inForce = await board.coefficients('in_force', signal);
  const previous = await board.coefficients('previous', signal);
  return { ...(inForce && { inForce }), ...(previous && { previous }) };
}

/** The reading that a capture was begun for before the link was lost. Of any other nobody knows the aim. */
function awaitedAmong(
  desk: Desk,
  readings: readonly BoardReading[],
): { reading: BoardReading; aim: CaptureAim } | undefined {
  const { captureBegun: aim, ended } = desk.state.history.calibration ?? {};
  if (!aim || ended) return undefined;
  const reading = readings.find((each) => each.reading === aim.after + 1);
  return reading && { reading, aim };
}

/** What became of a capture that was begun before the link was lost, now that its reading is here or is not. */
function endOfCapture(desk: Desk, reading: BoardReading | undefined): Entry[] {
  const begun = desk.state.history.calibration?.captureBegun;
  if (!begun) return [];
  if (reading) return [readingEntry(desk, reading, begun.purpose, begun)];
  const reason = 'The board’s memory holds no reading of it';
  return [{ ...desk.inCalibration(), kind: 'capture failed', reason }];
}
