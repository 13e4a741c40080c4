import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { calibrate } from './calibrate.ts';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';
import { StaticSite } from './static-site.ts';

let browser: Browser;
let site: StaticSite;
beforeAll(async () => {
  browser = await launch();
  site = await StaticSite.of(inject('appFolder'));
});
afterAll(async () => {
  await browser?.close();
  await site?.stop();
});

it('once loaded starts and does the whole job with its server gone, and sends nothing anywhere else', async () => {
  const { url } = site;
  const context = await browser.newContext();
  const { page, complaints } = await openPage(context);
  await page.goto(url);
  await page.evaluate(() => navigator.serviceWorker.ready.then(() => undefined));
  await page.waitForFunction(() => navigator.serviceWorker.controller !== null);
  await site.stop();
  await expect(fetch(url)).rejects.toThrow();

  await page.reload();
  await calibrate(page);
  await page.close();
  const again = await openPage(context);
  await again.page.goto(`${url}#bench`);
  await again.page.getByText('The proof passed').first().waitFor();
  expect([...complaints, ...again.complaints]).toEqual([]);
  await context.close();
});
