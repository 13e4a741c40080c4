import type { Board } from '../../protocol/board.ts';
import type { Clock } from '../../protocol/clock.ts';
import { ProtocolError } from '../../protocol/errors.ts';
import { without } from '../copy-without.ts';
import type { Desk } from '../desk.ts';
import { careOf, type CareState } from './care-state.ts';
import { settleErase } from './memory.ts';
import { settleClock, settleRename } from './naming.ts';
import { readOver, settleSettings } from './settings.ts';
import { settleUpdate } from './updating.ts';

/**
 * What is done for the care of a board at every link: it is asked what it has, its settings are saved where they are new,
 * and what was begun before the link broke is settled. A board whose settings make no sense is linked all the same.
 *
 * @throws BenchError, ProtocolError as `settleUpdate` does
 */
export async function lookAfter(desk: Desk, board: Board, clock: Clock): Promise<void> {
  const { capabilities } = board.identity;
  await settleErase(desk, board);
  await settleRename(desk, board);
  if (capabilities.includes('settings')) {
    await orTold(desk, async () => {
      await readOver(desk, board);
      const unsent = await settleSettings(desk, board);
      if (unsent) show(desk, { wanted: unsent });
    });
  }
  await ask(desk, board);
  const { clock: own } = careOf(desk.state);
  if (own) await settleClock(desk, board, own.said);
  await settleUpdate(desk, board, clock);
  if (capabilities.includes('image')) await askImage(desk, board);
}

/** Changes what the page knows of the board's care. */
export function show(
  desk: Desk,
  change: Partial<CareState>,
  ...drop: ('restartWaits' | 'chosen' | 'notBroughtBack')[]
): void {
  desk.change({ care: { ...without(careOf(desk.state), ...drop), ...change } });
}

/** What is in its memory now, and what its light, its clock and its firmware say. */
async function ask(desk: Desk, board: Board): Promise<void> {
  const memory = await board.memory(desk.signal);
  const light = await ifThere(board.ask('light', {}, desk.signal));
  const clock = await ifThere(board.ask('clock', {}, desk.signal));
  const { serial, wanted, chosen } = careOf(desk.state);
  const at = desk.now().toISOString();
  desk.change({
    care: {
      serial,
      wanted: stillWanted(desk, wanted),
      memory,
      ...(light && { light: light.light }),
      ...(clock && { clock: { said: clock.utc, at } }),
      ...(chosen && { chosen }),
    },
  });
}

/** Asks what is in its slots for firmware. */
export async function askImage(desk: Desk, board: Board): Promise<void> {
  await orTold(desk, async () => show(desk, { image: await board.ask('image', {}, desk.signal) }));
}

/** Those wishes that the settings, as they were read last, do not fulfil. */
export function stillWanted(
  { state }: Desk,
  wanted: ReadonlyMap<string, string>,
): ReadonlyMap<string, string> {
  const now = new Map(
    state.history.care.settings?.settings.map(({ name, value }) => [name, value]),
  );
  return new Map([...wanted].filter(([name, to]) => now.has(name) && now.get(name) !== to));
}

/** The answer, or nothing where the board does not know what was asked. */
async function ifThere<T>(answer: Promise<T>): Promise<T | undefined> {
  try {
    return await answer;
  } catch (error) {
    const isNone =
      error instanceof ProtocolError && ['refused', 'nonsense', 'no_answer'].includes(error.cause);
    if (!isNone) throw error;
    return undefined;
  }
}

/** Does something that a board may fail in without being unfit for all else; the person is told. */
async function orTold(desk: Desk, task: () => Promise<void>): Promise<void> {
  try {
    await task();
  } catch (error) {
    const isItsOwn =
      error instanceof ProtocolError && ['refused', 'nonsense'].includes(error.cause);
    if (!isItsOwn) throw error;
    desk.report(error);
  }
}
