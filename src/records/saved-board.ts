import * as v from 'valibot';
import { coefficientsFrom, coefficientValues } from '../calib/model.ts';
import type { Settings } from '../protocol/board-care.ts';
import type { BoardIdentity, BoardReading, MemoryState, StoredSet } from '../protocol/board.ts';
import { setCrc } from '../protocol/messages.ts';
import { readCoefficients, writeCoefficients } from './coefficients-file.ts';
import type { UnreadableReading } from './entries.ts';
import { readJsonFile, type JsonFault } from './json-file.ts';
import { settingsSchema } from './settings-file.ts';

/** All that is on a board as a JSON file (docs/files.md, docs/schemas/board-1.schema.json). */

const TYPE = 'lodebench.board';
const VERSION = 1;

/** The most bytes such a file may have: a reading has some six hundred, and no board holds a hundred thousand. */
const MOST_BYTES = 64_000_000;

/** A change of firmware that a board's content was saved for, so that it can go on from there after a break. */
export interface FirmwareChange {
  from: string;
  to: string;
  /** Of the image. */
  size: number;
  crc: string;
  /** Whether the image came from a file, or was in the board's spare slot. */
  source: 'file' | 'spare';
  state: 'begun' | 'finished' | 'undone';
}

export interface SavedBoard {
  /** When, ISO 8601 with UTC offset. */
  savedAt: string;
  identity: BoardIdentity;
  /** The sets it keeps, those it has. */
  inForce?: StoredSet;
  previous?: StoredSet;
  memory: MemoryState;
  readings: readonly BoardReading[];
  unreadable: readonly UnreadableReading[];
  /** Absent where the board has none. */
  settings?: Settings;
  firmwareChange?: FirmwareChange;
}

/** Writes such a file. Each set in it is a whole coefficients file, with its generation and CRC beside. */
export function writeSavedBoard(saved: SavedBoard): string {
  const { savedAt, identity, inForce, previous, memory, readings, unreadable } = saved;
  const { settings, firmwareChange } = saved;
  const file = {
    type: TYPE,
    version: VERSION,
    savedAt,
    identity,
    coefficients: {
      ...(inForce && { inForce: setToJson(inForce) }),
      ...(previous && { previous: setToJson(previous) }),
    },
    memory,
    readings,
    unreadable,
    ...(settings && { settings }),
    ...(firmwareChange && { firmwareChange }),
  };
  return `${JSON.stringify(file, null, 2)}\n`;
}

function setToJson({ generation, crc, model, values }: StoredSet): object {
  const file: unknown = JSON.parse(writeCoefficients(coefficientsFrom(model, values)));
  return { generation, crc, file };
}

const whole = v.pipe(v.number(), v.integer(), v.minValue(0));
const counts = v.strictTuple([v.number(), v.number(), v.number()]);
const word = v.pipe(v.string(), v.regex(/^[0-9A-F]{8}$/));

const StoredFile = v.pipe(
  v.object({ generation: whole, crc: word, file: v.unknown() }),
  v.rawTransform(({ dataset, addIssue, NEVER }): StoredSet => {
    const { generation, crc, file } = dataset.value;
    const read = readCoefficients(new TextEncoder().encode(JSON.stringify(file) ?? ''));
    if (!read.ok) {
      addIssue({ message: read.message.replace(/\. Nothing was changed\.$/, '') });
      return NEVER;
    }
    const { model } = read.coefficients;
    const set = { model, values: coefficientValues(read.coefficients) };
    if (setCrc(set) !== crc) {
      addIssue({ message: `its numbers give the CRC ${setCrc(set)}, and it says ${crc}` });
      return NEVER;
    }
    return { ...set, generation, crc };
  }),
);

/** What of it is used again: the rest is for people, and for other programs. */
const Body = v.object({
  savedAt: v.string(),
  identity: v.looseObject({
    serial: v.pipe(v.string(), v.minLength(1)),
    hardware: v.string(),
    firmware: v.string(),
    generation: whole,
  }),
  coefficients: v.object({
    inForce: v.exactOptional(StoredFile),
    previous: v.exactOptional(StoredFile),
  }),
  memory: v.object({ first: whole, last: whole, count: whole, room: whole, dropped: whole }),
  readings: v.array(v.looseObject({ reading: whole, generation: whole, acc: counts, mag: counts })),
  unreadable: v.array(v.object({ reading: whole, reason: v.string() })),
  settings: v.exactOptional(settingsSchema),
  firmwareChange: v.exactOptional(
    v.object({
      ...{ from: v.string(), to: v.string(), size: whole, crc: word },
      source: v.picklist(['file', 'spare']),
      state: v.picklist(['begun', 'finished', 'undone']),
    }),
  ),
});

/** Reads such a file from its bytes, whole or not at all; each set in it is proved by its CRC. */
export function readSavedBoard(bytes: Uint8Array): { ok: true; saved: SavedBoard } | JsonFault {
  const label = 'file of a board’s content';
  const kind = { type: TYPE, version: VERSION, label, mostBytes: MOST_BYTES, body: Body };
  const read = readJsonFile(bytes, kind);
  if (!read.ok) return read;
  const { coefficients, ...rest } = read.content;
  // identity and readings are written back as they stand, whatever else is in them
  const saved = { ...rest, ...coefficients } as unknown as SavedBoard;
  return { ok: true, saved };
}
