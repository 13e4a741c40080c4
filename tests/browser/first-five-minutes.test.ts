import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

/**
 * Link, begin, one reading, its sighting, the others, fit, write, seal, prove, close: one press each. With thirty seconds
 * for each, to read what the screen says and to wait for what it does, that is five minutes.
 */
const MOST_ACTIONS = 10;

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const PHONE = { width: 390, height: 844 };
const DESK = { width: 1440, height: 900 };

/** What the screen shows as next, and the one button that is larger than the others; a dialog comes before all else. */
async function shownNext(page: Page): Promise<{ heading: string; label: string }> {
  const dialog = page.getByRole('dialog');
  const here = (await dialog.count()) > 0 ? dialog : page.locator('#next');
  const main = here.locator('button.main').filter({ visible: true });
  const heading = await here.getByRole('heading').first().innerText();
  expect(await main.count(), `main buttons in sight at: ${heading}`).toBe(1);
  for (const size of [DESK, PHONE]) {
    await page.setViewportSize(size);
    const isSeen = () =>
      main.evaluate((button) => {
        const { top, bottom } = button.getBoundingClientRect();
        return top >= 0 && bottom <= innerHeight;
      });
    await expect
      .poll(isSeen, { message: `in the window, ${size.width} wide: ${heading}` })
      .toBe(true);
  }
  return { heading, label: (await main.innerText()).trim() };
}

it('leads whoever never calibrated anything from the first screen to the end by its main button alone', async () => {
  const { page, complaints } = await openPage(browser, PHONE);
  await page.goto(inject('appUrl'));
  await page.getByRole('heading', { name: 'What to prepare' }).waitFor();
  await page.getByText('A mark missed by 1 mm is 0.02° off from 3 m away').waitFor();

  const pressed: string[] = [];
  for (;;) {
    await page.locator('progress').waitFor({ state: 'detached', timeout: 60_000 });
    const { heading, label } = await shownNext(page);
    if (heading.startsWith('Done')) break;
    expect(pressed.length, `${heading}, after ${pressed.join(', ')}`).toBeLessThan(MOST_ACTIONS);
    await page.getByRole('button', { name: label, exact: true }).first().click();
    pressed.push(label);
    // it is under way, or what is next is another thing
    await page.waitForFunction(
      ({ heading, label }) => {
        const here = document.querySelector('dialog[open]') ?? document.querySelector('#next')!;
        const text = (what: string) => here.querySelector<HTMLElement>(what)?.innerText.trim();
        return text('h2') !== heading || text('button.main') !== label;
      },
      { heading, label },
      { timeout: 60_000 },
    );
  }
  expect(pressed[0]).toBe('Link the simulated board');
  expect(await page.locator('body').innerText()).toContain('Passed, over 12 fresh readings');
  expect(complaints).toEqual([]);
});

it('has help at every step, one tap away, with the reason of each point', async () => {
  const { page } = await openPage(browser, PHONE);
  await page.goto(inject('appUrl'));
  const help = page.locator('step-help');
  const titles: string[] = [];
  const look = async () => {
    await page.locator('progress').waitFor({ state: 'detached', timeout: 60_000 });
    titles.push(await help.locator('summary').innerText());
    await help.locator('summary').click();
    const points = await help.getByRole('listitem').allInnerTexts();
    expect(points.length).toBeGreaterThanOrEqual(3);
    for (const point of points) expect(point, 'what to do, and why').toMatch(/\S[.!?]\n.*\S/s);
  };
  await look();
  for (const label of ['Link the simulated board', 'Begin taking readings']) {
    await page.getByRole('button', { name: label, exact: true }).click();
    await page.getByRole('button', { name: label, exact: true }).waitFor({ state: 'detached' });
    await look();
  }
  expect(new Set(titles).size).toBe(3);
});
