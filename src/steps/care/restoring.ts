import type { Board, StoredSet } from '../../protocol/board.ts';
import type { Setting } from '../../protocol/care-messages.ts';
import { messageOf } from '../bench-words.ts';
import type { Desk } from '../desk.ts';
import { isRefusal } from '../refusals.ts';
import { setsOn } from '../saving.ts';
import { readOver, sendSettings } from './settings.ts';
import { settingsDifference } from './settings-sheet.ts';

/** What other firmware changed is put back from the logbook, and read back. */

/** @returns what of the settings is otherwise than it was, a sentence each */
export async function restoreSettings(
  desk: Desk,
  board: Board,
  saved: readonly Setting[],
): Promise<string[]> {
  if (!board.identity.capabilities.includes('settings')) {
    return ['This firmware has no settings; those from before are in the logbook.'];
  }
  await readOver(desk, board);
  const now = desk.state.history.care.settings?.settings ?? [];
  const { differing, lost } = settingsDifference(saved, now);
  const gone = lost.map(
    ({ label, saved: value, why }) => `“${label}” was ${value || 'empty'}; that ${why}.`,
  );
  if (differing.length === 0) return gone;
  try {
    await sendSettings(desk, board, new Map(differing.map(({ name, saved }) => [name, saved])));
    return gone;
  } catch (error) {
    if (!isRefusal(error)) throw error;
    return [...gone, `The settings could not be put back: ${messageOf(error)}`];
  }
}

/** @returns what of the coefficients is otherwise than it was, a sentence each */
export async function restoreSet(
  desk: Desk,
  board: Board,
  saved: StoredSet | undefined,
): Promise<string[]> {
  const stamp = desk.stamp(board.identity.serial);
  const now = await setsOn(board, desk.signal);
  const { restoreBegun: begun } = desk.state.history.care;
  const replaces = now.inForce?.generation ?? 0;
  if (begun) {
    const { crc, replaces: replaced } = begun;
    const generation = replaces;
    await desk.append(
      now.inForce?.crc === crc
        ? { ...stamp, kind: 'restored', generation, crc, replaced, known: 'read back' }
        : { ...stamp, kind: 'restore failed', reason: 'The board runs another set' },
    );
  }
  if (now.inForce?.crc === saved?.crc) {
    await desk.append({ ...stamp, kind: 'coefficients saved', ...now });
    return [];
  }
  if (!saved) {
    await desk.append({ ...stamp, kind: 'coefficients saved', ...now });
    return ['The board had no coefficients before; it runs those of its firmware’s maker now.'];
  }
  const { model, values } = saved;
  try {
    const crc = await board.stage({ model, values });
    await desk.append({ ...stamp, kind: 'restore begun', replaces, crc });
    const generation = await board.seal(replaces, crc);
    const known = 'answer' as const;
    await desk.append({ ...stamp, kind: 'restored', generation, crc, replaced: replaces, known });
  } catch (error) {
    if (!isRefusal(error)) throw error;
    await desk.append({ ...stamp, kind: 'restore failed', reason: messageOf(error) });
    return [
      `The coefficients could not be put back: ${messageOf(error)} They are in the logbook; calibrate before use.`,
    ];
  }
  const after = await setsOn(board, desk.signal);
  await desk.append({ ...stamp, kind: 'coefficients saved', ...after });
  if (after.inForce?.crc === saved.crc) return [];
  return ['The coefficients read back differ from those that were sent: calibrate before use.'];
}
