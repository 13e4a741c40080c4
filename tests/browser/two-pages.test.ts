import type { Browser, BrowserContext, Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { readLogbook } from './logbook-by-hand.ts';

let browser: Browser;
let context: BrowserContext;
let first: Page;
let second: Page;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

/** One page has the bench, with a board linked; another is opened beside it. */
beforeEach(async () => {
  context = await browser.newContext();
  first = await context.newPage();
  await first.goto(inject('appUrl'));
  await first.getByRole('button', { name: 'Link the simulated board' }).click();
  await first.getByRole('button', { name: 'Begin taking readings' }).waitFor();
  second = await context.newPage();
  await second.goto(inject('appUrl'));
  await second.getByRole('heading', { name: 'Another page has the bench' }).waitFor();
});
afterEach(() => context.close());

/** Whether a page asks to be told once nobody has the bench. */
const waits = (page: Page) =>
  page.evaluate(async () => {
    const { pending = [] } = await navigator.locks.query();
    return pending.some(({ mode }) => mode === 'shared');
  });

const take = (page: Page) => page.getByRole('button', { name: 'Take the bench over' });

it('leaves the bench to the page that has it, and gives it by one tap to another once that one is closed', async () => {
  await first.reload(); // a reload must not lose the bench to the one that waits for it
  await first.getByRole('button', { name: 'Begin taking readings' }).click();
  await first.getByRole('button', { name: 'Take one reading' }).click();
  await first.getByText('1 of 56 attitudes covered').waitFor();
  // it has looked once more since the reload let go of the bench, and waits again
  await expect.poll(() => waits(second)).toBe(true);
  expect(await take(second).count()).toBe(0);

  await first.close();
  await take(second).click(); // it has noticed by itself
  await second.getByText('1 of 56 attitudes covered').waitFor();
  await second.getByRole('button', { name: 'Take one reading' }).click();
  await second.getByText('2 of 56 attitudes covered').waitFor();
  expect((await second.getByRole('alert').allInnerTexts()).join('')).toBe('');
});

it('lets the other page look at the logbook, and see at once what is written, and write nothing', async () => {
  await second.getByRole('link', { name: 'Look at the logbook' }).click();
  await second.getByRole('heading', { name: 'Take out' }).waitFor();
  expect(await second.locator('bring-in-view').count()).toBe(0);
  await second.locator('logbook-boards a').first().click();
  const course = second.locator('logbook-board .course');
  await course.locator('li').first().waitFor();
  const before = (await readLogbook(second)).entries.length;
  const told = course.getByText('One reading for the 56 attitudes');
  expect(await told.count()).toBe(0);
  await first.getByRole('button', { name: 'Begin taking readings' }).click();
  await first.getByRole('button', { name: 'Take one reading' }).click();
  await first.getByText('1 of 56 attitudes covered').waitFor();
  await told.waitFor(); // by itself
  const { entries } = await readLogbook(second);
  expect(entries.slice(before).map(({ kind }) => kind)).toEqual([
    'calibration started',
    'capture begun',
    'reading',
  ]);
});
