import type { Board, BoardReading, MemoryState } from '../../protocol/board.ts';
import type { UnreadableReading } from '../../records/entries.ts';
import { BenchError, messageOf } from '../bench-words.ts';
import { fetchInBatches, notHeldBy } from '../board-memory.ts';
import type { Desk } from '../desk.ts';
import { isRefusal } from '../refusals.ts';

/** A board's memory held against the logbook, and let go. */

/**
 * Records every reading of the board that the logbook does not hold. Each is recalled and compared: a number alone proves
 * nothing, since a board that was repaired may give it twice.
 *
 * @param what is being done, for the screen
 * @returns what the memory holds, and what of it could not be read
 * @throws BenchError `unsaved_reading` where the logbook does not hold a reading afterwards
 */
export async function saveReadings(
  desk: Desk,
  board: Board,
  what: string,
): Promise<{ memory: MemoryState; unreadable: readonly UnreadableReading[] }> {
  const { serial } = board.identity;
  const memory = await board.memory(desk.signal);
  const before = await desk.entriesOf(serial);
  const all: BoardReading[] = [];
  const senseless: UnreadableReading[] = [];
  const fetching = fetchInBatches(
    board,
    memory,
    () => true,
    (done, of) => desk.show({ what, done, of, stoppable: true }),
    desk.signal,
  );
  for await (const { readings, unreadable } of fetching) {
    const lacking = notHeldBy(before, readings);
    if (lacking.length > 0 || unreadable.length > 0) {
      await desk.append({
        ...desk.stamp(serial),
        kind: 'memory saved',
        memory,
        readings: lacking,
        ...(unreadable.length > 0 && { unreadable }),
      });
    }
    all.push(...readings);
    senseless.push(...unreadable);
  }
  const unsaved = notHeldBy(await desk.entriesOf(serial), all);
  if (unsaved.length > 0) throw unsavedError(unsaved);
  return { memory, unreadable: senseless };
}

/**
 * Lets the board forget its readings, once each was held against the logbook and what that lacked is in it.
 *
 * @param unreadable whether readings that make no sense are forgotten too
 * @returns how many the board forgot
 * @throws BenchError `unsaved_reading` where one was not saved; nothing was erased then
 */
export async function eraseSaved(
  desk: Desk,
  board: Board,
  what: string,
  unreadable: 'even unreadable' | 'readable only',
): Promise<number> {
  const saved = await saveReadings(desk, board, what);
  if (unreadable === 'readable only' && saved.unreadable.length > 0) {
    throw unsavedError(saved.unreadable);
  }
  const { last: through, count: held } = saved.memory;
  if (held === 0) return 0;
  const stamp = desk.stamp(board.identity.serial);
  await desk.append({ ...stamp, kind: 'erase begun', through, count: held });
  try {
    const count = await board.erase(through);
    await desk.append({ ...stamp, kind: 'erased', through, count });
    return count;
  } catch (error) {
    if (isRefusal(error)) {
      await desk.append({ ...stamp, kind: 'erase failed', reason: messageOf(error) });
    }
    throw error;
  }
}

/** After an erase whose answer was lost: what the memory holds tells whether it took. */
export async function settleErase(desk: Desk, board: Board): Promise<void> {
  const begun = desk.state.history.care.eraseBegun;
  if (!begun) return;
  const { first, count } = await board.memory(desk.signal);
  const stamp = desk.stamp(board.identity.serial);
  const isGone = count === 0 || first > begun.through;
  const reason = 'The readings are still on the board';
  await desk.append(
    isGone ? { ...stamp, kind: 'erased', ...begun } : { ...stamp, kind: 'erase failed', reason },
  );
  desk.say(
    isGone
      ? 'The answer to the erasing was lost; the board did it. What was in its memory is in the logbook.'
      : 'The answer to the erasing was lost; the board did not do it. Its readings are still there, and in the logbook.',
  );
}

const unsavedError = (unsaved: readonly { reading: number }[]) =>
  new BenchError(
    'unsaved_reading',
    `Not in the logbook: ${unsaved.map(({ reading }) => reading).join(', ')}.`,
  );
