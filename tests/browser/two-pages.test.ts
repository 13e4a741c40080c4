import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

it('leaves the bench to the page that has it, and gives it to another once that one is closed', async () => {
  const context = await browser.newContext();
  const first = await context.newPage();
  await first.goto(inject('appUrl'));
  await first.getByRole('button', { name: 'Link the simulated board' }).click();
  await first.getByRole('button', { name: 'Begin taking readings' }).waitFor();

  const second = await context.newPage();
  await second.goto(inject('appUrl'));
  const alert = second.getByRole('alert');
  await alert.getByText('Another page holds the bench').waitFor();
  await first.reload(); // a reload must not lose the bench to the one that asks
  await first.getByRole('button', { name: 'Begin taking readings' }).waitFor();

  await first.close();
  await second.getByRole('button', { name: 'Link the simulated board' }).click();
  await second.getByRole('button', { name: 'Begin taking readings' }).waitFor();
  expect(await alert.count()).toBe(0);
  await context.close();
});
