import { unfit, type Setting } from '../../protocol/care-messages.ts';
import type { Settings } from '../../protocol/board-care.ts';

/** A board's settings on the bench: as they are, as they are to be, and how they differ from ones saved before. */

export interface SettingsSheet extends Settings {
  /** Wanted values by name, where they differ from those in force. */
  changes: ReadonlyMap<string, string>;
}

/** One line of the sheet, as the form shows it. */
export interface SheetLine {
  setting: Setting;
  /** What it is to be: as in force where nothing else is wanted. */
  wanted: string;
  /** Why it cannot be that; absent where it can. */
  problem?: string;
  changed: boolean;
}

/** Notes what a setting is to be; what is wanted as it is, is no change. */
export function want(sheet: SettingsSheet, name: string, value: string): SettingsSheet {
  const changes = new Map(sheet.changes);
  const setting = sheet.settings.find((each) => each.name === name);
  if (!setting) return sheet;
  if (setting.value === value) changes.delete(name);
  else changes.set(name, value);
  return { ...sheet, changes };
}

export function linesOf({ settings, changes }: SettingsSheet): SheetLine[] {
  return settings.map((setting) => {
    const wanted = changes.get(setting.name) ?? setting.value;
    const problem = unfit(setting, wanted);
    return {
      setting,
      wanted,
      changed: changes.has(setting.name),
      ...(problem !== undefined && { problem }),
    };
  });
}

/** How settings saved before differ from those of a board, which may be another one, or have other firmware now. */
export interface SettingsDifference {
  /** To be changed back: name, what it is, what it was. */
  differing: readonly { name: string; label: string; now: string; saved: string }[];
  /** Saved, but the board knows no such setting any more, or cannot have that value: why. */
  lost: readonly { name: string; label: string; saved: string; why: string }[];
  /** The board has it, and nothing was saved of it. */
  added: readonly { name: string; label: string; now: string }[];
}

export function settingsDifference(
  saved: readonly Setting[],
  now: readonly Setting[],
): SettingsDifference {
  const present = new Map(now.map((setting) => [setting.name, setting]));
  const known = new Set(saved.map(({ name }) => name));
  const differing: SettingsDifference['differing'][number][] = [];
  const lost: SettingsDifference['lost'][number][] = [];
  for (const { name, label, value } of saved) {
    const there = present.get(name);
    const why = there ? unfit(there, value) : 'is no longer a setting of this board';
    if (why !== undefined) lost.push({ name, label, saved: value, why });
    else if (there!.value !== value)
      differing.push({ name, label, now: there!.value, saved: value });
  }
  const added = now
    .filter(({ name }) => !known.has(name))
    .map(({ name, label, value }) => ({ name, label, now: value }));
  return { differing, lost, added };
}
