import { execFileSync } from 'node:child_process';
import { existsSync } from 'node:fs';

/**
 * Debian packages that a test needs beside npm's: those that are not there are installed through apt-get.
 *
 * @param wanted the packages' names, each with a file that shows it is there
 * @throws Error which names the packages that could not be installed, and what to do
 */
export function needDebian(wanted: Readonly<Record<string, string>>): void {
  const absent = () => Object.keys(wanted).filter((name) => !existsSync(wanted[name]!));
  const missing = absent();
  if (missing.length === 0) return;
  console.log(`Installing Debian packages (this takes a minute): ${missing.join(', ')}`);
  const sudo = process.getuid?.() === 0 ? [] : ['sudo', '--non-interactive'];
  const run = (...words: string[]) => {
    const [program, ...args] = [...sudo, ...words];
    execFileSync(program!, args, {
      stdio: 'inherit',
      env: { ...process.env, DEBIAN_FRONTEND: 'noninteractive' },
    });
  };
  try {
    run('apt-get', 'update', '-qq');
    run('apt-get', 'install', '-y', '-qq', '--no-install-recommends', ...missing);
  } catch (cause) {
    throw new Error(missingWords(absent(), 'apt-get could not install them'), { cause });
  }
  const still = absent();
  if (still.length > 0) {
    const files = still.map((name) => wanted[name]).join(', ');
    throw new Error(missingWords(still, `installed, but there is no ${files}`));
  }
}

function missingWords(names: string[], trouble: string): string {
  return `Missing on this machine, and needed by this test: ${names.join(', ')} (${trouble}). What to do: apt-get install ${names.join(' ')}, or its like elsewhere.`;
}
