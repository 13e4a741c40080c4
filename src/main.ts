import './trusted-scripts.ts';
import { checkSettings } from '../firmware-sim/settings.ts';
import { installApp } from './installed-app.ts';
import { HeldEntries } from './records/held-entries.ts';
import { openLogbook } from './records/logbook.ts';
import { Bench, type Sight } from './steps/bench.ts';
import { workerForecaster } from './steps/collecting/worker-forecaster.ts';
import { systemOf } from './steps/link-help.ts';
import { Keeping } from './steps/logbook/keeping.ts';
import { broadcastNews } from './steps/logbook/news.ts';
import { workerFitters } from './steps/worker-fitter.ts';
import { realClock } from './transport/real-clock.ts';
import { defaultSettings, simulatedBoard } from './transport/simulated.ts';
import { webBluetooth } from './transport/web-bluetooth.ts';
import { webSerial } from './transport/web-serial.ts';
import { socketAddress, webSocketLink, type SocketConstructor } from './transport/websocket.ts';
import { loadAhead } from './views/lode-bench.ts';

/** Puts the bench together from its parts and hands it to the page. */
async function start(page: HTMLElement): Promise<void> {
  const opening = openLogbook(); // it takes longest, and nothing of this page's time
  loadAhead();
  const newer = installApp();
  const disk = await opening;
  if (!disk.ok) {
    page.replaceWith(noLogbook(disk.message));
    return;
  }
  const logbook = new HeldEntries(disk);
  const today = () => new Date();
  const storage = navigator.storage as StorageManager | undefined; // absent where the origin is not secure
  const system = systemOf(navigator.userAgent, navigator.maxTouchPoints);
  const bench = new Bench({
    logbook,
    ...workerFitters(realClock),
    forecaster: workerForecaster(realClock),
    ...('locks' in navigator && { hold: holdBench, freed: benchFreed }),
    ...('BroadcastChannel' in globalThis && { news: broadcastNews() }),
    simulator: { defaults: defaultSettings, check: checkSettings, make: simulatedBoard },
    kinds: {
      serial: webSerial({
        serial: navigator.serial as Serial | undefined,
        clock: realClock,
        needsRights: system === 'linux',
      }),
      bluetooth: webBluetooth(navigator.bluetooth as Bluetooth | undefined, realClock),
      socket: (address) => webSocketLink(socketAddress(address), WebSocket as SocketConstructor),
    },
    system,
    sight,
    prefersCalm: () => matchMedia('(prefers-reduced-motion: reduce)').matches,
    clock: realClock,
    random: Math.random,
    today,
  });
  const whole = document.createElement('lode-bench');
  whole.bench = bench;
  whole.newer = newer;
  whole.keeping = new Keeping(logbook, storage, today);
  const tellBusy = () => {
    const held = logbook.isHolding ? 'in memory' : undefined;
    newer.setBusy(bench.isAtWork ? 'at work' : held);
  };
  bench.subscribe(tellBusy);
  logbook.subscribe(tellBusy);
  page.replaceWith(whole);
  await bench.open();
}

/** The page is hidden behind another tab, or the machine was asleep, and then seen again. */
const sight: Sight = {
  isHidden: () => document.visibilityState === 'hidden',
  onSeen(listener) {
    const changed = () => {
      if (!sight.isHidden()) listener();
    };
    document.addEventListener('visibilitychange', changed);
    return () => document.removeEventListener('visibilitychange', changed);
  },
};

/** How long a page that is being reloaded may take to let go, milliseconds. */
const LETTING_GO = 1500;

/** Name of the lock. One page has one bench with all boards on it, so that there is one lock, and not one for each board. */
const BENCH = 'lodebench';

/** Takes the bench for this page, if no other page of this origin has it; it is free again when the page is gone. */
function holdBench(): Promise<boolean> {
  return new Promise((resolve, reject) => {
    const signal = AbortSignal.timeout(LETTING_GO);
    navigator.locks
      .request(BENCH, { signal }, () => {
        resolve(true);
        return new Promise<never>(() => {});
      })
      .catch((error: unknown) => {
        if (signal.aborted) resolve(false);
        else reject(error);
      });
  });
}

/** Resolves once no page has the bench, and none that is only being reloaded has taken it again. */
async function benchFreed(): Promise<void> {
  for (;;) {
    await navigator.locks.request(BENCH, { mode: 'shared' }, () => {}); // granted as soon as it is let go
    await new Promise((resolve) => setTimeout(resolve, LETTING_GO));
    const { held = [] } = await navigator.locks.query();
    if (!held.some(({ name }) => name === BENCH)) return;
  }
}

/** Without a logbook nothing would be kept, so nothing is begun. */
function noLogbook(message: string): HTMLElement {
  const main = document.createElement('main');
  main.className = 'no-logbook';
  const heading = document.createElement('h1');
  heading.textContent = 'Lodebench cannot begin';
  const words = document.createElement('p');
  words.textContent = message;
  main.append(heading, words);
  return main;
}

declare global {
  interface HTMLElementTagNameMap {
    'lode-bench': import('./views/lode-bench.ts').LodeBench;
  }
}

await start(document.querySelector<HTMLElement>('#page')!);
