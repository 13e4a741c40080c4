import type { Page } from 'playwright-core';
import { defaultSettings } from '../firmware-sim/settings.ts';
import { HostedBoard, type Attachment } from '../sim/hosted-board.ts';
import { SocketServer } from '../sim/socket-server.ts';
import type { LinkListener } from '../src/protocol/link.ts';
import type { Bench } from '../src/steps/bench.ts';
import { realClock } from '../src/transport/real-clock.ts';
import { serveBuiltApp } from '../tests/browser/build-app.ts';
import { launch } from '../tests/browser/chromium.ts';
import type { Figure } from './figure.ts';

const BOARDS = 16;
const LINES_A_SECOND = 50;
const MINUTES = 5;

/** A board that takes a reading whenever it is pressed, however often, and whose lines are counted. */
class StreamingBoard extends HostedBoard {
  lines = 0;

  constructor(seed: number) {
    const build = { captureMs: 5, keepsReadings: false };
    const settings = { ...defaultSettings, seed };
    super(
      { kind: { name: 'streaming', words: '', build, settings: {} }, settings, drop: 0 },
      realClock,
    );
  }

  override attach(listener: LinkListener, onGivenWay?: () => void): Attachment {
    const bytes = (chunk: Uint8Array): void => {
      for (const byte of chunk) if (byte === 0x0a) this.lines += 1;
      listener.bytes(chunk);
    };
    return super.attach({ ...listener, bytes, closed: (end) => listener.closed(end) }, onGivenWay);
  }
}

/** What the page noted while boards were streaming. */
interface Noted {
  lines: number;
  /** The longest time in which the page could do nothing else, milliseconds. */
  longestTask: number;
  longTasks: number;
}

/**
 * The built app in headless Chromium with so many simulated boards streaming readings over WebSockets, the lines of one of
 * them on the screen: lines lost, memory of the page, and how long its main thread was ever blocked.
 */
export async function soak(): Promise<Figure[]> {
  const app = await serveBuiltApp();
  const boards = Array.from({ length: BOARDS }, (_, i) => new StreamingBoard(i + 1));
  const sockets = await SocketServer.at(0, boards);
  const browser = await launch();
  try {
    const page = await browser.newPage({ viewport: { width: 1440, height: 1000 } });
    await page.goto(app.url);
    await page.locator('lode-bench').waitFor();
    await page.evaluate(
      linkAll,
      boards.map((_, i) => sockets.address(i)),
    );
    await page.locator('summary', { hasText: 'The lines on the wire' }).click();
    for (const board of boards) board.lines = 0;
    await page.evaluate(beginNoting);
    const before = await heap(page);
    await stream(boards);
    const sent = boards.reduce((sum, { lines }) => sum + lines, 0);
    const noted = await arrived(page, sent);
    const after = await heap(page);
    const where = `${BOARDS} boards at ${LINES_A_SECOND} lines a second each, ${MINUTES} minutes, headless Chromium ${browser.version()}`;
    return [
      {
        what: `lines lost on their way into the page: ${where}`,
        value: String(sent - noted.lines),
        beside: `of ${sent.toLocaleString('en')}, ${(sent / BOARDS / MINUTES / 60).toFixed(0)} a second of each board reached; none wanted`,
      },
      {
        what: 'longest time in which the page’s main thread did nothing else, same run',
        value: noted.longTasks === 0 ? 'under 50 ms' : `${Math.round(noted.longestTask)} ms`,
        beside: `${noted.longTasks} tasks of 50 ms or more; under 50 ms wanted`,
      },
      {
        what: 'memory of the page’s scripts at the start and at the end, same run, rubbish collected',
        value: `${mega(before)} and ${mega(after)}`,
        beside: `10,000 lines of each board are kept: about ${mega(BOARDS * 10_000 * 300)}`,
      },
    ];
  } finally {
    await browser.close();
    await sockets.end();
    await app.end();
  }
}

const mega = (bytes: number): string => `${(bytes / 1e6).toFixed(1)} MB`;

/** Every board is pressed so many times a second, in step with the time that has really passed. */
async function stream(boards: readonly StreamingBoard[]): Promise<void> {
  const began = performance.now();
  const presses = MINUTES * 60 * LINES_A_SECOND;
  for (let press = 0; press < presses; press++) {
    const wait = began + (press * 1000) / LINES_A_SECOND - performance.now();
    if (wait > 0) await new Promise((resolve) => setTimeout(resolve, wait));
    await Promise.all(boards.map(({ board }) => board.press()));
  }
  await new Promise((resolve) => setTimeout(resolve, 1000)); // the last reading is taken
}

/** What the page noted, when all that was sent is there or nothing more comes for a while. */
async function arrived(page: Page, sent: number): Promise<Noted> {
  let noted = await page.evaluate(endNoting);
  for (let before = -1; noted.lines < sent && noted.lines !== before;) {
    before = noted.lines;
    await new Promise((resolve) => setTimeout(resolve, 5000));
    noted = await page.evaluate(endNoting);
  }
  return noted;
}

/** Bytes that scripts hold, after collecting what they do not. */
async function heap(page: Page): Promise<number> {
  const session = await page.context().newCDPSession(page);
  await session.send('HeapProfiler.collectGarbage');
  const { usedSize } = await session.send('Runtime.getHeapUsage');
  await session.detach();
  return usedSize;
}

/* What follows runs in the page: each function stands alone. */

interface SoakWindow {
  noted: Noted;
}

async function linkAll(addresses: readonly string[]): Promise<void> {
  const { bench } = document.querySelector('lode-bench') as unknown as { bench: Bench };
  for (const address of addresses) await bench.link('socket', { address });
  for (const place of bench.places) await place.sendByHand('mode set=collect');
}

function beginNoting(): void {
  const { bench } = document.querySelector('lode-bench') as unknown as { bench: Bench };
  const noted: Noted = { lines: 0, longestTask: 0, longTasks: 0 };
  (globalThis as unknown as SoakWindow).noted = noted;
  for (const place of bench.places) {
    place.onWire((what) => {
      if (what === 'from_board') noted.lines += 1;
    });
  }
  new PerformanceObserver((list) => {
    for (const { duration } of list.getEntries()) {
      noted.longTasks += 1;
      noted.longestTask = Math.max(noted.longestTask, duration);
    }
  }).observe({ type: 'longtask' });
}

function endNoting(): Noted {
  return (globalThis as unknown as SoakWindow).noted;
}
