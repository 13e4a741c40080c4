import type { Page } from 'playwright-core';
import { defaultSettings } from '../firmware-sim/settings.ts';
import { CUSTOMARY_AIMS } from '../sim/customary-aims.ts';
import { HostedBoard } from '../sim/hosted-board.ts';
import { SocketServer } from '../sim/socket-server.ts';
import type { LinkListener } from '../src/protocol/link.ts';
import type { Bench } from '../src/steps/bench.ts';
import { realClock } from '../src/transport/real-clock.ts';
import { serveBuiltApp } from '../tests/browser/build-app.ts';
import { launch } from '../tests/browser/chromium.ts';
import type { Figure } from './figure.ts';

const BOARDS = 16;
/** Between two readings of a board, seconds: faster than any hand turns one. */
const SECONDS = 0.5;
/** How often the plan is gone through; each time another board is at hand. */
const ROUNDS = 4;

/** A board that notes when it has sent each of its readings. */
class NotingBoard extends HostedBoard {
  /** By the number of the reading, milliseconds since the epoch. */
  readonly sent = new Map<number, number>();

  constructor(seed: number) {
    const settings = { ...defaultSettings, seed };
    super(
      { kind: { name: 'noting', words: '', build: {}, settings: {} }, settings, drop: 0 },
      realClock,
    );
  }

  override attach(listener: LinkListener, onGivenWay?: () => void) {
    let rest = ''; // of a line that is not over
    const bytes = (chunk: Uint8Array): void => {
      const lines = (rest + Buffer.from(chunk).toString('latin1')).split('\n');
      rest = lines.pop()!;
      for (const line of lines) {
        const reading = EVENT.exec(line)?.[1];
        if (reading) this.sent.set(Number(reading), performance.timeOrigin + performance.now());
      }
      listener.bytes(chunk);
    };
    return super.attach({ bytes, closed: (end) => listener.closed(end) }, onGivenWay);
  }
}

const EVENT = /^!\d+ reading reading=(\d+) /;

/** How long readings took, milliseconds, each from where it is measured to the picture that shows it. */
interface Times {
  /** From the arrival of its last byte in the page. */
  arrival: number[];
  /** From its sending by the board, in another process: what the page was too busy to take in is in it. */
  sending: number[];
}

/**
 * The built app in headless Chromium, with boards streaming readings over WebSockets, a calibration under way at each: how
 * long a reading of the board at hand takes until it is on the screen, in the logbook before that.
 */
export async function events(): Promise<Figure[]> {
  const app = await serveBuiltApp();
  // the first is measured alone: a memory that is full of its readings would refuse those beside the others
  const boards = Array.from({ length: 1 + BOARDS }, (_, i) => new NotingBoard(i + 1));
  const sockets = await SocketServer.at(0, boards);
  const browser = await launch();
  try {
    const measure = async (some: readonly NotingBoard[]) => {
      // a context of its own has a logbook of its own
      const page = await browser.newPage({ viewport: { width: 1440, height: 1000 } });
      await page.addInitScript(watchArrivals);
      await page.goto(app.url);
      await page.locator('lode-bench').waitFor();
      await page.evaluate(
        linkAll,
        some.map((board) => sockets.address(boards.indexOf(board))),
      );
      const times: Times = { arrival: [], sending: [] };
      for (let round = 0; round < ROUNDS; round++) {
        await streamOnce(page, some, round % some.length, times);
      }
      await page.context().close();
      return times;
    };
    const one = await measure(boards.slice(0, 1));
    const all = await measure(boards.slice(1));
    const rate = `a reading every ${SECONDS * 1000} ms from each`;
    return [
      figureOf(
        `a reading on the screen: from the arrival of its bytes in the page to the picture that shows it, ${BOARDS} boards, ${rate}, headless Chromium ${browser.version()} (95 of 100 readings)`,
        all.arrival,
        one.arrival,
      ),
      figureOf(
        'the same from its sending by the board, in another process of this machine',
        all.sending,
        one.sending,
      ),
    ];
  } finally {
    await browser.close();
    await sockets.end();
    await app.end();
  }
}

function figureOf(what: string, all: readonly number[], one: readonly number[]): Figure {
  const ms = (times: readonly number[], part: number) =>
    `${[...times].sort((a, b) => a - b)[Math.ceil(part * times.length) - 1]!.toFixed(0)} ms`;
  return {
    what,
    value: ms(all, 0.95),
    beside: `${all.length} readings, the middle one ${ms(all, 0.5)}, the slowest ${ms(all, 1)}; with one board alone ${ms(one, 0.95)}; at most 50 ms wanted`,
  };
}

/** A calibration is begun at every board, and each is led through the plan; the readings of the one at hand are timed. */
async function streamOnce(
  page: Page,
  boards: readonly NotingBoard[],
  atHand: number,
  times: Times,
): Promise<void> {
  const board = boards[atHand]!;
  await page.evaluate(beginAll, atHand);
  // a board that is asked how it is held refuses its trigger; a hand waits for it, this stream does not
  await page
    .locator('details', { hasText: 'The aim wanted, the aim now' })
    .evaluate((sheet: HTMLDetailsElement) => (sheet.open = false));
  board.sent.clear();
  for (const each of boards) {
    await each.obey('plan', [String(SECONDS)]);
    await pause((SECONDS * 1000) / BOARDS); // no two hands keep step
  }
  await pause(CUSTOMARY_AIMS.length * SECONDS * 1000 + 1000);
  const shown = await page.evaluate(shownSince);
  // a trigger that meets a look already begun is refused, and the reading never taken; what was sent must all be seen
  const { size: sent } = board.sent;
  if (shown.length !== sent || sent < CUSTOMARY_AIMS.length - 2) {
    throw new Error(
      `${shown.length} readings were shown of ${sent} sent in ${CUSTOMARY_AIMS.length}`,
    );
  }
  for (const { reading, arrived, painted, origin } of shown) {
    times.arrival.push(painted - arrived);
    times.sending.push(origin + painted - board.sent.get(reading)!);
  }
}

const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/* What follows runs in the page: each function stands alone. */

/** A reading that was shown, milliseconds on the page's own clock. */
interface Shown {
  reading: number;
  arrived: number;
  painted: number;
  /** When that clock began, milliseconds since the epoch. */
  origin: number;
}

interface EventsWindow {
  /** When bytes came last over any link. */
  arrivedLast: number;
  shown: Shown[];
  stopNoting?: () => void;
}

/** Notes when bytes arrive, before the app hears of them. */
function watchArrivals(): void {
  const own = globalThis as unknown as EventsWindow;
  own.shown = [];
  globalThis.WebSocket = class extends WebSocket {
    constructor(...how: ConstructorParameters<typeof WebSocket>) {
      super(...how);
      this.addEventListener('message', () => (own.arrivedLast = performance.now()));
    }
  };
}

async function linkAll(addresses: readonly string[]): Promise<void> {
  const { bench } = document.querySelector('lode-bench') as unknown as { bench: Bench };
  for (const address of addresses) await bench.link('socket', { address });
  const wanting = bench.places.filter(({ state }) => state.link.state !== 'linked');
  if (wanting.length > 0) throw new Error(`${wanting.length} boards could not be linked`);
}

async function beginAll(atHand: number): Promise<void> {
  const own = globalThis as unknown as EventsWindow;
  const { bench } = document.querySelector('lode-bench') as unknown as { bench: Bench };
  for (const place of bench.places) await place.perform('begin');
  const place = bench.places[atHand]!;
  bench.pick(place);
  own.shown = [];
  own.stopNoting?.();
  const arrived = new Map<number, number>();
  const stopHearing = place.onWire((what, line) => {
    const reading = / reading reading=(\d+) /.exec(line)?.[1];
    if (what === 'from_board' && reading) arrived.set(Number(reading), own.arrivedLast);
  });
  let latest = 0;
  const watcher = new MutationObserver(() => {
    const said = document.querySelector('next-card .said')?.textContent ?? '';
    const reading = Number(/Reading (\d+)/.exec(said)?.[1] ?? 0);
    if (reading === latest || !arrived.has(reading)) return;
    latest = reading;
    // the first comes before the picture is made, the second when it has been
    requestAnimationFrame(() =>
      requestAnimationFrame(() =>
        own.shown.push({
          reading,
          arrived: arrived.get(reading)!,
          painted: performance.now(),
          origin: performance.timeOrigin,
        }),
      ),
    );
  });
  watcher.observe(document, { subtree: true, childList: true, characterData: true });
  own.stopNoting = () => {
    stopHearing();
    watcher.disconnect();
  };
}

function shownSince(): Shown[] {
  return (globalThis as unknown as EventsWindow).shown;
}
