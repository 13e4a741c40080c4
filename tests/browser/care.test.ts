import { readFileSync } from 'node:fs';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { parseImage } from '../../src/protocol/firmware-image.ts';
import { CARE_STOPS, careWalk, type CareStop } from './care-walk.ts';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

it('changes settings and firmware in the page, sees the firmware confirmed and the settings as they were', async () => {
  const { page, complaints } = await openPage(browser, { width: 1280, height: 900 });
  const visited: CareStop[] = [];
  const sheet = (title: string) =>
    page.locator('details.sheet', { has: page.getByRole('heading', { name: title, exact: true }) });
  const words = async (title: string) => (await sheet(title).innerText()).replace(/\s+/g, ' ');
  const checks: Partial<Record<CareStop, () => Promise<void>>> = {
    'settings changed': async () => {
      expect(await words('Its settings')).toContain('Changed, not sent: it is 10 min on the board');
    },
    'a name, a clock, a light': async () => {
      const text = await words('Its name, clock and light');
      expect(text).toContain('Never into an eye');
      expect(text).toContain('Its clock goes with this machine’s, to a second');
    },
    'firmware judged': async () => {
      const text = await words('Its firmware');
      expect(text).toContain('puts every setting back to how the maker made it');
      expect(text).toContain('stays on the board');
    },
    'firmware confirmed': async () => {
      expect(await words('Its firmware')).toMatch(
        /Runs version 1\.1 In its spare slot version 1\.0/,
      );
      expect(await page.getByLabel('Sleeps when left alone for').inputValue()).toBe('25');
      expect(await page.getByLabel('Sound at each reading').isChecked()).toBe(false);
      expect(await page.getByLabel('What it is called').inputValue()).toBe('Number 7');
    },
  };
  await careWalk(page, inject('appUrl'), async (stop) => {
    visited.push(stop);
    await checks[stop]?.();
  });
  expect(visited).toEqual(CARE_STOPS);

  // what a learner is offered to try it with is firmware for this board
  await sheet('Its firmware').getByText('Firmware to try this with').click();
  const downloading = page.waitForEvent('download');
  await page.getByRole('button', { name: 'Save version 1.2 silent' }).click();
  const made = parseImage(readFileSync(await (await downloading).path()));
  expect(made).toMatchObject({ hardware: 'simulated 1', version: '1.2 silent' });
  expect(complaints).toEqual([]);
});
