import { readFileSync } from 'node:fs';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import type { Entry, EntryOf } from '../../src/records/entries.ts';
import { launch } from './chromium.ts';
import { addEntries, makeLogbook } from './logbook-by-hand.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';
import { readPdf } from './pdf-text.ts';
import { calibrationsIn, longestEntries, provenEntries } from './report-entries.ts';

let browser: Browser;
let proven: Entry[];
beforeAll(async () => {
  [browser, proven] = await Promise.all([launch(), provenEntries()]);
});
afterAll(() => browser.close());

/** A page whose logbook holds these, with no board linked. */
async function withLogbook(
  entries: readonly Entry[],
): Promise<{ page: Page; complaints: string[] }> {
  const context = await browser.newContext({ colorScheme: 'dark' });
  const opened = await openPage(context, { width: 390, height: 844 });
  await opened.page.goto(new URL('icon.svg', inject('appUrl')).href);
  await makeLogbook(opened.page, []);
  await addEntries(opened.page, entries);
  return opened;
}

/** What a figure is on paper: blanks are not told apart there. */
const printed = (words: string) => words.normalize('NFKC').replace(/\s+/g, '');

async function paper(page: Page, format: 'A4' | 'Letter') {
  return readPdf(await page.pdf({ format }));
}

it('is reached from the board’s page, is on two pages of A4 and of Letter with every main figure, and is saved as JSON', async () => {
  const { page, complaints } = await withLogbook(proven);
  const { board } = proven[0]!;
  await page.goto(`${inject('appUrl')}#logbook/${encodeURIComponent(board)}`);
  // the newest stands first
  await page
    .getByRole('link', { name: /^Report of this calibration, to print/ })
    .first()
    .click();
  const heading = page.getByRole('heading', { name: /^Calibration report: Simulated board/ });
  await heading.waitFor();
  // it has the focus once all of the page is there
  await expect.poll(() => heading.evaluate((each) => each === document.activeElement)).toBe(true);
  expect(await new Inspection(page).objections()).toEqual([]);

  const [download] = await Promise.all([
    page.waitForEvent('download'),
    page.getByRole('button', { name: 'Save the machine-readable copy' }).click(),
  ]);
  const copy = JSON.parse(readFileSync(await download.path(), 'utf8')) as Record<string, unknown>;
  expect(copy).toMatchObject({
    type: 'lodebench.report',
    version: 1,
    calibration: calibrationsIn(proven).at(-1),
  });

  const fit = proven.findLast((entry): entry is EntryOf<'fit'> => entry.kind === 'fit')!;
  const sealed = proven.findLast((entry): entry is EntryOf<'sealed'> => entry.kind === 'sealed')!;
  const degrees = (value: number, digits: number) =>
    `${((value * 180) / Math.PI).toFixed(digits)}°`;
  for (const format of ['A4', 'Letter'] as const) {
    const { pages, text } = await paper(page, format);
    expect(pages).toBe(2);
    for (const words of [
      board,
      `standard error ${degrees(fit.uncertainty.azimuth, 3)}`,
      `standard error ${degrees(fit.uncertainty.inclination, 3)}`,
      `standard error ${degrees(fit.holdsFor!.largest.azimuth, 3)}`,
      `Mean spread ${degrees(fit.meanSpread!, 2)} over 14 sightings, 56 readings`,
      `${sealed.generation}, in place of ${sealed.replaced}`,
      sealed.crc,
      'all 26 numbers just as they were sealed',
      'Passed, over 12 fresh readings',
      'Valid for',
      'Not valid for',
      'A magnetic heading alone must not be relied on',
      'Signature',
      'Page 2 of 2',
    ]) {
      expect(text).toContain(printed(words));
    }
    // the page around it stays off the paper
    for (const words of ['At the bench', 'Print or save as PDF', 'Before you rely on it']) {
      expect(text).not.toContain(printed(words));
    }
  }
  expect(complaints).toEqual([]);
});

it('keeps to two pages with long names, 70 readings of which many are set aside, checks, and much that happened since', async () => {
  const long = longestEntries(proven);
  const { page } = await withLogbook(long);
  const { board } = long[0]!;
  const calibration = calibrationsIn(long).at(-1)!;
  await page.goto(`${inject('appUrl')}#report/${[board, calibration].map(encodeURIComponent).join('/')}`); // prettier-ignore
  await page.getByRole('button', { name: 'Print or save as PDF' }).waitFor();
  for (const format of ['A4', 'Letter'] as const) {
    const { pages, text } = await paper(page, format);
    expect(pages).toBe(2);
    for (const words of [
      '70 taken, 56 used, 14 set aside',
      'and 10 more, in the machine-readable copy',
      '° south',
      'A closed loop passed',
      'Signature',
    ]) {
      expect(text).toContain(printed(words));
    }
  }
});
