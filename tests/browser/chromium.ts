import { execFileSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { chromium, type Browser } from 'playwright-core';

/** A real browser for tests: the Chromium that is there, or Debian's, fetched once. */

const PLACES = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'];

/**
 * Path of a Chromium; where there is none, installs Debian's package and says so.
 *
 * @throws Error where it cannot be installed, with what to do
 */
export function findChromium(): string {
  const there = [process.env['CHROMIUM'], ...PLACES].find((path) => path && existsSync(path));
  if (there) return there;
  console.log('No Chromium found: installing the Debian package chromium (this takes a minute).');
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
    run('apt-get', 'install', '-y', '-qq', '--no-install-recommends', 'chromium');
  } catch (cause) {
    throw new Error(
      'Chromium could not be installed through apt-get. Install Chromium by hand, or name one: CHROMIUM=/path/to/chromium npm test',
      { cause },
    );
  }
  return PLACES[0]!;
}

/** Starts it without a window, and without a word to any network but the page's own. */
export function launch(): Promise<Browser> {
  return chromium.launch({
    executablePath: findChromium(),
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  });
}
