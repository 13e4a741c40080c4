import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';

const LONG = { timeout: 90_000 };

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

it('checks a board in the field after it was sealed: four rolls, broken off by a reload, known bearings, ranges of taped baselines that are written to it, and the pointer beam', async () => {
  const { page, complaints } = await openPage(browser, { width: 390, height: 844 });
  await page.goto(inject('appUrl'));
  const first = (name: string) =>
    page.getByRole('button', { name, exact: true }).first().click(LONG);
  await page.getByRole('heading', { name: 'How the simulated board is set' }).click();
  await page.getByLabel('It has a range module').check();
  await first('Link the simulated board');
  await first('Begin taking readings');
  await first('Take all 56');
  await page.getByText('56 of 56 attitudes covered').waitFor(LONG);
  await first('Fit');
  await first('Write to the board…');
  await first('Stage, check and seal');
  await page.getByText('Read back and compared').waitFor(LONG);
  const sheet = page.locator('details.sheet', {
    has: page.getByRole('heading', { name: 'Check the instrument' }),
  });
  const begin = () => sheet.getByRole('button', { name: 'Begin this check' }).click();
  const next = (name: string) => page.locator('#next').getByRole('heading', { name });
  const inspection = new Inspection(page, 'check-view');
  const objections = () => inspection.objections();
  await sheet.locator('summary').first().click();
  expect(await objections()).toEqual([]);
  await begin();
  await next('Aim at the mark, upright').waitFor();
  await first('Take one for the check');
  await next('Aim at the mark, rolled a quarter right').waitFor();

  await page.reload();
  await sheet.getByText('1 of 8 readings are in.').waitFor();
  expect(await objections()).toEqual([]);
  await first('Take all 7 for the check');
  await sheet.getByText('Four rolls on one mark: passed').waitFor();
  expect((await sheet.innerText()).replace(/\s+/g, ' ')).toContain(
    'What does not turn with roll stays unseen',
  );

  await sheet.getByLabel('Which check').selectOption('Known bearings');
  await sheet.getByLabel('North of the bearings').selectOption('True north');
  await begin();
  await sheet.getByText('Declination must be a number from -180').waitFor();
  await sheet.getByText('The standard error of declination must be a number').waitFor();
  expect(await objections()).toEqual([]);
  await sheet.getByLabel('Declination, °, east positive').fill('3');
  await sheet.getByLabel('Its standard error').fill('0');
  await sheet.getByLabel('Bearings, a line each').fill('20 spire\n140 mast\n260 summit');
  await begin();
  await first('Take all 12 for the check');
  await sheet.getByText('Known bearings: passed').waitFor();
  expect(await objections()).toEqual([]);
  expect(await sheet.innerText()).toContain('Constant difference of azimuth');

  const choose = async (kind: string) => {
    await sheet.getByLabel('Which check').selectOption(kind);
    await sheet.getByRole('button', { name: 'Fill in something to try' }).click();
  };
  await choose('Ranges of taped baselines');
  await sheet.getByLabel('Readings of each aim').fill('2');
  expect(await objections()).toEqual([]);
  await begin();
  await first('Take all 10 for the check');
  await sheet.getByText('Ranges of taped baselines: not passed').waitFor();
  expect(await objections()).toEqual([]);
  await sheet.getByRole('button', { name: 'Write constant and scale to the board' }).click();
  await sheet.getByText('Constant and scale of this check are on the board').waitFor();

  await sheet.getByLabel('Which check').selectOption('Pointer beam against sight');
  await begin();
  await sheet.getByText('four lines are wanted').first().waitFor();
  await sheet.getByText('A beam must never meet an eye').waitFor();
  await sheet.getByRole('button', { name: 'Fill in something to try' }).click();
  expect(await objections()).toEqual([]);
  await begin();
  await first('Take all 16 for the check');
  await sheet.getByText('Beam from sight at the instrument, upward').waitFor();
  await choose('A closed loop');
  await sheet.getByLabel('The board’s range module measures the lengths').check();
  expect(await objections()).toEqual([]);
  expect(complaints).toEqual([]);
}, 180_000);
