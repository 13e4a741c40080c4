import type { Board } from '../../protocol/board.ts';
import { adoptSettings, readSettings } from '../../protocol/board-care.ts';
import { BenchError, messageOf } from '../bench-words.ts';
import type { Desk } from '../desk.ts';
import { isRefusal } from '../refusals.ts';
import { linesOf } from './settings-sheet.ts';

/** A board's settings: read, sent together, read back. */

/** Reads them and keeps a snapshot in the logbook, unless it holds that revision already. */
export async function readOver(desk: Desk, board: Board): Promise<void> {
  const { count, revision } = await board.ask('settings', {}, desk.signal);
  const { settings: last } = desk.state.history.care;
  if (last?.revision === revision && last.settings.length === count) return;
  await saveSettings(desk, board);
}

async function saveSettings(desk: Desk, board: Board): Promise<void> {
  const { revision, settings } = await readSettings(board, desk.signal);
  const stamp = desk.stamp(board.identity.serial);
  await desk.append({ ...stamp, kind: 'settings saved', revision, settings });
}

/**
 * Sends changes together and reads back.
 *
 * @param wanted values by name, decided on what the logbook has of the settings; at least one
 * @returns whether one of them waits for a restart
 * @throws BenchError `cannot_be` where one will not do, nothing was sent then; `not_adopted` where the board says otherwise
 *   when it is read back
 */
export async function sendSettings(
  desk: Desk,
  board: Board,
  wanted: ReadonlyMap<string, string>,
): Promise<boolean> {
  const sheet = desk.state.history.care.settings;
  if (!sheet) throw new Error('the settings were never read');
  const wrong = linesOf({ ...sheet, changes: wanted }).find(({ problem }) => problem !== undefined);
  if (wrong) throw new BenchError('cannot_be', `“${wrong.setting.label}” ${wrong.problem}.`);
  const { revision: replaces } = sheet;
  const changes = [...wanted].map(([name, to]) => ({ name, to }));
  const stamp = desk.stamp(board.identity.serial);
  await desk.append({ ...stamp, kind: 'settings begun', replaces, changes });
  let restart: boolean;
  try {
    const adopted = await adoptSettings(board, wanted, replaces);
    ({ restart } = adopted);
    await desk.append({ ...stamp, kind: 'settings adopted', known: 'answer', ...adopted });
  } catch (error) {
    if (isRefusal(error)) {
      await desk.append({ ...stamp, kind: 'settings failed', reason: messageOf(error) });
      await readOver(desk, board);
    }
    throw error;
  }
  await saveSettings(desk, board);
  const otherwise = notSo(desk, changes);
  if (otherwise.length > 0) throw new BenchError('not_adopted', `${otherwise.join(' ')}`);
  return restart;
}

/**
 * After changes whose answer was lost: what the settings are now, as the logbook has just read them, tells whether they
 * took.
 *
 * @returns the changes that did not happen, to be sent again if a person wants; nothing where none was begun or all is well
 */
export async function settleSettings(
  desk: Desk,
  board: Board,
): Promise<ReadonlyMap<string, string> | undefined> {
  const { settingsBegun: begun, settings } = desk.state.history.care;
  if (!begun || !settings) return undefined;
  const stamp = desk.stamp(board.identity.serial);
  const { revision } = settings;
  if (revision !== begun.replaces && notSo(desk, begun.changes).length === 0) {
    const changed = new Set(begun.changes.map(({ name }) => name));
    const restart = settings.settings.some((each) => each.restart && changed.has(each.name));
    await desk.append({
      ...stamp,
      kind: 'settings adopted',
      revision,
      restart,
      known: 'read back',
    });
    desk.say('The answer to the change of settings was lost; the board did it, all of it.');
    return undefined;
  }
  const reason =
    revision === begun.replaces ? 'Nothing of it happened' : 'The settings were changed elsewhere';
  await desk.append({ ...stamp, kind: 'settings failed', reason });
  desk.say(`The answer to the change of settings was lost. ${reason}; it can be sent again.`);
  return new Map(begun.changes.map(({ name, to }) => [name, to]));
}

/** Those changes that the settings, as they were read last, do not show; a sentence each. */
function notSo(desk: Desk, changes: readonly { name: string; to: string }[]): string[] {
  const now = desk.state.history.care.settings?.settings ?? [];
  return changes.flatMap(({ name, to }) => {
    const there = now.find((each) => each.name === name);
    return there?.value === to
      ? []
      : [`“${there?.label ?? name}” is ${there?.value ?? 'gone'}, not ${to}.`];
  });
}
