import type { Board } from '../protocol/board.ts';
import { ProtocolError, type Cause } from '../protocol/errors.ts';
import { pause } from '../steps/pause.ts';
import { Stopped, type Workplace } from './board-link.ts';

/** Going on over a new link where one was lost. */

/** What ends a link, or keeps it from being made, and may be over a moment later. */
const OF_THE_LINK: readonly Cause[] = [
  'link_refused',
  'link_closed',
  'no_answer',
  'board_restarted',
];

export const isOfTheLink = (error: unknown): error is ProtocolError =>
  error instanceof ProtocolError && OF_THE_LINK.includes(error.cause);

/** How long a board may take to be there again after its link was lost, milliseconds. */
const BACK_MS = 20_000;
/** How long to wait between tries to link it. */
const BETWEEN_MS = 1000;
/** How many times in a row a task may lose its link without getting any further. */
const FRUITLESS = 4;

/**
 * Links a board again, trying for a while.
 *
 * @param serial the board that was linked before
 * @throws ProtocolError as the last try did; Stopped where another board is there now
 */
export async function linkAgain(place: Workplace, serial: string): Promise<Board> {
  const end = place.clock.now() + BACK_MS;
  for (;;) {
    try {
      const board = await place.link();
      if (board.identity.serial === serial) return board;
      throw new Stopped(
        `Board ${serial} was linked before, and board ${board.identity.serial} is now. Nothing was done to that one. Link the first, and run the same command again.`,
      );
    } catch (error) {
      if (!isOfTheLink(error) || place.clock.now() >= end) throw error;
      await pause(place.clock, BETWEEN_MS, place.signal);
    }
  }
}

/**
 * Does something that may be done again from wherever it broke off, over a new link whenever one is lost.
 *
 * @param task may be called several times; each call goes on from what the board then holds
 * @param gotTo tells how far it came: while that changes, it is not given up
 * @returns the board as it is linked in the end, and what the task gave
 */
export async function throughBreaks<T>(
  place: Workplace,
  board: Board,
  task: (board: Board) => Promise<T>,
  gotTo: () => unknown = () => undefined,
): Promise<{ board: Board; value: T }> {
  let linked = board;
  let before: unknown;
  for (let breaks = 0; ;) {
    try {
      return { board: linked, value: await task(linked) };
    } catch (error) {
      if (!isOfTheLink(error)) throw error;
      breaks = gotTo() === before ? breaks + 1 : 1;
      before = gotTo();
      if (breaks > FRUITLESS) throw error;
      place.say(`${error.message}\nLinking again …`);
      linked = await linkAgain(place, board.identity.serial);
    }
  }
}
