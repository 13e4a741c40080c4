import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { buildApp } from './build-app.ts';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';
import { StaticSite } from './static-site.ts';

const NEWER = '99.0.0';

let browser: Browser;
let site: StaticSite;
let newerFolder: string;
beforeAll(async () => {
  newerFolder = await mkdtemp(join(tmpdir(), 'lodebench-newer-'));
  [browser, site] = await Promise.all([
    launch(),
    StaticSite.of(inject('appFolder')),
    buildApp(newerFolder, NEWER),
  ]);
});
afterAll(async () => {
  await browser?.close();
  await site?.stop();
  await rm(newerFolder, { recursive: true, force: true });
});

const button = (page: Page, name: string) => page.getByRole('button', { name, exact: true });
const versionOf = async (page: Page) =>
  (await page.locator('footer').innerText()).match(/Lodebench (\S+)\+[0-9a-f]{8}/)?.[1];

it('changes to a newer version when a person says so, in every tab, and not in the midst of work', async () => {
  const context = await browser.newContext();
  const { page, complaints } = await openPage(context);
  await page.goto(site.url);
  await page.waitForFunction(() => navigator.serviceWorker.controller !== null);
  const old = await versionOf(page);
  expect(old).toMatch(/^\d+\.\d+\.\d+$/);
  await button(page, 'Link the simulated board').click();
  await button(page, 'Begin taking readings').click();
  await button(page, 'Take one reading').click();
  await page.getByText('1 of 56 attitudes covered').waitFor();
  expect(await page.getByText('newer version').count()).toBe(0);

  site.folder = newerFolder;
  const other = await openPage(context); // a page that is opened asks for what is new
  await other.page.goto(site.url);
  for (const each of [page, other.page]) {
    await each.getByText('A newer version is here').waitFor();
    await button(each, 'Use it now').waitFor();
    await each.getByText('So is the other tab').waitFor();
  }

  await button(page, 'Take all 55').or(button(page, 'Take the other 55')).click();
  await page.getByText('It waits until what is being done here is done').waitFor();
  await other.page.getByText('It waits until what is being done in another tab is done').waitFor();
  for (const each of [page, other.page]) {
    expect(await button(each, 'Use it now').count()).toBe(0);
  }
  await button(page, 'Stop').click();
  await button(page, 'Use it now').waitFor();
  await button(other.page, 'Use it now').waitFor();

  await page.reload(); // and that is no tap
  await button(page, 'Use it now').waitFor();
  expect(await versionOf(page)).toBe(old);
  expect(await versionOf(other.page)).toBe(old);
  const covered = () => page.getByText(/^\d+ of 56 attitudes covered/).innerText();
  const before = await covered();

  await button(other.page, 'Use it now').click();
  for (const each of [page, other.page]) {
    await each.locator('footer', { hasText: `Lodebench ${NEWER}` }).waitFor();
    expect(await each.getByText('newer version').count()).toBe(0);
  }
  expect(await covered()).toBe(before);
  expect([...complaints, ...other.complaints]).toEqual([]);
  await context.close();
});
