import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { BenchInProcess } from '../steps/bench-in-process.ts';
import { printed } from '../steps/logbook/printed-sheet.ts';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';

let browser: Browser;
let text: string;
let mounting: { acc: string; mag: string };
beforeAll(async () => {
  browser = await launch();
  const bench = await BenchInProcess.opened();
  await bench.ask('link', 'begin', 'take rest');
  const { accMounting, magMounting } = bench.state.history.identity!;
  mounting = { acc: accMounting!, mag: magMounting! };
  // free attitudes, in g and µT with decimal commas: what a person may have of a board of their own make
  text = printed(
    [
      ['sighting', 'x', 'y', 'z', 'bx', 'by', 'bz'],
      ...bench.calibration.readings.map(({ sighting, reading }) => [
        sighting!,
        ...reading.acc.map((count) => count / 16_384),
        ...reading.mag.map((count) => count * 0.0146),
      ]),
    ],
    { separator: 'tab', decimal: 'comma', digits: 6 },
  );
});
afterAll(() => browser.close());

it('takes readings that were pasted from a sheet, and fits and judges them with no board linked', async () => {
  const { page, complaints } = await openPage(browser, { width: 390, height: 844 });
  const button = (name: string) => page.getByRole('button', { name, exact: true });
  const list = (name: string) => page.getByRole('combobox', { name, exact: true });
  const choose = (label: string, option: string) => list(label).selectOption({ label: option });
  const fits = async () => {
    const [width, inner] = await page.evaluate(() => [
      document.documentElement.scrollWidth,
      innerWidth,
    ]);
    expect(width).toBeLessThanOrEqual(inner!);
  };
  await page.goto(`${inject('appUrl')}#logbook`);
  await page.getByRole('heading', { name: 'Readings from a sheet' }).click();
  await page.getByLabel('Readings, a line for each').fill(text);
  // what each column is was proposed by position, is shown, and can be changed
  const first = list('Column 2, “x”');
  expect(await first.inputValue()).toBe('ax');
  await first.selectOption({ label: 'left out' });
  await page.getByText('Say which columns are ax.').waitFor();
  await first.selectOption({ label: 'accelerometer x' });
  await page.getByText('Say which columns are ax.').waitFor({ state: 'hidden' });
  // what is proposed anew is what is shown, whatever was picked before
  await first.selectOption({ label: 'left out' });
  await page.getByText('Say which columns are ax.').waitFor();
  await page.getByLabel('Readings, a line for each').fill(`${text}\n`);
  await page.getByText('Say which columns are ax.').waitFor({ state: 'hidden' });
  expect(await first.inputValue()).toBe('ax');
  // nothing is taken while units are not said
  await page.getByText('Say in which unit the accelerometer’s numbers are.').waitFor();
  expect(await button('Keep these readings').getAttribute('aria-disabled')).toBe('true');
  await choose('Accelerometer is in', 'm/s²');
  await choose('Magnetometer is in', 'µT');
  await page.getByText(/a length of about 0\.1\d* g, and at rest/).waitFor();
  await choose('Accelerometer is in', 'g (standard gravity)');
  await choose('Accelerometer', mounting.acc);
  await choose('Magnetometer', mounting.mag);
  await page.getByLabel('Serial number').fill('SHEET <b>1</b>');
  await fits();
  await button('Keep these readings').click();

  await page.getByRole('heading', { name: 'Fit and judge without the board' }).waitFor();
  expect(new URL(page.url()).hash).toBe(`#logbook/${encodeURIComponent('SHEET <b>1</b>')}`);
  await page.getByText('56 readings are in the logbook.').first().waitFor();
  await button('Fit').click();
  await page.getByRole('heading', { name: 'Is it good enough?' }).waitFor();
  await page
    .locator('opened-view')
    .getByText(/^Good enough for /)
    .waitFor();
  await fits();
  await page.reload();
  await list('Calibration').waitFor();
  await button('Open it').click();
  const download = page.waitForEvent('download');
  await button('Take out the coefficients').click();
  expect((await download).suggestedFilename()).toMatch(/^coefficients SHEET .*\.json$/);

  // a readings file of ours says itself what it is
  const bringIn = (name: string, content: Buffer) =>
    page
      .getByLabel('Or bring in a file')
      .setInputFiles({ name, mimeType: 'text/csv', buffer: content });
  await page.getByRole('heading', { name: 'Readings from a sheet' }).click();
  await bringIn('old.csv', Buffer.from([0xb5, 0x54, 0x0a]));
  await page.getByText('old.csv is not text in UTF-8.').waitFor();
  const ours = 'id,ax,ay,az,mx,my,mz,temp_c\n1,10,20,16300,100,200,3300,20.5\n';
  await bringIn('readings.csv', Buffer.from(ours));
  await page.getByText('From the file readings.csv.').waitFor();
  expect(await list('Accelerometer is in').inputValue()).toBe('counts');
  expect(await list('Temperatures are in').inputValue()).toBe('°C');
  await page.getByText('One reading goes into the logbook').waitFor();
  expect(complaints).toEqual([]);
});
