import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { WMM_2025 } from '../../src/steps/site/earth-field.ts';
import { textOf } from '../steps/site/published-coefficients.ts';
import { launch } from './chromium.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const LONG = { timeout: 60_000 };
/** A made-up place where the dip of the earth is near that of the simulated world, 65°. */
const THERE = { latitude: 49.3214, longitude: 10.0006, accuracy: 12 };

const sheetOf = (page: Page) =>
  page.locator('details.sheet', {
    has: page.getByRole('heading', { name: 'Is this place clean?', exact: true }),
  });
const wordsOf = async (page: Page) => (await sheetOf(page).innerText()).replace(/\s+/g, ' ');
const openSheet = (page: Page) => sheetOf(page).locator('summary').first().click();
const press = (page: Page, name: string) =>
  page.getByRole('button', { name, exact: true }).click(LONG);

it('finds nothing at a clean site and steel at a disturbed one, and keeps the place that the browser told', async () => {
  const context = await browser.newContext({ geolocation: THERE, permissions: ['geolocation'] });
  const { page, complaints } = await openPage(context, { width: 390, height: 844 });
  await page.goto(inject('appUrl'));
  await openSheet(page);
  await press(page, 'Ask the browser where this is');
  await page.getByText('The place is kept. The browser knows this to 12 m').waitFor(LONG);
  expect(await page.getByLabel('Latitude').inputValue()).toBe('49.321');
  expect(await wordsOf(page)).toContain('What WMM-2025 expects there today');
  expect(await wordsOf(page)).toContain('Once a board is linked it can be asked here');

  // the steel of this board's world stands to the north, where its hand aims at first
  await page.getByText('How the simulated board is set').click();
  await page.getByLabel('Seed: the same number gives the same board').fill('3');
  await press(page, 'Set the simulated board');
  await page.getByText('The simulated board is set.').first().waitFor(LONG);
  await press(page, 'Link the simulated board');
  await press(page, 'Read the field here');
  await page.getByText('Steady here; now a metre on').first().waitFor(LONG);
  await press(page, 'Read it a metre on');
  await page.getByText('Nothing found, which does not say much').first().waitFor(LONG);
  expect(await wordsOf(page)).toContain('neither dip nor strength can be told');

  await page.getByLabel('Steel near by, % of the field').fill('40');
  await press(page, 'Set the simulated board');
  await page.getByText('The simulated board is set.').first().waitFor(LONG);
  await press(page, 'Begin again at this spot');
  await page.getByText('Steady here; now a metre on').first().waitFor(LONG);
  await press(page, 'Read it a metre on');
  await page.getByText('The field in the board changes over a metre').waitFor(LONG);
  expect(await new Inspection(page).objections()).toEqual([]);

  await page.reload();
  await openSheet(page);
  await page.getByText('Something is there').first().waitFor(LONG);
  expect(await page.getByLabel('Latitude').inputValue()).toBe('49.321');
  expect(complaints).toEqual([]);
  await context.close();
});

it('takes a typed place where the browser may not tell, and coefficients from a file, a bad one named by line', async () => {
  const { page, complaints } = await openPage(browser);
  await page.goto(inject('appUrl'));
  await openSheet(page);
  await press(page, 'Ask the browser where this is');
  await page.getByText('The browser has no leave to tell where this is').waitFor(LONG);
  await page.getByLabel('Latitude').fill('-33.5');
  await page.getByLabel('Longitude').fill('18.5');
  await page.getByLabel('Height').fill('120');
  await press(page, 'Keep this place');
  await page.getByText('The place is kept.').waitFor(LONG);
  expect(await wordsOf(page)).toMatch(/Dip 6\d\.\d° up/);

  const file = (text: string) => ({
    name: 'WMM.COF',
    mimeType: 'text/plain',
    buffer: Buffer.from(text),
  });
  const later = textOf({ ...WMM_2025, name: 'WMM-2024X', epoch: 2024 });
  const input = page.getByLabel('File of coefficients (WMM.COF)');
  await page.getByText('Coefficients of the earth’s field').click();
  await input.setInputFiles(file(later.replace('  -1410.8', '  -14I0.8')));
  await page.getByText(/WMM\.COF: Line 3: “-14I0\.8” is no number/).waitFor(LONG);
  expect(await wordsOf(page)).toContain('What WMM-2025 expects there today');
  await input.setInputFiles(file(later));
  await page.getByText('What WMM-2024X expects there today').waitFor(LONG);
  await press(page, 'Go back to those that came with this program');
  await page.getByText('What WMM-2025 expects there today').waitFor(LONG);
  expect(complaints).toEqual([]);
});
