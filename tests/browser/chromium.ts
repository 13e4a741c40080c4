import { existsSync } from 'node:fs';
import { chromium, type Browser } from 'playwright-core';
import { needDebian } from './debian.ts';

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
  try {
    needDebian({ chromium: PLACES[0]! });
  } catch (cause) {
    throw new Error(
      'There is no Chromium, and none could be installed. Install Chromium by hand, or name one: CHROMIUM=/path/to/chromium npm test',
      { cause },
    );
  }
  return PLACES[0]!;
}

/** Without a window, and without a word to any network but the page's own. */
export const CHROMIUM_ARGUMENTS = [
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];

/**
 * Starts a browser for pages that need no device.
 *
 * @param more arguments for it
 */
export function launch(...more: readonly string[]): Promise<Browser> {
  return chromium.launch({
    executablePath: findChromium(),
    args: [...CHROMIUM_ARGUMENTS, ...more],
  });
}
