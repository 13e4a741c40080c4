import { execFile } from 'node:child_process';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

export interface Ended {
  code: number;
  out: string;
  err: string;
}

const ROOT = new URL('../..', import.meta.url).pathname;

/** Runs the real command line in a process of its own, at the project's root. */
export function cli(...args: string[]): Promise<Ended> {
  return new Promise((resolve, reject) => {
    const command = ['--import', 'tsx', 'src/cli/main.ts', ...args];
    execFile(process.execPath, command, { cwd: ROOT }, (error, out, err) => {
      const code = error ? error.code : 0;
      if (typeof code === 'number') resolve({ code, out, err });
      else reject(error ?? new Error('no exit code'));
    });
  });
}

/** A fresh folder, and the path of a file in it. */
export function scratch(): (name: string) => string {
  const folder = mkdtempSync(join(tmpdir(), 'lodebench-cli-'));
  return (name) => join(folder, name);
}
