import { adoptSettings, readSettings, type Settings } from '../protocol/board-care.ts';
import type { Board } from '../protocol/board.ts';
import type { Setting } from '../protocol/care-messages.ts';
import { readSettingsFile, writeSettings, type SettingsFile } from '../records/settings-file.ts';
import {
  linesOf,
  settingsDifference,
  type SettingsDifference,
} from '../steps/care/settings-sheet.ts';
import { atBoard, Stopped, type LinkOptions, type Workplace } from './board-link.ts';
import { readBytes, writeNew } from './files.ts';
import { isOfTheLink, linkAgain } from './link-again.ts';
import { failed, type Outcome } from './outcome.ts';

export interface SettingsOptions {
  /** New values by name. */
  changes: ReadonlyMap<string, string>;
  /** File into which they are saved. */
  out?: string;
  /** File from which they are put back. */
  restore?: string;
}

/** `settings`: a board's settings shown, changed together, saved to a file, put back from one. */
export const settings = (options: LinkOptions & SettingsOptions): Promise<Outcome> =>
  atBoard(options, (place) => settingsAt(place, options));

export async function settingsAt(
  place: Workplace,
  { changes, out, restore }: SettingsOptions,
): Promise<Outcome> {
  const saved = restore === undefined ? undefined : settingsIn(restore);
  const board = await place.link();
  if (!board.identity.capabilities.includes('settings')) {
    return failed('This board has no settings that can be changed from here. Nothing was changed.');
  }
  const now = await readSettings(board, place.signal);
  if (out !== undefined) return save(out, board, now, place);
  if (saved) return putBack(board, now, saved, place);
  if (changes.size === 0) return { code: 0, out: table(now.settings) };
  const wrong = problems(now.settings, changes);
  if (wrong.length > 0) return failed(`${wrong.join('\n')}\nNothing was changed.`);
  const differing = new Map(
    [...changes].filter(([name, to]) => valueOf(now.settings, name) !== to),
  );
  if (differing.size === 0) {
    return { code: 0, out: 'The settings are so already. Nothing was changed.\n' };
  }
  return change(board, now, differing, place);
}

function settingsIn(path: string): SettingsFile {
  const file = readBytes(path);
  if (!file.ok) throw new Stopped(file.message);
  const read = readSettingsFile(file.bytes);
  if (!read.ok) throw new Stopped(`${path}: ${read.message}`);
  return read;
}

const valueOf = (all: readonly Setting[], name: string): string | undefined =>
  all.find((each) => each.name === name)?.value;

/** Why a wish cannot be, a sentence each. */
function problems(all: readonly Setting[], changes: ReadonlyMap<string, string>): string[] {
  const lines = linesOf({ revision: 0, settings: all, changes });
  return [...changes.keys()].flatMap((name) => {
    const line = lines.find(({ setting }) => setting.name === name);
    if (!line) return [`The board has no setting “${name}”. “settings” alone lists those it has.`];
    const { problem, setting, wanted } = line;
    return problem === undefined ? [] : [`${name}: “${wanted}” ${problem}; it takes ${rangeOf(setting)}.`]; // prettier-ignore
  });
}

/** What a setting may be, in words. */
export function rangeOf({ kind, min, max, decimals = 0, unit, choices, longest }: Setting): string {
  const of = unit === undefined ? '' : ` ${unit}`;
  switch (kind) {
    case 'switch':
      return 'on or off';
    case 'choice':
      return (choices ?? []).join(' or ');
    case 'text':
      return `a text of ${longest ?? 24} bytes at most`;
    case 'number': {
      const range = [min !== undefined && `from ${min}`, max !== undefined && `to ${max}`];
      const what = decimals === 0 ? 'a whole number' : `a number with ${decimals} decimals at most`;
      return `${[what, ...range.filter(Boolean)].join(' ')}${of}`;
    }
  }
}

const shown = (value: string): string => (value === '' ? '(empty)' : value);

function table(all: readonly Setting[]): string {
  if (all.length === 0) return 'The board lists no settings.\n';
  const rows = all.map((setting) => {
    const { name, label, value, default: usual, unit = '', restart } = setting;
    const now = `${shown(value)}${unit === '' ? '' : ` ${unit}`}`;
    const its = `${rangeOf(setting)}; ${shown(usual)} as the maker set it`;
    return [
      name,
      label,
      now,
      `${its}${restart ? '; takes effect when the board starts again' : ''}`,
    ];
  });
  const widths = [0, 1, 2].map((i) => Math.max(...rows.map((row) => row[i]!.length)) + 2);
  return rows
    .map((row) => `${row.map((cell, i) => cell.padEnd(widths[i] ?? 0)).join('')}\n`)
    .join('');
}

/** @throws Stopped where the file cannot be written, or is there already */
function save(path: string, board: Board, now: Settings, { say }: Pick<Workplace, 'say'>): Outcome {
  const content = { savedAt: new Date().toISOString(), board: board.identity, ...now };
  const written = writeNew(path, writeSettings(content));
  if (!written.ok) {
    return failed(`${written.message} Nothing on the board was changed. Give another name.`);
  }
  say(table(now.settings).trimEnd());
  return {
    code: 0,
    out: `Saved in ${path}: ${now.settings.length} settings. Nothing on the board was changed.\n`,
  };
}

/** What differs, what cannot come back, and what nothing was saved of; a line each. */
export function differenceWords({ differing, lost, added }: SettingsDifference): string[] {
  return [
    ...differing.map(
      ({ name, now, saved }) => `- ${name}: ${shown(now)} now, ${shown(saved)} when it was saved`,
    ),
    ...lost.map(
      ({ name, saved, why }) => `- ${name}: ${shown(saved)} cannot be put back: that ${why}`,
    ),
    ...added.map(
      ({ name, now }) => `- ${name}: nothing was saved of it, and it stays ${shown(now)}`,
    ),
  ];
}

async function putBack(
  board: Board,
  now: Settings,
  saved: SettingsFile,
  place: Workplace,
): Promise<Outcome> {
  const { hardware, serial } = board.identity;
  if (saved.board.hardware !== hardware) {
    return failed(
      `The settings are of a board of the kind “${saved.board.hardware}”, and this one is “${hardware}”. Names may mean other things on it. Nothing was changed.`,
    );
  }
  if (saved.board.serial !== serial) {
    place.say(`They were saved from board ${saved.board.serial}, one of the same kind.`);
  }
  const difference = settingsDifference(saved.settings, now.settings);
  const { differing, lost } = difference;
  for (const line of differenceWords(difference)) place.say(line);
  const but = lost.length === 0 ? '' : ` ${lost.length} of those saved cannot be, as said above.`;
  if (differing.length === 0) {
    return { code: 0, out: `No setting is to be changed.${but} Nothing was changed.\n` };
  }
  const changes = new Map(differing.map(({ name, saved: value }) => [name, value]));
  const outcome = await change(board, now, changes, place);
  return outcome.code === 0 ? { ...outcome, out: `${outcome.out?.trimEnd()}${but}\n` } : outcome;
}

async function change(
  board: Board,
  now: Settings,
  changes: ReadonlyMap<string, string>,
  place: Workplace,
): Promise<Outcome> {
  const { after, otherwise } = await adopted(board, now, changes, place);
  if (otherwise.length > 0) {
    return failed(`${otherwise.join('\n')}\nRead them again with “settings” before you go on.`);
  }
  const waits = after.settings.some(({ name, restart }) => restart && changes.has(name));
  const lines = [...changes].map(([name, value]) => {
    const before = valueOf(now.settings, name) ?? '';
    return `- ${name}: ${shown(value)} (was ${shown(before)})`;
  });
  return {
    code: 0,
    out: [
      `In force as revision ${after.revision}, all of it, and read back:`,
      ...lines,
      ...(waits ? ['Some of it takes effect only when the board has started again.'] : []),
      '',
    ].join('\n'),
  };
}

/**
 * Changes settings together and reads them back; over a new link where one is lost, once it is known that nothing
 * happened yet.
 *
 * @returns the settings then, and which of them are not as they were to be, a sentence each
 * @throws ProtocolError; where the board refused, nothing was changed
 */
export async function adopted(
  board: Board,
  before: Settings,
  changes: ReadonlyMap<string, string>,
  place: Workplace,
): Promise<{ after: Settings; otherwise: string[] }> {
  const { serial } = board.identity;
  let linked = board;
  let after: Settings;
  for (let tries = 1; ; tries++) {
    try {
      const isFirst = linked === board;
      if (isFirst || (await revisionOf(linked)) === before.revision) {
        await adoptSettings(linked, changes, before.revision);
      }
      after = await readSettings(linked);
      break;
    } catch (error) {
      if (!isOfTheLink(error) || tries > 3) throw error;
      place.say(`${error.message}\nLooking whether the settings were taken …`);
      linked = await linkAgain(place, serial);
    }
  }
  const otherwise = [...changes].flatMap(([name, to]) => {
    const is = valueOf(after.settings, name);
    return is === to ? [] : [`${name} is ${is === undefined ? 'gone' : shown(is)}, not ${shown(to)}.`]; // prettier-ignore
  });
  return { after, otherwise };
}

const revisionOf = async (board: Board): Promise<number> =>
  (await board.ask('settings', {})).revision;
