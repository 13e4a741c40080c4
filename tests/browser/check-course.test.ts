import type { Browser, Locator, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { writeShots } from '../../src/records/course-csv.ts';
import { instrumentName } from '../../src/records/course-notes.ts';
import { shotsOf, SQUARE } from '../steps/course/made-up-shots.ts';
import { launch } from './chromium.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const press = (page: Page, name: string) =>
  page.getByRole('button', { name, exact: true }).first().click();
const words = async (page: Page) =>
  (await page.locator('main.logbook').innerText()).replace(/\s+/g, ' ');

/** Lays a course out, and begins an outing on it. */
async function layOut(page: Page, name: string, legs: string): Promise<void> {
  await press(page, 'Lay out a course');
  await page.getByLabel('Name of the course').fill(name);
  await page.getByLabel('Legs, a line each').fill(legs);
  await press(page, 'Keep this course');
  await page.getByRole('heading', { name: `Check course: ${name}` }).waitFor();
  await press(page, 'Begin an outing today');
}

/** What a list of choices shows as chosen. */
const chosenIn = (select: Locator) =>
  select.evaluate((each: HTMLSelectElement) => each.selectedOptions[0]?.text.trim());

/** Shots of three instruments, of which the second shows 1.2° too much; one of them was aimed the wrong way round. */
function shotsFile() {
  const shots = shotsOf(SQUARE, ['one', 'two', 'three'], {
    constants: { two: 1.2 },
    stations: { C: 1.5 },
  });
  const rows = shots.map(({ instrument, leg, way, azimuth, inclination }, i) => ({
    instrument: instrumentName(instrument),
    from: way === 'fore' ? leg.from : leg.to,
    to: way === 'fore' ? leg.to : leg.from,
    // the sixth was shot from the other end, and written down as if it were not
    azimuth: i === 5 ? shots[6]!.azimuth! : azimuth!,
    inclination: i === 5 ? shots[6]!.inclination! : inclination!,
  }));
  return { name: 'shots.csv', mimeType: 'text/csv', buffer: Buffer.from(writeShots(rows)) };
}

it('lays out a check course, takes shots from a file and by hand, settles it, and keeps it all across a reload', async () => {
  const { page, complaints } = await openPage(browser, { width: 390, height: 844 });
  await page.goto(inject('appUrl'));
  await page.getByRole('link', { name: 'Check courses' }).click();
  const inspection = new Inspection(page);
  await press(page, 'Lay out a course');
  await press(page, 'Keep this course');
  await page.getByText('The course wants a name.').waitFor();
  expect(await inspection.objections()).toEqual([]);
  await page.getByLabel('Name of the course').fill('four stakes');
  await page.getByLabel('Legs, a line each').fill('A, B\nB, C\nC, D\nD, A\nA, C\nB, D\nA, B');
  await press(page, 'Keep this course');
  await page.getByText('this leg stands on line 1 too').waitFor();
  await page.getByLabel('Legs, a line each').fill('A, B\nB, C\nC, D\nD, A\nA, C\nB, D');
  await press(page, 'Keep this course');
  await page.getByRole('heading', { name: 'Check course: four stakes' }).waitFor();
  await press(page, 'Begin an outing today');

  await page.getByText('Add shots from a file').click();
  await page.getByLabel('File of shots (CSV)').setInputFiles(shotsFile());
  await page.getByText('72 shots were added.').waitFor();
  await page.getByText('Add shots by hand').click();
  await page.getByLabel('Instrument', { exact: true }).fill('one');
  await page.getByLabel('Azimuth, °, from magnetic north').fill('40,2');
  await press(page, 'Add this shot');
  await page.getByText('73 shots; azimuth').waitFor();

  await page.getByText('What it is settled by').click();
  await page.getByLabel('Where the field is not turned').selectOption('At clean stations');
  await page.getByLabel('Clean stations, with commas between').fill('A');
  await press(page, 'Keep this');
  await press(page, 'Settle it');
  await page.getByText('two: off. Calibrate it again before it is used.').waitFor();
  const result = await words(page);
  expect(result).toContain('Off: its azimuths show 1.');
  expect(result).toMatch(/C: \+1\.\d\d° ±\s0\.\d\d°: it turns the field/);
  expect(result).toContain('It would fit the same leg shot the other way');
  expect(result).toContain('What would settle that: a known bearing of a leg');
  expect(await inspection.objections()).toEqual([]);
  // whoever prints a dark page has black ink all the same, and the sheet alone
  await page.emulateMedia({ media: 'print', colorScheme: 'dark' });
  const ink = await page
    .locator('.course-result')
    .evaluate((sheet) => getComputedStyle(sheet).color);
  expect(ink).toBe('rgb(0, 0, 0)');
  expect(await page.getByRole('link', { name: 'At the bench' }).isVisible()).toBe(false);
  await page.emulateMedia({ media: null, colorScheme: null });

  await page
    .getByRole('button', { name: /^Set aside C to B of one/ })
    .first()
    .click();
  await page.getByText('Shots have changed: settle it again').waitFor();
  await page.reload();
  await page.getByText('Shots have changed: settle it again').waitFor();
  expect(await words(page)).toContain('Set aside: ');
  await page.getByRole('link', { name: 'All check courses' }).click();
  await page.getByRole('link', { name: 'four stakes' }).waitFor();
  expect(complaints).toEqual([]);
}, 120_000);

it('shows what is kept: the leg and the time of a shot typed by hand, what the course is settled by, shots whose leg is gone, and to another page why it may only look', async () => {
  const context = await browser.newContext();
  const { page, complaints } = await openPage(context, { width: 390, height: 844 });
  await page.goto(`${inject('appUrl')}#course`);
  await layOut(page, 'three stakes', 'A, B\nB, C\nC, A');
  await page.getByText('Add shots by hand').click();
  await page.getByLabel('Instrument', { exact: true }).fill('old brass');
  const shot = page.getByRole('combobox', { name: 'Shot', exact: true });
  const rows = page.locator('.course-table tbody tr');
  const add = async (azimuth: string) => {
    await page.getByLabel('Azimuth, °, from magnetic north').fill(azimuth);
    await press(page, 'Add this shot');
    const row = rows.filter({ hasText: `${azimuth}.00°` });
    await row.waitFor();
    return row.locator('td').first().innerText();
  };
  await shot.selectOption('B to C');
  expect(await add('80')).toBe('B to C');
  await shot.selectOption('B to A');
  await page.getByLabel('Time it was taken').fill('14:05');
  expect(await add('170')).toBe('B to A');
  const next = await chosenIn(shot);
  expect(next).toBe('B to C');
  expect(await add('82')).toBe(next);
  const times = (await rows.allInnerTexts()).map((words) => /\b14:05\b/.test(words));
  expect(times).toEqual([false, true, false]); // it was typed for one of them

  await page.getByText('What it is settled by').click();
  const stations = page.getByLabel('Where the field is not turned');
  for (const [known, told] of [
    ['At clean stations', 'Clean, give or take 0.1°: A.'],
    ['Nothing is known of it', 'No station is said to be clean.'],
    ['At clean stations', 'Clean, give or take 0.1°: A.'],
  ] as const) {
    await stations.selectOption(known);
    if (known === 'At clean stations') {
      await page.getByLabel('Clean stations, with commas between').fill('A');
    }
    await press(page, 'Keep this');
    await press(page, 'Settle it');
    await page.getByText(told).waitFor();
    expect(await chosenIn(stations)).toBe(known);
  }

  await page.getByText('Change the course').click();
  await page.getByLabel('Legs, a line each').fill('A, B\nC, A');
  await press(page, 'Keep the changes');
  await page.getByText('3 shots, of which 2 do not count').waitFor();
  const gone = 'Not counted: the course has no leg between B and C.';
  const marked = (await rows.allInnerTexts()).map((words) => words.includes(gone));
  expect(marked).toEqual([true, false, true]);
  expect(await new Inspection(page, 'check-course-shots').objections()).toEqual([]);

  const other = await context.newPage();
  await other.goto(page.url());
  await other.getByRole('heading', { name: 'Check course: three stakes' }).waitFor();
  await other.getByRole('heading', { name: 'Another page has the bench' }).waitFor();
  expect(await other.getByRole('button', { name: 'Settle it' }).count()).toBe(0);
  expect(complaints).toEqual([]);
}, 60_000);
