import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { serveBuiltApp } from '../tests/browser/build-app.ts';
import { addEntries, makeLogbook } from '../tests/browser/logbook-by-hand.ts';
import { mortalChromium, type MortalChromium } from '../tests/browser/mortal-chromium.ts';
import type { Figure } from './figure.ts';
import { BOARDS, READINGS, tenYears, YEARS } from './ten-years-of-entries.ts';

const LOADS = 9;
const OPENED = 15;
/** How long anything may take before it counts as hanging, milliseconds. */
const LONG = { timeout: 600_000 };

/**
 * Ten years of use in real Chromium, on the app as it would be published: how long it takes until the logbook, and a
 * board of it, is on the screen, and until all of it is taken out.
 */
export async function tenYearsOfUse(): Promise<Figure[]> {
  const folder = await mkdtemp(join(tmpdir(), 'lodebench-years-'));
  const app = await serveBuiltApp();
  const { url } = app;
  let browser: MortalChromium | undefined;
  const end = async () => {
    browser?.kill();
    await browser?.gone;
  };
  try {
    browser = await mortalChromium(join(folder, 'empty'));
    await browser.context.addInitScript(watchScreen);
    const empty = await openings(browser, url, 0);
    await end();
    browser = await mortalChromium(join(folder, 'full'));
    const entries = await fill(browser, url);
    await browser.context.addInitScript(watchScreen);
    const page = await browser.context.newPage();
    const begun = performance.now();
    await openLogbook(page, url, BOARDS);
    const forward = performance.now() - begun;
    await page.close();
    const full = await openings(browser, url, BOARDS);
    const boards = await boardOpenings(browser, url);
    const out = await takingOut(browser, url);
    const readings = BOARDS * YEARS * READINGS;
    return [
      {
        what: `opening the logbook: from navigation to the list of ${BOARDS} boards on the screen (median of ${LOADS})`,
        value: ms(median(full)),
        beside: `an empty logbook: ${ms(median(empty))}`,
      },
      {
        what: `opening a board: from the click to its history on the screen (median of ${OPENED})`,
        value: ms(median(boards.map(({ shown }) => shown))),
        beside: `the database alone, all entries of the same board by its index: ${ms(median(boards.map(({ raw }) => raw)))}`,
      },
      {
        what: `taking all out: ${BOARDS * YEARS} calibrations, ${readings} readings, ${entries} entries, ${(out.bytes / 1e6).toFixed(0)} MB, until the file is ready to save`,
        value: `${(out.all / 1000).toFixed(1)} s`,
        beside: `the database alone, all entries read in batches: ${(out.raw / 1000).toFixed(1)} s`,
      },
      {
        what: 'the same logbook, laid out by the first version of the app, brought up to date as it is first opened',
        value: `${(forward / 1000).toFixed(1)} s`,
        beside: 'once only',
      },
    ];
  } finally {
    await end();
    await app.end();
    await rm(folder, { recursive: true, force: true });
  }
}

const ms = (value: number) => `${value.toFixed(0)} ms`;

const median = (values: readonly number[]) =>
  [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)]!;

/** Puts ten years into a fresh profile. @returns how many entries */
async function fill(browser: MortalChromium, url: string): Promise<number> {
  const page = await browser.blankPage(url);
  await makeLogbook(page, []);
  let count = 0;
  for await (const entries of tenYears()) {
    await addEntries(page, entries);
    count += entries.length;
  }
  await page.close();
  return count;
}

/** What the pages of this bench note, milliseconds on the page's own clock, which begins with the navigation. */
interface Noted {
  /** The list of boards is on the screen, and how many it has. */
  list?: { at: number; boards: number };
  clicked?: number;
  /** The history of a board is on the screen. */
  history?: number;
  /** A file is ready to be saved, and its size. */
  file?: { at: number; bytes: number };
}

declare global {
  var noted: Noted;
}

/** Runs in the page: notes when what is waited for has been painted. It only listens. */
function watchScreen(): void {
  globalThis.noted = {};
  new MutationObserver(() => {
    const boards = document.querySelectorAll('.board-list li').length;
    const isEmpty = document.querySelector('logbook-boards p')?.textContent.includes('Nothing');
    const history = document.querySelector('course-view .course li') !== null;
    const { noted } = globalThis;
    if (!noted.list && (boards > 0 || isEmpty)) {
      noted.list = { at: Infinity, boards };
      requestAnimationFrame(() =>
        setTimeout(() => (noted.list = { at: performance.now(), boards })),
      );
    }
    if (history && noted.history === undefined) {
      noted.history = Infinity;
      requestAnimationFrame(() => setTimeout(() => (noted.history = performance.now())));
    }
  }).observe(document, { subtree: true, childList: true });
  addEventListener('click', ({ timeStamp }) => (globalThis.noted.clicked = timeStamp), true);
  const { createObjectURL } = URL;
  URL.createObjectURL = (object: Blob) => {
    globalThis.noted.file = { at: performance.now(), bytes: object.size };
    return createObjectURL(object);
  };
}

/** @returns how long it took, milliseconds */
async function openLogbook(page: Page, url: string, boards: number): Promise<number> {
  await page.goto(`${url}#logbook`);
  await page.waitForFunction(() => Number.isFinite(globalThis.noted.list?.at), undefined, LONG);
  const list = await page.evaluate(() => globalThis.noted.list!);
  if (list.boards !== boards) throw new Error(`${list.boards} boards are listed, not ${boards}`);
  return list.at;
}

/** In a page of its own each time, as when a person opens a tab. */
async function openings(browser: MortalChromium, url: string, boards: number): Promise<number[]> {
  const times: number[] = [];
  for (let load = -1; load < LOADS; load++) {
    const page = await browser.context.newPage();
    const time = await openLogbook(page, url, boards);
    if (load >= 0) times.push(time); // the first one is not kept by the browser yet
    await page.close();
  }
  return times;
}

async function boardOpenings(
  browser: MortalChromium,
  url: string,
): Promise<{ shown: number; raw: number }[]> {
  const page = await browser.context.newPage();
  await openLogbook(page, url, BOARDS);
  const times: { shown: number; raw: number }[] = [];
  for (let n = 0; n < OPENED; n++) {
    const serial = `CLUB-${String(n * 13).padStart(4, '0')}`;
    await page.evaluate(() => (globalThis.noted = {}));
    await page.locator(`.board-list a[href="#logbook/${serial}"]`).click();
    await page.waitForFunction(() => Number.isFinite(globalThis.noted.history), undefined, LONG);
    const shown = await page.evaluate(() => globalThis.noted.history! - globalThis.noted.clicked!);
    times.push({ shown, raw: await readBoard(page, serial) });
    await page.goBack();
    await page.locator('.board-list li').first().waitFor();
  }
  await page.close();
  return times;
}

/** How long the database takes for all entries of a board, milliseconds. */
function readBoard(page: Page, serial: string): Promise<number> {
  return page.evaluate(async (board) => {
    const opening = indexedDB.open('lodebench');
    await new Promise((resolve) => (opening.onsuccess = resolve));
    const begun = performance.now();
    const store = opening.result.transaction('entries').objectStore('entries');
    const reading = store.index('board').getAll(board);
    await new Promise((resolve) => (reading.onsuccess = resolve));
    const time = performance.now() - begun;
    opening.result.close();
    return time;
  }, serial);
}

async function takingOut(
  browser: MortalChromium,
  url: string,
): Promise<{ all: number; raw: number; bytes: number }> {
  const page = await browser.context.newPage();
  await openLogbook(page, url, BOARDS);
  await page.evaluate(() => (globalThis.noted = {}));
  await page.getByRole('button', { name: 'Take out everything' }).click();
  await page.waitForFunction(() => globalThis.noted.file !== undefined, undefined, LONG);
  const { clicked, file } = await page.evaluate(() => globalThis.noted);
  const raw = await page.evaluate(async () => {
    const opening = indexedDB.open('lodebench');
    await new Promise((resolve) => (opening.onsuccess = resolve));
    const begun = performance.now();
    let after = 0;
    for (;;) {
      const store = opening.result.transaction('entries').objectStore('entries');
      const range = IDBKeyRange.lowerBound(after, true);
      const keys = store.getAllKeys(range, 500);
      const values = store.getAll(range, 500);
      await new Promise((resolve) => (values.onsuccess = resolve));
      if (keys.result.length === 0) break;
      after = keys.result.at(-1) as number;
    }
    opening.result.close();
    return performance.now() - begun;
  });
  await page.close();
  return { all: file!.at - clicked!, raw, bytes: file!.bytes };
}
