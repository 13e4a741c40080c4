import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const LONG = { timeout: 60_000 };

const sheetOf = (page: Page) =>
  page.locator('details.sheet', {
    has: page.getByRole('heading', { name: 'Is it put together right?', exact: true }),
  });
const press = (page: Page, name: string) =>
  page.getByRole('button', { name, exact: true }).click(LONG);

it('finds what is wrong with a soldered board, goes on after a reload, and keeps what it came to', async () => {
  const context = await browser.newContext();
  const { page, complaints } = await openPage(context, { width: 390, height: 844 });
  const objections: string[] = [];
  await page.goto(inject('appUrl'));
  await page.getByText('How the simulated board is set').click();
  await page.getByLabel('What is wrong with the board').selectOption({
    label: 'Two axes of the magnetometer are exchanged',
  });
  await press(page, 'Set the simulated board');
  await page.getByText('The simulated board is set.').first().waitFor(LONG);
  await press(page, 'Link the simulated board');
  await sheetOf(page).locator('summary').first().click(LONG);
  await press(page, 'Begin the check');
  await page.getByText('Pose 1 of 6', { exact: true }).waitFor(LONG);
  await page.getByRole('status').getByText('Pose 1 of 6: Level, the nose to the north').waitFor();
  await press(page, 'Go on with the check'); // from the next card to the sheet
  expect(await page.evaluate(() => document.activeElement?.textContent?.trim())).toBe(
    'Is it put together right?',
  );
  expect(await page.getByRole('img', { name: /The board level/ }).count()).toBe(1);
  objections.push(...(await new Inspection(page).objections()));
  await press(page, 'Let the simulated hand do it');

  await page.getByText('Pose 2 of 6', { exact: true }).waitFor(LONG);
  await page.reload(); // the simulated board is linked again by itself
  await page.getByText(/^Pose [2-6] of 6$/).waitFor(LONG);
  await press(page, 'Let the simulated hand do it');
  await page.getByText('Something is wrong with it').first().waitFor(LONG);
  const words = (await sheetOf(page).innerText()).replace(/\s+/g, ' ');
  expect(words).toContain('The magnetometer has two axes exchanged (its axes y and z)');
  await page.getByRole('heading', { name: 'Mend it, then check it again' }).waitFor();
  expect(words).toContain('in the turns it was +z-x+y');
  expect(words).toContain('In the firmware: the order in which the axes are read from the chip');
  expect(words).toContain('What this cannot see');
  objections.push(...(await new Inspection(page).objections()));
  expect(objections).toEqual([]);
  expect(complaints).toEqual([]);
  await context.close();
});
