import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type axe from 'axe-core';
import type { Browser, ElementHandle, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { careWalk } from './care-walk.ts';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';
import { walk } from './walk.ts';

const axeSource = readFileSync(
  createRequire(import.meta.url).resolve('axe-core/axe.min.js'),
  'utf8',
);

/** Opens every part of the page that can be opened and is not; gives those it opened. */
async function openAll(page: Page): Promise<ElementHandle<HTMLDetailsElement>[]> {
  const closed = page.locator('details:not([open])');
  const handles = (await closed.elementHandles()) as ElementHandle<HTMLDetailsElement>[];
  for (const details of handles) await details.evaluate((each) => (each.open = true));
  return handles;
}

/** Closes them again, so that the walk goes on as a person left it. */
async function close(opened: readonly ElementHandle<HTMLDetailsElement>[]): Promise<void> {
  for (const details of opened) await details.evaluate((each) => (each.open = false));
}

/** In light everything is looked at; the dark page differs from it in nothing but its colours. */
const RULES = { light: undefined, dark: ['color-contrast'] };

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

type Walk<Stop extends string> = (
  page: Page,
  url: string,
  at: (stop: Stop) => Promise<void>,
) => Promise<void>;

/** Takes a walk on the width of a phone; what axe objects to at its stops. */
async function objectionsOn<Stop extends string>(walked: Walk<Stop>): Promise<string[]> {
  const { page, complaints } = await openPage(browser, { width: 390, height: 844 });
  const objections: string[] = [];
  await walked(page, inject('appUrl'), async (stop) => {
    await page.evaluate(axeSource);
    const opened = await openAll(page); // axe sees nothing of what is closed
    for (const colorScheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme, reducedMotion: 'reduce' });
      const { violations } = await page.evaluate(
        (rules) =>
          (globalThis as unknown as { axe: typeof axe }).axe.run(document, {
            resultTypes: ['violations'],
            ...(rules && { runOnly: rules }),
          }),
        RULES[colorScheme],
      );
      for (const { id, nodes } of violations) {
        objections.push(
          `${stop}, ${colorScheme}: ${id} at ${nodes.map((node) => node.target).join('; ')}`,
        );
      }
    }
    const { width, inner } = await page.evaluate(() => ({
      width: document.documentElement.scrollWidth,
      inner: innerWidth,
    }));
    expect(width, `overflow at: ${stop}`).toBeLessThanOrEqual(inner);
    await close(opened);
  });
  expect(complaints).toEqual([]);
  return objections;
}

it('gives axe nothing to object to in any state, in light or dark, on the width of a phone', async () => {
  expect(await objectionsOn(walk)).toEqual([]);
});

it('gives axe nothing to object to while a board is cared for either', async () => {
  expect(await objectionsOn(careWalk)).toEqual([]);
});
