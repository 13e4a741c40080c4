import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, test } from 'vitest';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

/** The provisional fit in a real worker and a real page, its charts, and what becomes of a worker that dies. */

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const LONG = { timeout: 90_000 };

async function press(page: Page, name: string): Promise<void> {
  await page.getByRole('button', { name, exact: true }).first().click(LONG);
  await page.locator('progress').waitFor({ state: 'detached', ...LONG });
}

test('figures of the fit are there while readings are taken, and stay when it is asked for', async () => {
  const { page, complaints } = await openPage(browser, { width: 390, height: 850 });
  await page.goto(inject('appUrl'));
  await press(page, 'Link the simulated board');
  await press(page, 'Begin taking readings');
  await press(page, 'Take one reading');
  await page.getByText('No provisional fit yet: 1 of at least 12 readings').waitFor(LONG);
  for (let n = 0; n < 4; n++) await press(page, 'Take this sighting');
  await page.getByText('Provisional, from 16 readings').waitFor(LONG);

  const sheet = page.locator('fit-view');
  const chart = sheet.getByRole('img', { name: /^Residuals of gravity, in the order of taking/ });
  await chart.waitFor(LONG);
  await expect.poll(() => chart.evaluate(coloursOf), LONG).toBeGreaterThan(2);
  const light = await chart.evaluate(pictureOf);
  await page.emulateMedia({ colorScheme: 'dark' });
  await expect.poll(() => chart.evaluate(pictureOf), LONG).not.toBe(light);

  // the figures of each chart by the keyboard alone: Enter opens them, Tab goes in, to be scrolled by arrows
  const charts = await sheet.locator('data-chart').all();
  expect(charts).toHaveLength(3);
  for (const each of charts) {
    await each.locator('summary').focus();
    await page.keyboard.press('Enter');
    await each.locator('tbody tr').first().waitFor(LONG);
    await page.keyboard.press('Tab');
    const title = await each.locator('figcaption').innerText();
    expect(await page.evaluate(() => document.activeElement?.getAttribute('aria-label'))).toBe(title); // prettier-ignore
  }
  await expect.poll(() => sheet.locator('data-chart tbody tr').count(), LONG).toBe(16 + 16 + 4);
  await sheet.getByLabel('Show').selectOption('misfit');
  await sheet.getByRole('img', { name: /^Misfit, by inclination/ }).waitFor(LONG);

  await sheet.locator('summary', { hasText: 'How uncertain it is' }).click();
  const picked = sheet.getByRole('row', { name: /In the attitude picked/ });
  const level = await picked.innerText();
  await sheet.getByLabel('Inclination, degrees').fill('60');
  await expect.poll(() => picked.innerText()).not.toBe(level);
  expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(390);

  // the workers die without a word: what they would have said is asked of fresh ones
  await Promise.all(page.workers().map((worker) => worker.evaluate(closeFitWorker)));
  await press(page, 'Take one reading');
  await page.getByText('Provisional, from 17 readings').waitFor(LONG);
  expect(complaints).toEqual([]);
  await page.context().close();
});

/** How many colours a canvas shows: one, where nothing was drawn. */
function coloursOf(canvas: Element): number {
  const { width, height } = canvas as HTMLCanvasElement;
  const { data } = (canvas as HTMLCanvasElement)
    .getContext('2d')!
    .getImageData(0, 0, width, height);
  return new Set(new Uint32Array(data.buffer)).size;
}

function pictureOf(canvas: Element): string {
  return (canvas as HTMLCanvasElement).toDataURL();
}

/** Ends the worker it runs in, if that is one that fits; the simulated board has one too. */
function closeFitWorker(): void {
  if (location.pathname.includes('fit-worker')) close();
}
