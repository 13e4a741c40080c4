import { readFile } from 'node:fs/promises';
import type { Browser, BrowserContext, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, expect, inject, it } from 'vitest';
import { goodFile, HOSTILE_FILES } from '../records/hostile-files.ts';
import { calibrate } from './calibrate.ts';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

let browser: Browser;
let context: BrowserContext;
let page: Page;
let complaints: string[];
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());
beforeEach(async () => {
  context = await browser.newContext();
  ({ page, complaints } = await openPage(context));
  await page.goto(inject('appUrl'));
});
afterEach(() => context.close());

const openLogbook = async () => {
  await page.goto(`${inject('appUrl')}#logbook`);
  await page.getByRole('heading', { name: 'Bring in' }).waitFor();
};
const outcome = () => page.locator('bring-in-view [role=status]');
const trouble = () => page.locator('bring-in-view [role=alert]');
const bringIn = (content: string | Uint8Array, name = 'logbook.json') =>
  page
    .getByLabel('Logbook file (JSON)')
    .setInputFiles({ name, mimeType: 'application/json', buffer: Buffer.from(content) });
const takeOut = async (button: string): Promise<string> => {
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.getByRole('button', { name: button }).first().click(),
  ]);
  return readFile(await download.path(), 'utf8');
};
const boards = () => page.locator('logbook-boards').innerText();

/** As the browser does when a person clears what the site has stored. */
async function clearSite(): Promise<void> {
  const session = await context.newCDPSession(page);
  await page.goto('about:blank');
  await session.send('Storage.clearDataForOrigin', {
    origin: new URL(inject('appUrl')).origin,
    storageTypes: 'all',
  });
  await session.detach();
}

it('shows the same boards and calibrations again after everything was taken out, cleared and brought in', async () => {
  await calibrate(page);
  await openLogbook();
  await page.locator('logbook-boards a').first().waitFor();
  const before = await boards();
  const file = await takeOut('Take out everything (JSON)');
  await page.getByText('The whole logbook was last taken out').waitFor();
  await page.locator('logbook-boards a').first().click();
  const csv = await takeOut('Take out the readings of');
  expect(csv).toMatch(/^# scale_acc=/);
  expect(csv.split('\n').filter((line) => /^\d/.test(line))).toHaveLength(56);

  await clearSite();
  await openLogbook();
  expect(await page.locator('logbook-boards a').count()).toBe(0);
  await bringIn(file);
  await page.getByText(/^Brought in: \d+ entries of one board\.$/).waitFor();
  await expect.poll(boards).toBe(before);
  await bringIn(file);
  await page.getByText('Everything in the file was here already').waitFor();
  await expect.poll(boards).toBe(before);
  expect(complaints).toEqual([]);
}, 120_000);

it('takes nothing of a hostile file in, says where it is wrong, and shows its words as text', async () => {
  await openLogbook();
  for (const each of HOSTILE_FILES.filter(({ content }) => content.length < 200_000)) {
    await bringIn(each.content);
    const told = trouble().getByText('Nothing was changed.');
    await told.waitFor();
    if (each.path !== undefined)
      expect(await trouble().innerText()).toContain(each.path.slice(-20));
    expect(await page.locator('bring-in-view script, bring-in-view img').count()).toBe(0);
    await bringIn(JSON.stringify({ ...goodFile(), entries: [] }));
    await outcome().getByText('There are no entries in the file').waitFor();
  }
  expect(await page.locator('logbook-boards a').count()).toBe(0);
  await bringIn(JSON.stringify(goodFile()));
  await outcome().getByText('Brought in: 3 entries of one board.').waitFor();
  expect(complaints).toEqual([]);
}, 120_000);

it('takes a file that is dropped onto it', async () => {
  await openLogbook();
  const transfer = await page.evaluateHandle((content) => {
    const data = new DataTransfer();
    data.items.add(new File([content], 'logbook.json', { type: 'application/json' }));
    return data;
  }, JSON.stringify(goodFile()));
  await page.locator('bring-in-view section').dispatchEvent('drop', { dataTransfer: transfer });
  await outcome().getByText('Brought in: 3 entries of one board.').waitFor();
  expect(complaints).toEqual([]);
});
