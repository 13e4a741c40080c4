import {
  closeSync,
  existsSync,
  fsyncSync,
  openSync,
  readFileSync,
  realpathSync,
  renameSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { dirname, resolve } from 'node:path';

/** Files by name, with errors as values in words. */

const WHY: Partial<Record<string, string>> = {
  EEXIST: 'there is a file of that name',
  ENOENT: 'there is no such file or folder',
  EISDIR: 'it is a folder',
  EACCES: 'this user may not',
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
export function replaceFile(
  path: string,
  text: string,
): { ok: true } | { ok: false; message: string } {
  return writing(path, () => {
    const beside = `${path}.new`;
    onDisk(beside, 'w', text);
    renameSync(beside, path);
    if (process.platform === 'win32') return; // a folder cannot be opened there
    const folder = openSync(dirname(path), 'r');
    try {
      fsyncSync(folder);
    } finally {
      closeSync(folder);
    }
  });
}

function writing(path: string, write: () => void): { ok: true } | { ok: false; message: string } {
  try {
    write();
    return { ok: true };
  } catch (error) {
    return { ok: false, message: `${path}: it could not be written: ${whyNot(error)}.` };
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
