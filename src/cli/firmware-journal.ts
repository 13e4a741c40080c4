import { existsSync } from 'node:fs';
import {
  readSavedBoard,
  writeSavedBoard,
  type FirmwareChange,
  type SavedBoard,
} from '../records/saved-board.ts';
import { sameReading } from '../steps/calibration-state.ts';
import { Stopped } from './board-link.ts';
import { readBytes, replaceFile } from './files.ts';

/**
 * The file in which a board's content was saved before its firmware is changed. It also says how far the change came, so
 * that the same command goes on after a break.
 */
export class FirmwareJournal {
  constructor(
    readonly path: string,
    readonly saved: SavedBoard,
  ) {}

  get change(): FirmwareChange {
    return this.saved.firmwareChange!;
  }

  /** Writes down how the change ended, or that it is under way once more. @throws Stopped */
  now(state: FirmwareChange['state']): FirmwareJournal {
    const saved = { ...this.saved, firmwareChange: { ...this.change, state } };
    const written = replaceFile(this.path, writeSavedBoard(saved));
    if (!written.ok) throw new Stopped(`${written.message} Run the same command again.`);
    return new FirmwareJournal(this.path, saved);
  }

  /** Whether all that counts is on the board as it was saved. */
  fits(now: SavedBoard): boolean {
    const { inForce, settings, readings } = this.saved;
    return (
      inForce?.crc === now.inForce?.crc &&
      inForce?.generation === now.inForce?.generation &&
      valuesOf(settings) === valuesOf(now.settings) &&
      now.readings.every((reading) => readings.some((each) => sameReading(each, reading)))
    );
  }
}

const valuesOf = (settings: SavedBoard['settings']): string =>
  JSON.stringify([settings?.revision, settings?.settings.map(({ name, value }) => [name, value])]);

/** Which journal a change of firmware goes on with, or where a new one goes. */
export interface Journals {
  /** The newest of this change. */
  last?: FirmwareJournal;
  /** A name that is free; absent where the person gave one, and it is taken. */
  free?: string;
}

/**
 * @param given the name that the person gave; without it one is made of the board and the version, numbered where it is
 *   taken
 * @throws Stopped where a file of that name is something else
 */
export function journalsOf(serial: string, version: string, given: string | undefined): Journals {
  const safe = (text: string) => text.replace(/[^A-Za-z0-9.-]/g, '_');
  const name = `board-${safe(serial)}-before-${safe(version)}`;
  let last: FirmwareJournal | undefined;
  if (given !== undefined) {
    return existsSync(given) ? { last: journalIn(given, serial, version) } : { free: given };
  }
  for (let time = 1; ; time++) {
    const path = `${name}${time === 1 ? '' : `-${time}`}.json`;
    if (!existsSync(path)) return { ...(last && { last }), free: path };
    last = journalIn(path, serial, version);
  }
}

/** The journal of a change to a version that was begun and is not at its end; nothing where there is none. */
export function journalUnderWay(
  serial: string,
  version: string,
  given: string | undefined,
): FirmwareJournal | undefined {
  try {
    const { last } = journalsOf(serial, version, given);
    return last?.change.state === 'begun' ? last : undefined;
  } catch (error) {
    if (given !== undefined && error instanceof Stopped) return undefined; // it is of another change
    throw error;
  }
}

function journalIn(path: string, serial: string, version: string): FirmwareJournal {
  const file = readBytes(path);
  if (!file.ok) throw new Stopped(file.message);
  const read = readSavedBoard(file.bytes);
  const advice = 'Give another name with --save.';
  if (!read.ok) throw new Stopped(`${path}: ${read.message} ${advice}`);
  const { identity, firmwareChange } = read.saved;
  if (identity.serial !== serial || firmwareChange?.to !== version) {
    throw new Stopped(
      `${path} was not saved for a change of board ${serial} to version ${version}. Nothing was changed. ${advice}`,
    );
  }
  return new FirmwareJournal(path, read.saved);
}
