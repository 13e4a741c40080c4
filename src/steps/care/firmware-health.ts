import type { Board, BoardReading } from '../../protocol/board.ts';
import type { Clock } from '../../protocol/clock.ts';
import { ProtocolError } from '../../protocol/errors.ts';
import { pause } from '../pause.ts';

/** Whether new firmware that runs on trial is fit to be confirmed. */

/** How long it must have run and answered, milliseconds. */
export const STEADY_MS = 5000;

/** What is looked at, in words. */
export const healthWords = (version: string): string[] => [
  `it says that it is version ${version}`,
  'it reads its memory and its coefficients',
  `it ran and answered for ${STEADY_MS / 1000} seconds`,
];

/**
 * What ails it, as a sentence; nothing where it is healthy.
 *
 * @param isAsSaved whether a reading in its memory is as it was saved
 * @throws ProtocolError where the link failed, which says nothing of its health yet
 */
export async function ailmentOf(
  board: Board,
  version: string,
  isAsSaved: (reading: BoardReading) => boolean,
  { clock, signal }: { clock: Clock; signal: AbortSignal },
): Promise<string | undefined> {
  const { firmware } = board.identity;
  if (firmware !== version) return `It says that it is version ${firmware}, not ${version}.`;
  try {
    const { count, last } = await board.memory(signal);
    if (count > 0 && !isAsSaved(await board.recall(last, signal))) {
      return `Reading ${last} in its memory is not as it was.`;
    }
    await board.coefficients('in_force', signal);
    await pause(clock, STEADY_MS, signal);
    await board.ask('image', {}, signal);
    return undefined;
  } catch (error) {
    const isAnswer =
      error instanceof ProtocolError && ['nonsense', 'refused'].includes(error.cause);
    if (!isAnswer) throw error;
    return error.message;
  }
}
