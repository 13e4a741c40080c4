import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { calibrate } from './calibrate.ts';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

it('finds a calibration again in the logbook, and says to calibrate again once a knock is written down', async () => {
  const { page, complaints } = await openPage(browser);
  const shown = (words: string | RegExp) => page.getByText(words).filter({ visible: true });
  await page.goto(inject('appUrl'));
  await calibrate(page);

  await page.getByRole('link', { name: 'Logbook', exact: true }).click();
  const board = page.getByRole('link', { name: /^Simulated board, / });
  await board.waitFor();
  await shown(/^No need yet: calibrate again by /).waitFor();
  expect(await page.title()).toContain('Logbook');
  // the sign stands beside its words, not over them
  const [sign, words] = await page
    .locator('.due > *')
    .evaluateAll((all) => all.map((each) => each.getBoundingClientRect().toJSON() as DOMRect));
  expect(words!.left).toBeGreaterThan(sign!.right);
  await board.click();
  const heading = page.getByRole('heading', { name: /^Simulated board, /, level: 2 });
  await heading.waitFor();
  // whoever hears the page is told where it went
  await expect.poll(() => heading.evaluate((each) => each === document.activeElement)).toBe(true);

  const course = page.locator('.course');
  await course.getByText('56 readings for the 56 attitudes of the cube plan').waitFor();
  await course.getByText('Sealed as generation 1').waitFor();
  await course.getByText('Proof passed').waitFor();
  await course.getByText('Its judgement and its readings').click();
  await course.getByRole('heading', { name: 'Its readings' }).waitFor();
  expect(await course.getByRole('button', { name: /^Set aside reading/ }).count()).toBe(0);
  await course.getByRole('button', { name: 'Reading 50, mark it in the nets' }).click();
  await course
    .getByRole('listbox', { name: /^Where the field has been/ })
    .getByRole('option', { name: /^Reading 50:/, selected: true })
    .waitFor();
  await course.getByText('The fit in figures').click();
  await course.getByText('Straight and bowed, side by side').click();
  expect(await course.getByRole('row', { name: /^Mean spread/ }).innerText()).toMatch(/°.*°/);

  const write = async (what: string, words: string) => {
    await page.getByLabel(what).check();
    await page.getByRole('textbox', { name: 'In your words' }).fill(words);
    await page.getByRole('button', { name: 'Write it down' }).click();
    await course.getByText(words).waitFor();
  };
  await write('A note', 'borrowed <b>until</b> May');
  // what was open stays open, though something newer stands above it
  expect(await course.getByRole('heading', { name: 'Its readings' }).isVisible()).toBe(true);
  await shown(/^No need yet: calibrate again by /).waitFor();
  await write('It was knocked or dropped', 'fell off the bench');
  await shown('Calibrate again, because it was knocked or dropped.').waitFor();
  await page.reload();
  await shown('Calibrate again, because it was knocked or dropped.').waitFor();

  await course.getByRole('button', { name: /^That was wrong: Knocked or dropped/ }).click();
  await course.getByText('Knocked or dropped (taken back: it was wrong)').waitFor();
  await shown(/^No need yet: calibrate again by /).waitFor();

  await page.getByRole('link', { name: 'At the bench' }).click();
  await page.getByRole('heading', { name: 'The proof passed' }).waitFor();
  expect(complaints).toEqual([]);
});
