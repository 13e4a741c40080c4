import { readSettings } from '../protocol/board-care.ts';
import type { Board } from '../protocol/board.ts';
import type { SavedBoard } from '../records/saved-board.ts';
import { settingsDifference } from '../steps/care/settings-sheet.ts';
import { andSo } from '../steps/care/update-words.ts';
import { setsOn } from '../steps/saving.ts';
import { messageOf } from '../steps/bench-words.ts';
import { isRefusal } from '../steps/refusals.ts';
import type { Workplace } from './board-link.ts';
import type { Outcome } from './outcome.ts';
import { adopted, differenceWords } from './settings.ts';

/**
 * What confirmed firmware changed is put back from what was saved before, and read back. May be done again from
 * wherever it broke off: what is so already is left alone, and so is what someone else changed since.
 *
 * @throws ProtocolError as `ask` does, but for refusals
 */
export async function restored(
  place: Workplace,
  board: Board,
  saved: SavedBoard,
): Promise<Outcome & { out: string }> {
  const settings = await settingsBack(place, board, saved);
  const set = await setBack(place, board, saved);
  const words = [...settings.words, ...set.words];
  const code = settings.isAsItWas && set.isAsItWas ? 0 : 1;
  const out = `${andSo(words)}\n`;
  return code === 0 ? { code, out } : { code, out, err: `${words.join(' ')}\n` };
}

interface Back {
  /** Whether nothing remains to be done; what cannot be had on the new firmware is no failure. */
  isAsItWas: boolean;
  /** What is otherwise than it was, a sentence each. */
  words: string[];
}

const asItWas: Back = { isAsItWas: true, words: [] };

async function settingsBack(
  place: Workplace,
  board: Board,
  { settings: saved }: SavedBoard,
): Promise<Back> {
  if (!saved) return asItWas;
  if (!board.identity.capabilities.includes('settings')) {
    return { isAsItWas: true, words: ['This firmware has no settings; those from before are in the file.'] }; // prettier-ignore
  }
  const now = await readSettings(board, place.signal);
  const difference = settingsDifference(saved.settings, now.settings);
  const { differing, lost } = difference;
  for (const line of differenceWords(difference)) place.say(line);
  const gone = lost.map(
    ({ label, saved: value, why }) => `“${label}” was ${value || 'empty'}; that ${why}.`,
  );
  // more than one revision on, someone may have changed them since; or power failed while they were put to their defaults
  const isFirmwares = (name: string) =>
    now.revision <= saved.revision + 1 ||
    now.settings.some((each) => each.name === name && each.value === each.default);
  const ours = differing.filter(({ name }) => isFirmwares(name));
  const theirs = differing
    .filter(({ name }) => !isFirmwares(name))
    .map(
      ({ name, now: is }) => `${name} was changed by someone since, and stays ${is || 'empty'}.`,
    );
  const left = [...gone, ...theirs];
  if (ours.length === 0) return { isAsItWas: theirs.length === 0, words: left };
  try {
    const changes = new Map(ours.map(({ name, saved: value }) => [name, value]));
    const { otherwise } = await adopted(board, now, changes, place);
    const isAsItWas = theirs.length === 0 && otherwise.length === 0;
    return { isAsItWas, words: [...left, ...otherwise] };
  } catch (error) {
    if (!isRefusal(error)) throw error;
    return { isAsItWas: false, words: [...left, `The settings could not be put back: ${messageOf(error)}`] }; // prettier-ignore
  }
}

async function setBack(
  place: Workplace,
  board: Board,
  { inForce: saved }: SavedBoard,
): Promise<Back> {
  const { inForce: now, previous } = await setsOn(board, place.signal);
  if (now?.crc === saved?.crc) return asItWas;
  if (!saved) {
    return { isAsItWas: true, words: ['The board had no coefficients before; it runs those of its firmware’s maker now.'] }; // prettier-ignore
  }
  const isNext = now?.generation === saved.generation + 1 && previous?.crc === saved.crc;
  const isLost = now === undefined;
  if (!isNext && !isLost) {
    return {
      isAsItWas: false,
      words: [
        `The board runs coefficients of generation ${now?.generation}, which someone sealed since: they are left in force. Those from before are in the file; “seal” with it puts them back.`,
      ],
    };
  }
  try {
    const crc = await board.stage({ model: saved.model, values: saved.values });
    const generation = await board.seal(now?.generation ?? 0, crc);
    place.say(`The coefficients are sealed again, as generation ${generation}.`);
  } catch (error) {
    if (!isRefusal(error)) throw error;
    return { isAsItWas: false, words: [`The coefficients could not be put back: ${messageOf(error)} They are in the file; calibrate before use.`] }; // prettier-ignore
  }
  const after = await board.coefficients('in_force');
  if (after?.crc === saved.crc) return asItWas;
  return { isAsItWas: false, words: ['The coefficients read back differ from those that were sent: calibrate before use.'] }; // prettier-ignore
}
