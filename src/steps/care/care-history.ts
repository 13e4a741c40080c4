import type { StoredSet } from '../../protocol/board.ts';
import type { Setting } from '../../protocol/care-messages.ts';
import type { CareEntry, Entry, SettingChange, UpdatePlan } from '../../records/entries.ts';
import { without } from '../copy-without.ts';

/** What is so now with a board's settings, clock and firmware, folded from the logbook's entries. */

export interface SettingsSnapshot {
  revision: number;
  settings: readonly Setting[];
  /** When it was read, ISO 8601. */
  time: string;
}

/**
 * - `sending`: the image is on its way, in part or whole
 * - `swapping`: the board was told to start it, and has not said that it does
 * - `trying`: it starts, or runs on trial
 * - `confirming`: it was found healthy and the board told so
 * - `restoring`: it is confirmed, and what it changed is being put back
 * - `finished`, `undone`, `given up`: over
 */
export type UpdatePhase =
  | 'sending'
  | 'swapping'
  | 'trying'
  | 'confirming'
  | 'restoring'
  | 'finished'
  | 'undone'
  | 'given up';

export interface UpdateState extends UpdatePlan {
  begun: string;
  phase: UpdatePhase;
  /** As they were before it was started; absent where the board had none. */
  settings?: readonly Setting[];
  set?: StoredSet;
  /** What was looked at before it was confirmed. */
  checks?: readonly string[];
  /** How it ended, and why, a sentence each. */
  words?: readonly string[];
}

export interface CareHistory {
  /** The settings as they were read last. */
  settings?: SettingsSnapshot;
  /** Changes were sent, and nothing is known of them yet. The same of the others that are begun. */
  settingsBegun?: { replaces: number; changes: readonly SettingChange[] };
  renameBegun?: { from: string; to: string };
  clockBegun?: { utc: number; time: string };
  eraseBegun?: { through: number; count: number };
  restoreBegun?: { replaces: number; crc: string };
  /** When the clock was last set, by the board's reckoning and by ours. */
  clockSet?: { utc: number; time: string };
  /** The newest change of firmware, under way or over. */
  update?: UpdateState;
}

const CARE_KINDS: Record<CareEntry['kind'], true> = {
  'settings saved': true,
  'settings begun': true,
  'settings adopted': true,
  'settings failed': true,
  'rename begun': true,
  renamed: true,
  'rename failed': true,
  'clock begun': true,
  'clock set': true,
  'clock failed': true,
  'erase begun': true,
  'erase failed': true,
  'restore begun': true,
  restored: true,
  'restore failed': true,
  'update begun': true,
  'update swap begun': true,
  'update swapped': true,
  'update confirm begun': true,
  'update confirmed': true,
  'update finished': true,
  'update undone': true,
  'update given up': true,
};

export const isCareEntry = (entry: Entry): entry is CareEntry =>
  Object.hasOwn(CARE_KINDS, entry.kind);

/**
 * What is so after one more entry.
 *
 * @param inForce the set in force before it
 */
export function afterCare(
  care: CareHistory,
  entry: CareEntry,
  inForce: StoredSet | undefined,
): CareHistory {
  const { time } = entry;
  switch (entry.kind) {
    case 'settings saved': {
      const { revision, settings } = entry;
      return { ...care, settings: { revision, settings, time } };
    }
    case 'settings begun': {
      const { replaces, changes } = entry;
      return { ...care, settingsBegun: { replaces, changes } };
    }
    case 'settings adopted':
    case 'settings failed':
      return without(care, 'settingsBegun');
    case 'rename begun':
      return { ...care, renameBegun: { from: entry.from, to: entry.to } };
    case 'renamed':
    case 'rename failed':
      return without(care, 'renameBegun');
    case 'clock begun':
      return { ...care, clockBegun: { utc: entry.utc, time } };
    case 'clock set': {
      // at the moment it was sent, which is that of "clock begun"
      const at = care.clockBegun?.time ?? time;
      return { ...without(care, 'clockBegun'), clockSet: { utc: entry.utc, time: at } };
    }
    case 'clock failed':
      return without(care, 'clockBegun');
    case 'erase begun':
      return { ...care, eraseBegun: { through: entry.through, count: entry.count } };
    case 'erase failed':
      return without(care, 'eraseBegun');
    case 'restore begun':
      return { ...care, restoreBegun: { replaces: entry.replaces, crc: entry.crc } };
    case 'restored':
    case 'restore failed':
      return without(care, 'restoreBegun');
    case 'update begun':
      return { ...care, update: begunUpdate(entry) };
    case 'update swap begun': {
      const { update, settings } = care;
      if (!update) return care;
      const before = {
        ...(settings && { settings: settings.settings }),
        ...(inForce && { set: inForce }),
      };
      return { ...care, update: { ...update, phase: 'swapping', ...before } };
    }
    default: {
      const { update } = care;
      return update ? { ...care, update: afterUpdate(update, entry) } : care;
    }
  }
}

function begunUpdate(entry: Extract<CareEntry, { kind: 'update begun' }>): UpdateState {
  const { from, to, source, size, crc, trialSeconds, time } = entry;
  return { from, to, source, size, crc, trialSeconds, begun: time, phase: 'sending' };
}

type UpdateEntry = Exclude<
  Extract<CareEntry, { kind: `update ${string}` }>,
  { kind: 'update begun' | 'update swap begun' }
>;

function afterUpdate(update: UpdateState, entry: UpdateEntry): UpdateState {
  switch (entry.kind) {
    case 'update swapped':
      return { ...update, phase: 'trying' };
    case 'update confirm begun':
      return { ...update, phase: 'confirming', checks: entry.checks };
    case 'update confirmed':
      return { ...update, phase: 'restoring' };
    case 'update finished':
      return { ...update, phase: 'finished', words: entry.otherwise };
    case 'update undone':
      return { ...update, phase: 'undone', words: [entry.reason] };
    case 'update given up':
      return { ...update, phase: 'given up', words: [entry.reason] };
  }
}

/** The change of firmware that is under way; nothing where none is. */
export function openUpdate({ update }: CareHistory): UpdateState | undefined {
  return update && !['finished', 'undone', 'given up'].includes(update.phase) ? update : undefined;
}

/** Whether the board has been told to start the new firmware: from there on every link settles what became of it. */
export const isStarted = ({ phase }: UpdateState): boolean =>
  ['swapping', 'trying', 'confirming', 'restoring'].includes(phase);
