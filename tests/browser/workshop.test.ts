import { readFileSync } from 'node:fs';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import type { Bench } from '../../src/steps/bench.ts';
import type { Intention } from '../../src/steps/next-step.ts';
import { toneOf } from '../../src/steps/workshop/kit-signals.ts';
import { launch } from './chromium.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';
import { readPdf } from './pdf-text.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

const LONG = { timeout: 240_000 }; // against hanging only
const KITS = 16;
const BUILDERS = 'Ada Bo Cyd Dee Eli Fay Gus Hal Ivy Jon Kit Lou Max Ned Oda Pip'.split(' ');
/** What a figure is on paper: blanks are not told apart there. */
const printed = (words: string) => words.normalize('NFKC').replace(/\s+/g, '');

it('carries 16 kits of one room through the whole job on one page, with one that drops out and returns to its place', async () => {
  const { page, complaints } = await openPage(browser, { width: 1440, height: 900 });
  const button = (name: string) => page.getByRole('button', { name, exact: true });
  const kits = page.getByRole('list', { name: 'Kits' });
  const lane = (i: number) => kits.getByRole('listitem').nth(i);
  const all = (words: string) => kits.getByText(words).nth(KITS - 1);

  await page.addInitScript(listen);

  // a workshop is set out, and the roster is there before any board is
  await page.goto(inject('appUrl'));
  await page.getByRole('link', { name: 'Workshop', exact: true }).click();
  await page.getByLabel('What it is called').fill('Kits of the spring meeting');
  await page.getByLabel('Where it is held').fill('Club hut');
  await button('Set out the workshop').click();
  await page.getByRole('heading', { name: 'Kits of the spring meeting', level: 2 }).waitFor();
  const tutorsPage = page.url();
  const lines = BUILDERS.map((builder, i) => `, ${builder}, ${i + 1}`).join('\n');
  await page.getByLabel(/^A line for each/).fill(lines);
  await button('Add to the roster').click();
  await all('Not linked yet').waitFor();

  // boards are linked, and each is given to its kit
  await page.evaluate(link, KITS);
  const strangers = page.getByRole('region', { name: 'Linked here, and of no kit' });
  await strangers
    .getByRole('listitem')
    .nth(KITS - 1)
    .waitFor(LONG);
  for (const [i, builder] of BUILDERS.entries()) {
    const first = strangers.getByRole('listitem').first();
    await first
      .getByLabel(/^Give it to a kit/)
      .selectOption({ label: `place ${i + 1}, ${builder}` });
    // an arrow key in a list of kits chooses, and gives nothing away
    if (i === 0) expect(await lane(i).getByText('no board yet').count()).toBe(1);
    await first.getByRole('button', { name: /^Give it\s*:/ }).click();
    await lane(i).getByText(/^SIM-/).waitFor();
  }
  await all('Linked').waitFor();
  expect(await page.getByText('16 under way', { exact: true }).count()).toBe(1);
  // all of it is in sight from the top of the page, where giving the boards had scrolled down
  await page.evaluate(() => scrollTo({ top: 0, behavior: 'instant' }));
  expect((await kits.boundingBox())!.y + (await kits.boundingBox())!.height).toBeLessThan(900);
  expect(await page.evaluate(() => scrollY)).toBe(0);

  await ask(page, 'begin');
  await all('Readings 0 of 56').waitFor(LONG);

  // whoever does not look hears which board's reading landed: the tone is its kit's alone, and said in words
  await page.getByLabel('Sound the kit’s own tone when a reading of its board lands').check();
  for (const index of [2, 15]) await page.evaluate(takeByHand, index); // the last is the one at hand
  const log = page.getByRole('log', { name: 'What was told' });
  await log.getByText('Place 16, Pip: Taken.').waitFor();
  expect(await log.getByRole('paragraph').allInnerTexts()).toEqual([
    'Place 16, Pip: Taken.',
    'Place 3, Cyd: Taken.',
  ]);
  await expect.poll(() => page.evaluate(heard)).toEqual([2, 15].map((i) => Math.fround(toneOf(i))));

  // one drops out in the midst of its readings: the eye is led there, and nothing else moves
  const taking = ask(page, 'take rest');
  await lane(4)
    .getByText(/^Taking readings: \d+ of 56$/)
    .waitFor(LONG);
  await page.evaluate(lose, { index: 4, part: 1 });
  await page.getByText('1 in trouble: 5', { exact: true }).waitFor(LONG);
  expect(await kits.getByRole('link').allInnerTexts()).toEqual(
    BUILDERS.map((builder) => expect.stringContaining(builder)),
  );

  // its builder's page says what is wrong, and leads to the bench with that board in hand
  await lane(4).getByRole('link').click();
  await page.getByRole('heading', { name: /Eli$/ }).waitFor();
  await page.getByRole('heading', { name: 'The board does not answer' }).waitFor();
  await button('Bring this board to hand').click();
  await button('Link again').first().click();
  await page.getByRole('heading', { name: 'Link the board again' }).waitFor(LONG);
  await page.evaluate(lose, { index: 4, part: 0 });
  await button('Link again').first().click();
  await page.getByRole('button', { name: /^Take (all|the other)/ }).click(LONG);
  await page
    .getByText(/^Taking readings: /)
    .first()
    .waitFor(LONG);
  await page.goto(tutorsPage);
  await taking;
  await all('Readings 56 of 56').waitFor(LONG);
  expect(await page.getByText(/in trouble/).count()).toBe(0);

  await ask(page, 'fit');
  await kits
    .getByText(/^Judged/)
    .nth(KITS - 1)
    .waitFor(LONG);
  await ask(page, 'write');
  await kits
    .getByText(/^Written/)
    .nth(KITS - 1)
    .waitFor(LONG);
  await ask(page, 'prove');
  await page.getByText('16 proven', { exact: true }).waitFor(LONG);

  // the results, on paper and as CSV
  const [download] = await Promise.all([
    page.waitForEvent('download'),
    button('Save the results (CSV)').click(),
  ]);
  const csv = readFileSync(await download.path(), 'utf8');
  for (const builder of BUILDERS) expect(csv).toContain(builder);
  const { pages, text } = readPdf(await page.pdf({ format: 'A4' }));
  expect(pages).toBe(1);
  for (const words of [
    'Results: Kits of the spring meeting',
    'Club hut',
    'BCRA grade 5',
    '16 of 16 proven',
    ...BUILDERS,
    'Not valid for',
    'qualified surveyors decide',
    'Signature',
  ]) {
    expect(text).toContain(printed(words));
  }
  for (const words of ['At the bench', 'Print the results', 'Add kits']) {
    expect(text).not.toContain(printed(words));
  }

  // on a phone, the tutor's page and a builder's
  await page.setViewportSize({ width: 390, height: 844 });
  const inspection = new Inspection(page);
  expect(await inspection.objections()).toEqual([]);
  await lane(15).getByRole('link').click();
  await page.getByRole('heading', { name: /Pip$/ }).waitFor();
  expect(await inspection.objections()).toEqual([]);
  await page.getByRole('link', { name: /^The whole roster/ }).click();
  await page.getByRole('link', { name: 'All workshops' }).click();
  await page.getByRole('heading', { name: 'A new workshop' }).waitFor();
  expect(await inspection.objections()).toEqual([]);
  expect(complaints).toEqual([]);
});

/** Asks one thing for every board, as its builder would; resolves when all of it is done or has failed. */
const ask = (page: Page, intention: Intention) => page.evaluate(askAll, intention);

/* What follows runs in the page: each function stands alone. Pressing each button of 16 boards by hand would take minutes. */

async function link(count: number): Promise<void> {
  const { bench } = document.querySelector('lode-bench') as unknown as { bench: Bench };
  for (let i = 0; i < count; i++) {
    if (i > 0) bench.linkAnother();
    await bench.link('simulated', { simulator: { seed: i + 1 } });
  }
}

async function askAll(intention: Intention): Promise<void> {
  const { bench } = document.querySelector('lode-bench') as unknown as { bench: Bench };
  await Promise.all(bench.places.map((place) => place.perform(intention)));
}

/** How many of the bytes that cross the link of the simulated board at that place are lost from now on: all, or none. */
async function lose({ index, part }: { index: number; part: number }): Promise<void> {
  const { bench } = document.querySelector('lode-bench') as unknown as { bench: Bench };
  const faults = { lose: part, double: 0, flip: 0, delayMs: 0 };
  await bench.places[index]!.tie!.simulated!.control.adjust({ faults });
}

/** A reading of that board by a hand that is no machine's, as told to one who does not look. */
async function takeByHand(index: number): Promise<void> {
  const { bench } = document.querySelector('lode-bench') as unknown as { bench: Bench };
  const place = bench.places[index]!;
  await place.turnMyself(true);
  const [aim] = place.state.history.calibration!.plan.sightings;
  const { azimuth, inclination, roll } = place.state.ownHand!;
  await place.turnBy({
    azimuth: aim!.azimuth - azimuth,
    inclination: aim!.inclination - inclination,
    roll: aim!.rolls[0]! - roll,
  });
  await place.perform('take one');
  await place.turnMyself(false);
}

/** Notes the pitch of every tone that is sounded, hertz. */
function listen(): void {
  const own = globalThis as unknown as { heardTones: number[] };
  own.heardTones = [];
  const { start } = OscillatorNode.prototype;
  OscillatorNode.prototype.start = function (when) {
    own.heardTones.push(this.frequency.value);
    start.call(this, when);
  };
}

const heard = () => (globalThis as unknown as { heardTones: number[] }).heardTones;
