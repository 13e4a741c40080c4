import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import type axe from 'axe-core';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';
import { walk } from './walk.ts';

const axeSource = readFileSync(
  createRequire(import.meta.url).resolve('axe-core/axe.min.js'),
  'utf8',
);

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

it('gives axe nothing to object to in any state, in light or dark, on the width of a phone', async () => {
  const { page, complaints } = await openPage(browser, { width: 390, height: 844 });
  const objections: string[] = [];
  await walk(page, inject('appUrl'), async (stop) => {
    await page.evaluate(axeSource);
    for (const colorScheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme, reducedMotion: 'reduce' });
      const { violations } = await page.evaluate(() =>
        (globalThis as unknown as { axe: typeof axe }).axe.run(document, {
          resultTypes: ['violations'],
        }),
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
  });
  expect(objections).toEqual([]);
  expect(complaints).toEqual([]);
});
