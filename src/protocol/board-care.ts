import type { Board } from './board.ts';
import { CARE_LIMITS, type Setting } from './care-messages.ts';
import { crc32 } from './crc.ts';
import { ProtocolError } from './errors.ts';
import { hexWord } from './fields.ts';

/** What a host does for the care of a board, in more than one request (SPEC.md, sections 4.5 and 4.6). */

type Asking = Pick<Board, 'ask'>;

export interface Settings {
  revision: number;
  /** In the board's own order; values in force. */
  settings: readonly Setting[];
}

/**
 * Every setting of a board.
 *
 * @throws ProtocolError as `ask` does; `nonsense` where a setting stands at another place than the one asked for
 */
export async function readSettings(board: Asking, signal?: AbortSignal): Promise<Settings> {
  const { count, revision } = await board.ask('settings', {}, signal);
  const settings: Setting[] = [];
  for (let at = 1; at <= count; at++) {
    const setting = await board.ask('setting', { at }, signal);
    if (setting.at !== at) {
      const why = `is ${setting.at}, where ${at} was asked for`;
      throw new ProtocolError({ cause: 'nonsense', field: 'at', why });
    }
    settings.push(setting);
  }
  return { revision, settings };
}

/**
 * Changes settings and adopts them in one step.
 *
 * @param changes new values by name; at least one
 * @param replaces the revision they were decided on
 * @returns the new revision, and whether a change waits for a restart
 * @throws ProtocolError as `ask` does; whatever was changed and not adopted is forgotten by the board at the next hello.
 *   After `no_answer`, `link_closed` or `board_restarted` on `adopt`, the revision tells whether it happened
 */
export async function adoptSettings(
  board: Asking,
  changes: ReadonlyMap<string, string>,
  replaces: number,
): Promise<{ revision: number; restart: boolean }> {
  for (const [name, value] of changes) await board.ask('change', { name, value });
  return board.ask('adopt', { replaces });
}

/**
 * Brings an image into the board's spare slot, from where it broke off, and has it checked.
 *
 * @param file the image (docs/files.md)
 * @yields how many bytes of it are on the board
 * @returns the version that the board read in it
 * @throws ProtocolError as `ask` does, and `cancelled` when `signal` aborts: what is there stays there
 */
export async function* sendImage(
  board: Asking,
  file: Uint8Array,
  signal?: AbortSignal,
): AsyncGenerator<number, string, void> {
  const crc = hexWord(crc32(file));
  let { written } = await board.ask('load', { size: file.length, crc }, signal);
  yield written;
  while (written < file.length) {
    const at = written;
    const bytes = file.subarray(at, at + CARE_LIMITS.put);
    ({ written } = await board.ask('put', { at, bytes }, signal));
    if (written <= at || written > file.length) {
      const why = `is ${written} after ${bytes.length} bytes at ${at}`;
      throw new ProtocolError({ cause: 'nonsense', field: 'written', why });
    }
    yield written;
  }
  return (await board.ask('verify', { crc }, signal)).firmware;
}
