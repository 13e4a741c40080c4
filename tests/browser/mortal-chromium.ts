import { spawn } from 'node:child_process';
import { once } from 'node:events';
import { mkdirSync } from 'node:fs';
import { createInterface } from 'node:readline';
import { chromium, type BrowserContext, type Page } from 'playwright-core';
import { CHROMIUM_ARGUMENTS, findChromium } from './chromium.ts';

/** A Chromium with a profile directory that outlives it, in a process group of its own, so that all of it can be killed. */
export interface MortalChromium {
  context: BrowserContext;
  /** Where its debugging protocol is spoken, on this machine. */
  port: number;
  /** A page of the app's origin without the app, its icon: what is kept can be looked at before anything works on it. */
  blankPage(appUrl: string): Promise<Page>;
  /** SIGKILL to every process of it: nothing of it is asked, and nothing can be finished. */
  kill(): void;
  /** Resolves when it is gone, killed or not. */
  gone: Promise<unknown>;
}

/** Starts it, on a profile that may be fresh, or left behind by one that was killed. */
export async function mortalChromium(profile: string): Promise<MortalChromium> {
  mkdirSync(profile, { recursive: true });
  const process_ = spawn(
    findChromium(),
    [
      ...CHROMIUM_ARGUMENTS,
      '--headless',
      '--disable-breakpad',
      `--user-data-dir=${profile}`,
      '--remote-debugging-port=0',
      'about:blank',
    ],
    { detached: true, stdio: ['ignore', 'ignore', 'pipe'] },
  );
  const { pid } = process_;
  if (pid === undefined) throw new Error('Chromium could not be started');
  const gone = once(process_, 'exit');
  const kill = () => {
    try {
      process.kill(-pid, 'SIGKILL');
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'ESRCH') throw error; // it is gone already
    }
  };
  try {
    const address = await addressSaid(process_.stderr);
    const browser = await chromium.connectOverCDP(address);
    const context = browser.contexts()[0]!;
    return {
      context,
      port: Number(new URL(address).port),
      gone,
      kill,
      blankPage: async (appUrl) => {
        const page = await context.newPage();
        await page.goto(new URL('icon.svg', appUrl).href);
        return page;
      },
    };
  } catch (error) {
    kill();
    throw error;
  }
}

/** Where Chromium says that it listens. */
async function addressSaid(stderr: NodeJS.ReadableStream): Promise<string> {
  const said: string[] = [];
  const lines = createInterface({ input: stderr });
  for await (const line of lines) {
    const address = /^DevTools listening on (ws:\S+)/.exec(line)?.[1];
    if (address) {
      stderr.resume(); // so that what it says later does not hold it up
      return address;
    }
    said.push(line);
  }
  throw new Error(`Chromium ended before it could be spoken to: ${said.join('\n')}`);
}
