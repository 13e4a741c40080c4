import { openLogbook } from './records/logbook.ts';
import { Bench } from './steps/bench.ts';
import { workerFitter } from './steps/worker-fitter.ts';
import { realClock } from './transport/real-clock.ts';
import { defaultSettings, simulatedBoard } from './transport/simulated.ts';
import './views/lode-bench.ts';

/** Puts the bench together from its parts and hands it to the page. */
async function start(page: HTMLElement): Promise<void> {
  const logbook = await openLogbook();
  if (!logbook.ok) {
    page.replaceWith(noLogbook(logbook.message));
    return;
  }
  const bench = new Bench({
    logbook,
    fitter: workerFitter(),
    simulator: { defaults: defaultSettings, make: simulatedBoard },
    clock: realClock,
    random: Math.random,
    today: () => new Date(),
  });
  const whole = document.createElement('lode-bench');
  whole.bench = bench;
  page.replaceWith(whole);
  await bench.open();
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
