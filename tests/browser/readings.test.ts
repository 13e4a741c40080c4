import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const LONG = { timeout: 60_000 };

it('ties each point of the nets to its row by keyboard alone; moves a reading, undoes it and does it again, after a reload too', async () => {
  const { page, complaints } = await openPage(browser);
  const button = (name: string | RegExp) => page.getByRole('button', { name, exact: true });
  const covered = (n: number) => page.getByText(`${n} of 56 attitudes covered`).waitFor(LONG);
  /** What has the focus, as a screen reader would call it. */
  const focused = () =>
    page.evaluate(() => document.activeElement?.getAttribute('aria-label') ?? '');
  const row = (id: string) => page.locator('table.readings tbody tr', { hasText: `${id}` });

  await page.goto(inject('appUrl'));
  await button('Link the simulated board').click();
  await button('Begin taking readings').click();
  for (const n of [4, 8, 12, 16]) {
    await button('Take this sighting').click();
    await covered(n);
    await page.locator('progress').waitFor({ state: 'detached', ...LONG });
  }

  // the provisional fit places the field too, and shades
  const net = (which: string) =>
    page.getByRole('listbox', { name: new RegExp(`^Where ${which} has been`) });
  await net('the field')
    .getByRole('option')
    .nth(15)
    .waitFor({ state: 'attached', ...LONG });
  await page.getByText(/^Expected azimuth error \(95 %\): from/).waitFor(LONG);
  expect(await page.locator('.body-nets path.shade').count()).toBeGreaterThan(0);
  await page.locator('summary', { hasText: 'Parts without a reading within 50°' }).click();
  await page
    .getByText(/No reading had .*\. Take: .*, which the plan asks for/)
    .first()
    .waitFor();

  // into the first net by Tab, which stops there once; on by arrows
  for (let i = 0; i < 3 && !/^Reading 1: down/.test(await focused()); i++) {
    await page.keyboard.press('Shift+Tab');
  }
  while (!(await focused()).startsWith('Reading')) await page.keyboard.press('Shift+Tab');
  await page.keyboard.press('Home');
  expect(await focused()).toMatch(/^Reading 1: down near the bottom, the field .*, misfit \d/);
  await page.keyboard.press('ArrowRight');
  expect(await focused()).toMatch(/^Reading 2: down near the right side/);
  expect(await page.locator('tr.chosen').getByRole('rowheader').innerText()).toBe('2');
  for (const which of ['down', 'the field']) {
    const marked = net(which).getByRole('option', { selected: true });
    expect(await marked.getAttribute('aria-label'), which).toMatch(/^Reading 2:/);
  }
  await page.keyboard.press('End');
  expect(await focused()).toMatch(/^Reading 16:/);
  await button('Go to its row').click();
  expect(await focused()).toBe('Reading 16, mark it in the nets');

  // from the table to the nets
  await button('Reading 3, mark it in the nets').click();
  await net('down')
    .getByRole('option', { name: /^Reading 3:/, selected: true })
    .waitFor();

  // the last one belongs to the first sighting now
  await button('Move… reading 16').click();
  await page
    .getByLabel('It belongs to')
    .selectOption({ label: 'Sighting 1: north, level, 4 readings' });
  await button('Move it').click();
  const moved = row('16').getByText('Moved from sighting 4');
  await moved.waitFor(LONG);
  await covered(15);
  await button('Undo: move reading 16 to sighting 1').click();
  await covered(16);
  expect(await moved.count()).toBe(0);
  await page.reload();
  await button('Redo: move reading 16 to sighting 1').click(LONG);
  await covered(15);
  await button('Undo: move reading 16 to sighting 1').waitFor();

  await page.getByRole('combobox', { name: 'Order' }).selectOption('sighting by sighting');
  const ids = await page.locator('table.readings tbody th').allInnerTexts();
  expect(ids.slice(0, 5)).toEqual(['1', '2', '3', '4', '16']);

  for (const width of [390, 320]) {
    await page.setViewportSize({ width, height: 800 });
    const wide = await page.evaluate(() => [
      document.documentElement.scrollWidth,
      ...[...document.querySelectorAll('.readings-sheet, .readings tbody tr')].map(
        (each) => each.scrollWidth - each.clientWidth,
      ),
    ]);
    expect(wide[0], `${width}`).toBeLessThanOrEqual(width);
    expect(Math.max(...wide.slice(1)), `${width}`).toBeLessThanOrEqual(1);
  }
  expect(complaints).toEqual([]);
});
