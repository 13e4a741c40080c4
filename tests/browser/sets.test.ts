import { readFileSync } from 'node:fs';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { calibrate } from './calibrate.ts';
import { launch } from './chromium.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';

/** Sets of coefficients in the logbook: taken out, entered again, put on the board, and an earlier one put back. */

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const LONG = { timeout: 60_000 };
async function openLogbook(page: Page): Promise<void> {
  await page.goto(new URL('#logbook', page.url()).href);
  await page.locator('logbook-boards a').first().click(LONG);
  await page.getByRole('heading', { name: 'Coefficients', exact: true }).waitFor(LONG);
  await openAll(page);
  await page.locator('sets-view').waitFor(LONG); // it is drawn as it is opened, and has more to open
  await openAll(page);
}

function openAll(page: Page): Promise<void> {
  return page.evaluate(() => {
    for (const each of document.querySelectorAll<HTMLDetailsElement>('logbook-board details')) {
      each.open = true;
    }
  });
}

async function takenOut(page: Page, name: RegExp): Promise<string> {
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.getByRole('button', { name }).first().click(LONG),
  ]);
  return readFileSync(await download.path(), 'utf8');
}

/** What is shown, at the width of a small phone. */
async function objections(page: Page): Promise<string[]> {
  await page.setViewportSize({ width: 320, height: 700 });
  const found = await new Inspection(page, 'logbook-board').objections();
  await page.setViewportSize({ width: 1280, height: 900 });
  return found;
}

it('goes out, comes in, goes onto the board, and the earlier one comes back, over a reload', async () => {
  const { page, complaints } = await openPage(browser);
  await page.goto(inject('appUrl'));
  await calibrate(page);
  await page.getByRole('button', { name: 'Close the calibration' }).click(LONG);

  await openLogbook(page);
  const file = await takenOut(page, /^Take out as file/);
  expect(await takenOut(page, /^As a C header/)).toContain('static const float lodebench_A[3][3]');
  expect(await takenOut(page, /^As plain matrices/)).toContain('acc_scale');
  const csv = await takenOut(page, /^Take them out as CSV/);
  expect(csv.split('\n')[1]).toMatch(/^id,azimuth,inclination,roll,gravity,field,dip,reading,/);

  const json = JSON.parse(file) as { p: number[]; calibration?: unknown };
  json.p[0]! += 0.001;
  await page.locator('entering-view input[type=file]').setInputFiles({
    name: '<img src=x onerror=alert(1)>.json',
    mimeType: 'application/json',
    buffer: Buffer.from(JSON.stringify(json)),
  });
  await page.getByRole('heading', { name: 'Length of gravity', exact: true }).waitFor(LONG);
  expect(await objections(page)).toEqual([]);
  await page.getByRole('button', { name: 'Keep them in the logbook' }).click();
  const putOn = (name: RegExp) => page.getByRole('button', { name }).click(LONG);
  await putOn(/^Put it on the board… “<img/);
  await page.getByText(/^Against generation 1, which the board runs/).waitFor(LONG);
  await page.getByRole('button', { name: 'Stage, check and seal' }).click();
  await page.getByRole('heading', { name: 'Prove it with fresh readings' }).waitFor(LONG);
  expect(page.url()).toMatch(/#bench$/);

  await openLogbook(page);
  await putOn(/^Put it on the board… Generation 1/);
  await page.getByRole('button', { name: 'Stage, check and seal' }).click();
  await page.getByText(/^Generation 3 in place of generation 2/).waitFor(LONG);
  await page.reload();
  await page.getByRole('button', { name: 'Take 12 fresh readings' }).click(LONG);
  await page.getByRole('heading', { name: 'The proof passed' }).waitFor(LONG);
  await openLogbook(page);
  await page.getByRole('heading', { name: 'Generations 1 and 3' }).waitFor(LONG);
  await page.getByText('Computed again with that generation').first().waitFor(LONG);
  expect(complaints).toEqual([]);
}, 180_000);

it('is typed in cell by cell, a matrix at a stroke, and what is wrong is named', async () => {
  const { page, complaints } = await openPage(browser);
  await page.goto(inject('appUrl'));
  await page.getByRole('button', { name: 'Link the simulated board' }).click(LONG);
  await page.getByRole('button', { name: 'Begin taking readings' }).waitFor(LONG);
  await openLogbook(page);
  const cell = (name: string) => page.getByRole('textbox', { name, exact: true });
  const paste = (name: string, text: string) =>
    cell(name).evaluate((input, given) => {
      const clipboardData = new DataTransfer();
      clipboardData.setData('text/plain', given);
      input.dispatchEvent(
        new ClipboardEvent('paste', { clipboardData, bubbles: true, cancelable: true }),
      );
    }, text);
  await cell('What to call them').fill('By hand');
  await cell('acc_scale').fill('16384');
  await cell('mag_scale').fill('3400');
  await paste('o x', '0.01, -0.02, 0.03');
  await paste('p x', '0 0 0');
  await paste('A row 1 column 1', '{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}');
  await paste('B row 1 column 1', '1 0 0\n0 1 0\n0 0 0,5');
  await page.getByRole('button', { name: 'Check them' }).click();
  await page.getByText('B33: Write it with a decimal point.').waitFor(LONG);
  await cell('B row 3 column 3').fill('0.5');
  await page.getByRole('button', { name: 'Check them' }).click();
  await page.getByRole('button', { name: 'Keep them in the logbook' }).click(LONG);
  await page.getByRole('heading', { name: '“By hand”, made elsewhere' }).waitFor(LONG);
  expect(complaints).toEqual([]);
}, 90_000);
