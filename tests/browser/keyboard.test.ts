import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

/** The whole job by the keyboard alone: no mouse, no finger, and the focus never lost or out of sight. */

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const LONG = { timeout: 90_000 };
/** A page has fewer controls than this; whoever comes no further goes in circles. */
const MOST_TABS = 250;

/** What has the focus: what it is called, whether it is marked, and how much of it can be seen. */
interface Focused {
  name: string;
  isMarked: boolean;
  /** Of five points of it, how many nothing else covers. */
  seen: number;
}

function focused(page: Page): Promise<Focused> {
  return page.evaluate(() => {
    const at = document.activeElement!;
    // the page's end, from where the browser's own controls are next, and then its top
    if (at === document.body) return { name: '', isMarked: true, seen: 1 };
    const { left, top, width, height } = at.getBoundingClientRect();
    const points = [
      [0.5, 0.5],
      [0.1, 0.2],
      [0.9, 0.2],
      [0.1, 0.8],
      [0.9, 0.8],
    ];
    const seen = points.filter(([x = 0, y = 0]) => {
      const top_ = document.elementFromPoint(left + x * width, top + y * height);
      return top_ !== null && (at.contains(top_) || top_.contains(at));
    }).length;
    // what is next is gone to by the page itself, as a place to read on from
    const isPlace = at.getAttribute('tabindex') === '-1';
    const { outlineStyle, outlineWidth } = getComputedStyle(at);
    const label = at instanceof HTMLInputElement ? at.labels?.[0]?.textContent : undefined;
    return {
      name: (at.getAttribute('aria-label') ?? label ?? at.textContent).trim().replace(/\s+/g, ' '),
      isMarked: isPlace || (outlineStyle !== 'none' && parseFloat(outlineWidth) >= 2),
      seen,
    };
  });
}

it.each([
  { on: 'a desk', width: 1280, height: 900 },
  { on: 'a phone', width: 390, height: 844 },
])('does the whole job on $on', async ({ width, height }) => {
  const { page, complaints } = await openPage(browser, { width, height });
  const lost: string[] = [];

  /** Goes on with the tab key until what is called so has the focus, and presses it; gives how often it went on. */
  const press = async (name: string) => {
    await page.getByRole('button', { name, exact: true }).first().waitFor(LONG);
    await page.locator('progress').waitFor({ state: 'detached', ...LONG });
    for (let tabs = 0; tabs < MOST_TABS; tabs++) {
      const at = await focused(page);
      if (!at.isMarked) lost.push(`${at.name}: not marked, on the way to ${name}`);
      if (at.seen === 0) lost.push(`${at.name}: covered, on the way to ${name}`);
      if (at.name === name) {
        await page.keyboard.press('Enter');
        return tabs;
      }
      await page.keyboard.press('Tab');
    }
    throw new Error(`${name} was not reached`);
  };

  await page.emulateMedia({ reducedMotion: 'reduce' }); // what is gone to is there at once
  /** Goes through the whole page once, and looks at each thing on the way; gives what they are called. */
  const round = async (where: string) => {
    let names: string[] | undefined; // from the page's top on, wherever it begins
    for (let tabs = 0; tabs < 2 * MOST_TABS; tabs++) {
      await page.keyboard.press('Tab');
      const at = await focused(page);
      if (at.name === '' && names) return names;
      if (at.name === '') names = [];
      else names?.push(at.name);
      if (!at.isMarked) lost.push(`${at.name}: not marked, ${where}`);
      if (at.seen === 0) lost.push(`${at.name}: covered, ${where}`);
    }
    throw new Error(`the page has no end, ${where}`);
  };

  await page.goto(inject('appUrl'));
  await page.getByRole('button', { name: 'Link the simulated board' }).waitFor(LONG);
  await page.keyboard.press('Tab');
  expect((await focused(page)).name).toBe('Skip to what is next');
  await page.keyboard.press('Enter');
  // from what is next to the one thing to do is not far
  expect(await press('Link the simulated board')).toBeLessThan(6);
  await page.getByRole('heading', { name: 'Look at what is on it, then begin' }).waitFor(LONG);
  await page.locator('progress').waitFor({ state: 'detached', ...LONG });
  // the button that was pressed is gone: the focus is where the next one is
  expect(await press('Begin taking readings')).toBeLessThan(6);
  await press('Take all 56');
  await page.getByText('56 of 56 attitudes covered').waitFor(LONG);
  await press('Fit');
  await press('Write to the board…');
  await page.getByRole('dialog').waitFor();
  await press('Stage, check and seal');
  await page.getByText('Read back and compared').waitFor(LONG);
  await press('Take 12 fresh readings');
  await page.getByRole('heading', { name: 'The proof passed' }).waitFor(LONG);
  const names = await round('with the proof passed');
  // in the order in which they stand, each sheet's name once
  const order = ['Close the calibration', 'The proof', 'Readings', 'The board'];
  expect(names.filter((name) => order.includes(name))).toEqual(order);
  await press('Close the calibration');
  await page.getByRole('heading', { name: 'Done: calibrated and proven' }).waitFor(LONG);
  expect(lost).toEqual([]);
  expect(complaints).toEqual([]);
});
