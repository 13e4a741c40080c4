import type { Bench } from '../src/steps/bench.ts';
import { serveBuiltApp } from '../tests/browser/build-app.ts';
import { launch } from '../tests/browser/chromium.ts';
import type { Figure } from './figure.ts';

/** How often a simulated board is calibrated; each time from the first reading to the last of the plan. */
const ROUNDS = 6;
/** Between two readings, milliseconds: faster than any hand turns a board. */
const BETWEEN = 250;
/** Readings that are timed, counted within a calibration: those before are no fit's, nor nearly. */
const FROM = 8;
const TO = 56;

/**
 * The built app in headless Chromium, with a simulated board in the page: how long after a reading the provisional fit that
 * saw it is on the screen; its charts are drawn right after. Beside it how long the reading itself takes, in the same run.
 */
export async function liveFit(): Promise<Figure[]> {
  const app = await serveBuiltApp();
  const browser = await launch();
  try {
    const page = await browser.newPage({ viewport: { width: 1440, height: 1000 } });
    await page.goto(app.url);
    await page.getByRole('button', { name: 'Link the simulated board' }).click();
    await page.getByRole('button', { name: 'Begin taking readings' }).waitFor();
    const times: Shown[] = [];
    for (let round = 0; round < ROUNDS; round++) {
      times.push(...(await page.evaluate(takeAll, { between: BETWEEN, to: TO })));
    }
    const timed = times.filter(({ n }) => n >= FROM);
    const wanted = ROUNDS * (TO - FROM + 1);
    if (timed.length !== wanted) throw new Error(`${timed.length} fits were seen of ${wanted}`);
    const fits = timed.map(({ fit, arrived }) => fit - arrived);
    const readings = timed.map(({ reading, arrived }) => reading - arrived);
    return [
      {
        what: `a provisional fit on the screen: from the arrival of a reading in the page to the picture that shows the fit which saw it, ${FROM} to ${TO} readings, one every ${BETWEEN} ms, headless Chromium ${browser.version()} (95 of 100 readings)`,
        value: ms(fits, 0.95),
        beside: `${timed.length} readings of ${ROUNDS} calibrations, the middle one ${ms(fits, 0.5)}, the slowest ${ms(fits, 1)}; the reading itself, in the same run, ${ms(readings, 0.95)}, the middle one ${ms(readings, 0.5)}; at most 100 ms wanted`,
      },
    ];
  } finally {
    await browser.close();
    await app.end();
  }
}

const ms = (times: readonly number[], part: number): string =>
  `${[...times].sort((a, b) => a - b)[Math.ceil(part * times.length) - 1]!.toFixed(0)} ms`;

/** Milliseconds of the page's clock. */
interface Shown {
  /** Which reading of the calibration it was, counted from one. */
  n: number;
  arrived: number;
  /** When the picture was made that tells of the reading; and that which shows the fit. */
  reading: number;
  fit: number;
}

/** Runs in the page, and stands alone: begins a calibration and takes one reading after the other. */
async function takeAll({ between, to }: { between: number; to: number }): Promise<Shown[]> {
  const { bench } = document.querySelector('lode-bench') as unknown as { bench: Bench };
  const place = bench.atHand;
  await place.perform('begin');
  const shown: Shown[] = [];
  for (let n = 1; n <= to; n++) {
    let arrived = 0;
    const reading = new Promise<number>((resolve) => {
      let said: string | undefined;
      const watcher = new MutationObserver(() => {
        const words = document.querySelector('next-card .said')?.textContent ?? '';
        if (arrived === 0 || words === said || !/Reading \d+ taken/.test(words)) return;
        said = words;
        watcher.disconnect();
        // the first callback comes before the picture is made, the second when it has been
        requestAnimationFrame(() => requestAnimationFrame(resolve));
      });
      watcher.observe(document, { subtree: true, childList: true, characterData: true });
    });
    const fit = new Promise<number>((resolve) => {
      const watcher = new MutationObserver(() => {
        const words = document.querySelector('fit-view')?.textContent ?? '';
        if (Number(/(?:from|yet:)\s+(\d+)/.exec(words)?.[1]) !== n) return;
        watcher.disconnect();
        requestAnimationFrame(() => requestAnimationFrame(resolve));
      });
      watcher.observe(document, { subtree: true, childList: true, characterData: true });
    });
    const stopHearing = place.onWire((what, line) => {
      if (what === 'from_board' && / reading reading=\d+ /.test(line)) arrived = performance.now();
    });
    await place.perform('take one');
    const [readingAt, fitAt] = await Promise.all([reading, fit]);
    stopHearing();
    shown.push({ n, arrived, reading: readingAt, fit: fitAt });
    await new Promise((resolve) => setTimeout(resolve, between));
  }
  return shown;
}
