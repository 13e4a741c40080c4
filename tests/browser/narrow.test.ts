import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

it('needs no sideways scrolling on a phone of 390 pixels with everything twice as large', async () => {
  const { page, complaints } = await openPage(browser, { width: 195, height: 422 });
  const button = (name: string) => page.getByRole('button', { name, exact: true });
  const fits = async (where: string) => {
    const [width, inner] = await page.evaluate(() => [
      document.documentElement.scrollWidth,
      innerWidth,
    ]);
    expect(width, where).toBeLessThanOrEqual(inner);
  };
  await page.goto(inject('appUrl'));
  await button('Link the simulated board').waitFor();
  await page.locator('details').evaluateAll((all) => {
    for (const details of all) (details as HTMLDetailsElement).open = true;
  });
  await fits('choosing what to link');
  await button('Link the simulated board').click();
  await button('Begin taking readings').click();
  await fits('the board');
  await button('Take all 56').click();
  await button('Stop').waitFor();
  await fits('readings being taken');
  await button('Link another board').click(); // while the first one is at work
  await button('Link another simulated board').click();
  await button('Begin taking readings').waitFor();
  await fits('two boards');
  const boards = page.getByRole('navigation', { name: 'Boards at the bench' });
  await boards.getByRole('button').first().click();
  await button('Fit').click({ timeout: 90_000 });
  await button('Write to the board…').waitFor({ timeout: 90_000 });
  await fits('a judgement');
  await button('Write to the board…').click();
  await fits('asked before writing');
  await button('Not now').click();
  await page.getByRole('link', { name: 'Logbook', exact: true }).click();
  await page
    .getByRole('link', { name: /^Simulated board, / })
    .first()
    .click();
  await page.getByLabel('On which day, if not today').waitFor();
  await fits('a board in the logbook');
  expect(complaints).toEqual([]);
});
