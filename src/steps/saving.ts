import type { Board, BoardReading, MemoryState, StoredSet } from '../protocol/board.ts';
import type { CaptureAim, Entry, UnreadableReading } from '../records/entries.ts';
import { fetchedWords, foundWords, unreadableWords } from './bench-words.ts';
import { fetchInBatches } from './board-memory.ts';
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
  const said = await fetchLacking(desk, board, memory, 'Saving what is on the board');
  const stamp = desk.stamp(board.identity.serial);
  await desk.append(
    { ...stamp, kind: 'board linked', identity: board.identity, link },
    { ...stamp, kind: 'coefficients saved', ...(await setsOn(board, signal)) },
    { ...stamp, kind: 'memory saved', memory, readings: [] },
    ...endOfCapture(desk),
  );
  if (said.length > 0) desk.say(said.join(' '));
  return memory.last;
}

/**
 * Records every reading in a board's memory whose number the logbook lacks, some at a time: what came before a link
 * broke need not come again.
 *
 * @param what is being done, for the screen
 * @returns what to say of it, a sentence each
 */
export async function fetchLacking(
  desk: Desk,
  board: Board,
  memory: MemoryState,
  what: string,
): Promise<string[]> {
  const { known } = desk.state.history;
  const fetching = fetchInBatches(
    board,
    memory,
    (number) => !known.has(number),
    (done, of) => desk.show({ what, done, of, stoppable: true }),
    desk.signal,
  );
  const awaitedWords: string[] = [];
  const senseless: UnreadableReading[] = [];
  let count = 0;
  for await (const { readings, unreadable } of fetching) {
    const awaited = awaitedAmong(desk, readings);
    const found = readings.filter((reading) => reading !== awaited?.reading);
    await desk.append(
      {
        ...desk.stamp(board.identity.serial),
        kind: 'memory saved',
        memory,
        readings: found,
        ...(unreadable.length > 0 && { unreadable }),
      },
      ...(awaited ? [readingEntry(desk, awaited.reading, awaited.aim.purpose, awaited.aim)] : []),
    );
    if (awaited) awaitedWords.push(fetchedWords(awaited.reading, awaited.aim));
    senseless.push(...unreadable);
    count += found.length;
  }
  return [
    ...awaitedWords,
    ...(count > 0 ? [foundWords(count)] : []),
    ...(senseless.length > 0 ? [unreadableWords(senseless)] : []),
  ];
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
  // A board whose memory was empty says nothing of the numbers it gave before: then the first one after that is meant.
  const reading =
    aim.after === 0 ? readings[0] : readings.find((each) => each.reading === aim.after + 1);
  return reading && { reading, aim };
}

/** What became of a capture that was begun before the link was lost, where its reading is not here by now. */
function endOfCapture(desk: Desk): Entry[] {
  if (!desk.state.history.calibration?.captureBegun) return [];
  const reason = 'The board’s memory holds no reading of it';
  return [{ ...desk.inCalibration(), kind: 'capture failed', reason }];
}
