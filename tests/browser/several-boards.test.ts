import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

it('shows four boards at a glance, does what is next at any of them, and brings one to hand', async () => {
  const { page, complaints } = await openPage(browser, { width: 1440, height: 900 });
  const button = (name: string) => page.getByRole('button', { name, exact: true });
  const boards = page.getByRole('navigation', { name: 'Boards at the bench' });
  await page.goto(inject('appUrl'));
  await button('Link the simulated board').click();
  await button('Begin taking readings').waitFor();
  // a single board takes no room: its name and its link stand in one line
  expect(await boards.getByRole('listitem').count()).toBe(0);
  await boards.getByText('Linked', { exact: true }).waitFor();
  expect((await boards.boundingBox())!.height).toBeLessThan(60);
  for (let more = 0; more < 3; more++) {
    await button('Link another board').click();
    await button('Link another simulated board').click();
    await button('Begin taking readings').waitFor();
  }
  expect(await boards.getByRole('listitem').allInnerTexts()).toEqual(
    Array(4).fill(expect.stringMatching(/Simulated board SIM-[0-9A-F]{8}\s+Look/)),
  );

  await button('Show the boards large').click();
  const card = (n: number) => boards.getByRole('article').nth(n);
  const does = (n: number, label: string) =>
    card(n).getByRole('button', { name: label, exact: true }).click();
  await card(3).waitFor();
  for (const n of [0, 1, 2]) await does(n, 'Begin taking readings');
  await card(0).getByText('Take, 0 of 56 readings').waitFor();
  await does(0, 'Take one reading');
  await card(0).getByText('Take, 1 of 56 readings').waitFor();
  await does(0, 'Take this sighting');
  await card(0).getByText('Take, 4 of 56 readings').waitFor();
  await does(0, 'Take the other 52');
  await card(0)
    .getByText(/^Taking readings: \d+ of 52$/)
    .waitFor();
  await does(0, 'Stop');
  await card(0)
    .getByText(/^Next: Aim /)
    .waitFor();
  expect(await card(3).innerText()).toContain('Next: Look at what is on it, then begin');

  // what went wrong is said in words, at a board that is not at hand too
  const wrong = await card(1).getAttribute('aria-label');
  await card(1)
    .getByRole('button', { name: /^Bring to hand/ })
    .click();
  await page.locator('summary', { hasText: 'How the simulated board is set' }).click();
  await page.getByLabel('Bytes lost, chance of each').fill('1');
  await page.getByText('What you typed is not set yet.').waitFor();
  await button('Set the simulated board').click();
  await page.getByText('The simulated board is set.').waitFor();
  await boards.getByRole('button', { name: /SIM-/ }).first().click();
  await button('Show the boards large').click();
  await does(1, 'Take one reading');
  await card(1).getByText('The board does not answer').waitFor({ timeout: 60_000 });
  expect(await boards.getByRole('status').innerText()).toBe(`${wrong}: The board does not answer.`);

  await page.setViewportSize({ width: 320, height: 640 });
  const width = () => page.evaluate(() => document.documentElement.scrollWidth);
  expect(await width()).toBeLessThanOrEqual(320);
  await card(3)
    .getByRole('button', { name: /^Bring to hand/ })
    .click();
  expect(await width()).toBeLessThanOrEqual(320);
  await page.getByRole('heading', { name: 'Look at what is on it, then begin' }).waitFor();
  expect(complaints).toEqual([]);
});
