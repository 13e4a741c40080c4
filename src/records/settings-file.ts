import * as v from 'valibot';
import type { Settings } from '../protocol/board-care.ts';
import type { BoardIdentity } from '../protocol/board.ts';
import { CARE_LIMITS, unfit } from '../protocol/care-messages.ts';
import { readJsonFile, type JsonFault } from './json-file.ts';

/** A board's settings as a JSON file (docs/files.md, docs/schemas/settings-1.schema.json). */

const TYPE = 'lodebench.settings';
const VERSION = 1;

/** The most bytes such a file may have; one setting has some three hundred, and a board has 99 at most. */
const MOST_BYTES = 200_000;

export interface SettingsFile extends Settings {
  /** When they were read, ISO 8601, UTC. */
  savedAt: string;
  /** The board that they were read from. */
  board: Pick<BoardIdentity, 'serial' | 'name' | 'hardware' | 'firmware'>;
}

export function writeSettings(file: SettingsFile): string {
  const { savedAt, board, revision, settings } = file;
  const { serial, name, hardware, firmware } = board;
  const content = {
    ...{ type: TYPE, version: VERSION, savedAt },
    ...{ board: { serial, name, hardware, firmware }, revision, settings },
  };
  return `${JSON.stringify(content, null, 2)}\n`;
}

const text = (most: number) => v.pipe(v.string(), v.maxLength(most));
const whole = (most: number) =>
  v.pipe(v.number(), v.integer(), v.minValue(0), v.maxValue(most, `it must be ${most} at most`));

const Described = v.pipe(
  v.object({
    at: whole(CARE_LIMITS.settings),
    name: v.pipe(v.string(), v.regex(/^[a-z][a-z0-9_]{0,15}$/, 'it must be a name')),
    label: v.pipe(text(40), v.minLength(1)),
    kind: v.picklist(['switch', 'number', 'choice', 'text']),
    value: text(CARE_LIMITS.value),
    default: text(CARE_LIMITS.value),
    min: v.exactOptional(text(12)),
    max: v.exactOptional(text(12)),
    decimals: v.exactOptional(whole(6)),
    unit: v.exactOptional(text(8)),
    choices: v.exactOptional(v.array(text(80))),
    longest: v.exactOptional(whole(CARE_LIMITS.value)),
    restart: v.boolean(),
  }),
  v.check((setting) => unfit(setting, setting.value) === undefined, 'its value is none'),
);

/** A board's settings inside a file: the revision, and each as the board describes it. */
export const settingsSchema = v.object({
  revision: whole(CARE_LIMITS.revision),
  settings: v.pipe(
    v.array(Described),
    v.maxLength(CARE_LIMITS.settings),
    v.check(
      (all) => new Set(all.map(({ name }) => name)).size === all.length,
      'no setting may be there twice',
    ),
  ),
});

const Body = v.object({
  savedAt: v.string(),
  board: v.object({
    serial: v.pipe(text(16), v.minLength(1)),
    name: text(20),
    hardware: text(12),
    firmware: text(12),
  }),
  ...settingsSchema.entries,
});

/** Reads such a file from its bytes, whole or not at all. */
export function readSettingsFile(bytes: Uint8Array): ({ ok: true } & SettingsFile) | JsonFault {
  const kind = { type: TYPE, version: VERSION, label: 'file of settings', mostBytes: MOST_BYTES };
  const read = readJsonFile(bytes, { ...kind, body: Body });
  return read.ok ? { ok: true, ...read.content } : read;
}
