import {
  closeSync,
  existsSync,
  fsyncSync,
  openSync,
  readFileSync,
  realpathSync,
  renameSync,
  statSync,
  unlinkSync,
  writeFileSync,
} from 'node:fs';
import { dirname, resolve } from 'node:path';

/** Files by name, with errors as values in words. */

const WHY: Partial<Record<string, string>> = {
  EEXIST: 'there is a file of that name',
  ENOENT: 'there is no such file or folder',
  EISDIR: 'it is a folder',
  EACCES: 'this user may not',
  EROFS: 'nothing can be written there',
  ENOTDIR: 'what stands for its folder is none',
  ENOSPC: 'the disk is full',
  ERR_FS_FILE_TOO_LARGE: 'it is far too long',
};

/** Why the system did not do it, in words. */
export function whyNot(error: unknown): string {
  const code = error instanceof Error && 'code' in error ? String(error.code) : '';
  return WHY[code] ?? String(error);
}

export function readBytes(
  path: string,
): { ok: true; bytes: Uint8Array } | { ok: false; message: string } {
  try {
    return { ok: true, bytes: readFileSync(path) };
  } catch (error) {
    return {
      ok: false,
      message: `${path}: it could not be read: ${whyNot(error)}. Nothing was changed.`,
    };
  }
}

export function writeText(
  path: string,
  text: string,
): { ok: true } | { ok: false; message: string } {
  try {
    writeFileSync(path, text);
    return { ok: true };
  } catch (error) {
    return {
      ok: false,
      message: `${path}: it could not be written: ${whyNot(error)}. Nothing else was changed.`,
    };
  }
}

/** Writes a file that is not there yet, and does not return before it is on disk. */
export function writeNew(
  path: string,
  content: string | Uint8Array,
): { ok: true } | { ok: false; message: string } {
  return writing(path, () => onDisk(path, 'wx', content));
}

/**
 * Puts a file in place of the one there, and does not return before it is on disk. If power fails meanwhile, either the
 * old one is there or the new one, whole.
 */
export function replaceFile(path: string, text: string): Written {
  return writing(path, () => {
    onDisk(beside(path), 'w', text);
    renameSync(beside(path), path);
    if (process.platform === 'win32') return; // a folder cannot be opened there
    const folder = openSync(dirname(path), 'r');
    try {
      fsyncSync(folder);
    } finally {
      closeSync(folder);
    }
  });
}

/** Whether {@link replaceFile} can put a file there, as far as that shows before there is anything to write. */
export function canReplace(path: string): Written {
  return writing(path, () => {
    onDisk(beside(path), 'w', '');
    unlinkSync(beside(path));
  });
}

/** Where a file is made whole before it takes the place of the one there. */
const beside = (path: string): string => `${path}.new`;

export type Written =
  | { ok: true }
  /** `isFull`: room on the disk is all that is missing. */
  | { ok: false; message: string; isFull: boolean };

function writing(path: string, write: () => void): Written {
  try {
    write();
    return { ok: true };
  } catch (error) {
    const isFull = error instanceof Error && 'code' in error && error.code === 'ENOSPC';
    return { ok: false, message: `${path}: it could not be written: ${whyNot(error)}.`, isFull };
  }
}

function onDisk(path: string, flags: 'w' | 'wx', content: string | Uint8Array): void {
  const file = openSync(path, flags);
  try {
    writeFileSync(file, content);
    fsyncSync(file);
  } finally {
    closeSync(file);
  }
}

/** Whether a file is there, and neither a folder nor a device. */
export const isFile = (path: string): boolean => existsSync(path) && statSync(path).isFile();

/** Whether two names mean one file, by whatever links. */
export function sameFile(one: string, two: string): boolean {
  const real = (path: string) => {
    try {
      return realpathSync(path);
    } catch {
      return resolve(path); // it is not there yet
    }
  };
  return real(one) === real(two);
}
