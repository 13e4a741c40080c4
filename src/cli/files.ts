import { readFileSync, realpathSync, writeFileSync } from 'node:fs';
import { resolve } from 'node:path';

/** Files by name, with errors as values in words. */

const WHY: Partial<Record<string, string>> = {
  ENOENT: 'there is no such file or folder',
  EISDIR: 'it is a folder',
  EACCES: 'this user may not',
  ENOSPC: 'the disk is full',
  ERR_FS_FILE_TOO_LARGE: 'it is far too long',
};

function why(error: unknown): string {
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
      message: `${path}: it could not be read: ${why(error)}. Nothing was changed.`,
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
      message: `${path}: it could not be written: ${why(error)}. Nothing else was changed.`,
    };
  }
}

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
