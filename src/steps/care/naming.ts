import type { Board } from '../../protocol/board.ts';
import { messageOf } from '../bench-words.ts';
import type { Desk } from '../desk.ts';
import { isRefusal } from '../refusals.ts';

/** The name that a keeper gives a board, and its clock. */

export async function rename(desk: Desk, board: Board, to: string): Promise<void> {
  const stamp = desk.stamp(board.identity.serial);
  const from = desk.state.history.identity?.name ?? '';
  await desk.append({ ...stamp, kind: 'rename begun', from, to });
  try {
    const { name } = await board.ask('rename', { to }, desk.signal);
    await desk.append({ ...stamp, kind: 'renamed', to: name, known: 'answer' });
  } catch (error) {
    if (isRefusal(error)) {
      await desk.append({ ...stamp, kind: 'rename failed', reason: messageOf(error) });
    }
    throw error;
  }
  desk.say(to ? `The board is called ${to} now.` : 'The board has no name now.');
}

/** After a renaming whose answer was lost: hello tells the name. */
export async function settleRename(desk: Desk, board: Board): Promise<void> {
  const begun = desk.state.history.care.renameBegun;
  if (!begun) return;
  const { serial, name } = board.identity;
  const stamp = desk.stamp(serial);
  if (name === begun.to) {
    await desk.append({ ...stamp, kind: 'renamed', to: name, known: 'read back' });
    desk.say(`The answer to the renaming was lost; the board did it, and is called ${name} now.`);
    return;
  }
  const reason = `The board still says “${name}”`;
  await desk.append({ ...stamp, kind: 'rename failed', reason });
  desk.say(`The answer to the renaming was lost, and it did not happen. ${reason}.`);
}

/** Seconds by which a clock that was just set may differ: it counts whole ones, and an answer takes time. */
const CLOCK_SLACK = 3;

const secondsOf = (time: Date): number => Math.floor(time.getTime() / 1000);

/** Sets the board's clock by that of this machine; what it said before is in the logbook then. */
export async function setClock(desk: Desk, board: Board): Promise<void> {
  const { serial } = board.identity;
  const before = await board.ask('clock', {}, desk.signal);
  const utc = secondsOf(desk.now());
  const said = before.utc === 0 ? {} : { said: before.utc };
  await desk.append({ ...desk.stamp(serial), kind: 'clock begun', utc, ...said });
  try {
    await board.ask('clock', { set: utc }, desk.signal);
    await desk.append({ ...desk.stamp(serial), kind: 'clock set', utc, known: 'answer' });
  } catch (error) {
    if (isRefusal(error)) {
      const reason = messageOf(error);
      await desk.append({ ...desk.stamp(serial), kind: 'clock failed', reason });
    }
    throw error;
  }
}

/** After a setting of the clock whose answer was lost: what it says tells. */
export async function settleClock(desk: Desk, board: Board, said: number): Promise<void> {
  const begun = desk.state.history.care.clockBegun;
  if (!begun) return;
  const since = (desk.now().getTime() - Date.parse(begun.time)) / 1000;
  const stamp = desk.stamp(board.identity.serial);
  const took = Math.abs(said - begun.utc - since) <= CLOCK_SLACK;
  const reason = 'Its clock says something else';
  await desk.append(
    took
      ? { ...stamp, kind: 'clock set', utc: begun.utc, known: 'read back' }
      : { ...stamp, kind: 'clock failed', reason },
  );
}

/** What a clock shows beside ours, and since when; figures in seconds, fast is positive. */
export interface ClockDrift {
  ahead: number;
  /** Since it was last set; absent where that is not known, or the board has set it back since, as by losing power. */
  over?: number;
}

/**
 * @param said what it said at that time, and `set` when it was last set from here, as far as known
 * @returns nothing where it was never set
 */
export function clockDrift(
  { said, at }: { said: number; at: string },
  set: { utc: number; time: string } | undefined,
): ClockDrift | undefined {
  if (said === 0) return undefined;
  const now = Date.parse(at) / 1000;
  const ahead = said - Math.floor(now);
  if (!set || said < set.utc) return { ahead };
  const over = now - Date.parse(set.time) / 1000;
  return over > 0 ? { ahead, over } : { ahead };
}
