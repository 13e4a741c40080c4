import { readFile } from 'node:fs/promises';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { readLogbook } from './logbook-by-hand.ts';
import { openPage } from './page.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const LONG = { timeout: 60_000 };

const press = (page: Page, name: string) =>
  page.getByRole('button', { name, exact: true }).first().click(LONG);

/** What lies on disk, by kind. */
async function onDisk(page: Page, kind: string): Promise<number> {
  const { entries } = await readLogbook(page);
  return entries.filter((entry) => entry.kind === kind).length;
}

/**
 * A page whose origin has little room, which its own logbook fills up in the midst of collecting. (The browser asks how
 * much room is left only now and then: a disk that is full at once would be noticed late.)
 */
async function pageWithLittleRoom() {
  const context = await browser.newContext({ serviceWorkers: 'block' }); // its files would take the room
  const opened = await openPage(context);
  const session = await context.newCDPSession(opened.page);
  const { origin } = new URL(inject('appUrl'));
  const method = 'Storage.overrideQuotaForOrigin';
  await session.send(method, { origin, quotaSize: LITTLE_ROOM });
  await opened.page.goto(inject('appUrl'));
  return {
    ...opened,
    makeRoom: () => session.send(method, { origin }),
    close: () => context.close(),
  };
}

/** Bytes: enough to begin, not enough for a whole calibration with what the simulated board remembers. */
const LITTLE_ROOM = 130_000;

it('takes and judges readings on a full disk, writes nothing to the board, and catches up when there is room', async () => {
  const { page, complaints, makeRoom, close } = await pageWithLittleRoom();
  await press(page, 'Link the simulated board');
  await press(page, 'Begin taking readings');
  await press(page, 'Take this sighting');
  await page.getByText('4 of 56 attitudes covered').waitFor(LONG);
  const warning = page.locator('keeping-notice').getByRole('alert');
  expect(await warning.count()).toBe(0);
  expect(await onDisk(page, 'reading')).toBe(4);

  await press(page, 'Take the other 52');
  await page.getByText('56 of 56 attitudes covered').waitFor(LONG);
  await warning.getByText(/entries only in the memory of this page/).waitFor();
  const before = await onDisk(page, 'reading');
  expect(before).toBeLessThan(56);
  await press(page, 'Fit');
  await press(page, 'Write to the board…');
  await press(page, 'Stage, check and seal');
  await page.getByText(/Nothing was changed.*entries are only in the memory/).waitFor(LONG);
  expect(await onDisk(page, 'seal begun')).toBe(0);
  expect(await onDisk(page, 'reading')).toBe(before);

  const download = page.waitForEvent('download');
  await press(page, 'Download what is not on disk');
  const file = await readFile(await (await download).path(), 'utf8');
  const { type, entries } = JSON.parse(file) as {
    type: string;
    entries: { number: number; entry: { kind: string } }[];
  };
  expect(type).toBe('lodebench.logbook');
  expect(entries.filter(({ entry }) => entry.kind === 'reading')).toHaveLength(56 - before);
  expect(entries.filter(({ entry }) => entry.kind === 'fit')).toHaveLength(1);

  await makeRoom();
  await press(page, 'Write to the board…');
  await press(page, 'Stage, check and seal');
  await page.getByText('Read back and compared').waitFor(LONG);
  await warning.waitFor({ state: 'detached' });
  const { entries: stored } = await readLogbook(page);
  expect(stored.filter(({ kind }) => kind === 'reading')).toHaveLength(56);
  expect(stored.filter(({ kind }) => kind === 'sealed')).toHaveLength(1);
  // under the numbers that the file gave them
  for (const { number, entry } of entries) {
    expect(stored.find((each) => each.number === number)).toEqual({ ...entry, number });
  }
  // a page that may have no service worker is given an empty registration by the tool that drives the browser
  expect(complaints.filter((each) => !each.includes("reading 'waiting'"))).toEqual([]);

  await page.reload();
  await page.getByText('Read back and compared').waitFor(LONG);
  await close();
});

it('asks before it closes a page with entries that are only in its memory, and not otherwise', async () => {
  const { page, close } = await pageWithLittleRoom();
  const asked: string[] = [];
  page.on('dialog', async (dialog) => {
    asked.push(dialog.type());
    await dialog.accept();
  });
  await press(page, 'Link the simulated board');
  await press(page, 'Begin taking readings');
  await page.getByText('0 of 56 attitudes covered').waitFor(LONG);
  await page.reload();
  expect(asked).toEqual([]);
  await press(page, 'Take all 56');
  await page.getByText('56 of 56 attitudes covered').waitFor(LONG);
  await page.reload();
  expect(asked).toEqual(['beforeunload']);
  await close();
});

it('tells in the logbook how long the browser keeps it, and how much room there is', async () => {
  const { page } = await openPage(browser);
  await page.goto(inject('appUrl'));
  await press(page, 'Link the simulated board');
  await press(page, 'Begin taking readings');
  await page.getByRole('link', { name: 'Logbook', exact: true }).click();
  const view = page.locator('keeping-view');
  await view.getByText(/Kept for good|may clear it.*did not agree/).waitFor();
  await view.getByText(/It takes .* more may be used/).waitFor();
  const persisted = await page.evaluate(() => navigator.storage.persisted());
  expect(await view.getByText('Kept for good').count()).toBe(persisted ? 1 : 0);
  await page.context().close();
});
