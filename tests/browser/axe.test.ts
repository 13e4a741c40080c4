import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { careWalk } from './care-walk.ts';
import { launch } from './chromium.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';
import { walk } from './walk.ts';

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

/** Takes a walk on the width of a phone; what there is to object to at its stops. */
async function objectionsOn<Stop extends string>(walked: Walk<Stop>): Promise<string[]> {
  const { page, complaints } = await openPage(browser, { width: 390, height: 844 });
  const inspection = new Inspection(page);
  const objections: string[] = [];
  await walked(page, inject('appUrl'), async (stop) => {
    objections.push(...(await inspection.objections()).map((words) => `${stop}, ${words}`));
  });
  expect(complaints).toEqual([]);
  return objections;
}

it('gives nothing to object to in any state, in light or dark, on the width of a phone', async () => {
  expect(await objectionsOn(walk)).toEqual([]);
});

it('gives nothing to object to while a board is cared for either', async () => {
  expect(await objectionsOn(careWalk)).toEqual([]);
});
