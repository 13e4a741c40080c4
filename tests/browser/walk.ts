import type { Page } from 'playwright-core';

/**
 * The whole of the main job as a person does it in the page, finding every control by its visible words. It stops at
 * every view and state worth a look.
 */

/** Where the walk stops, in order. */
export const STOPS = [
  'no board linked',
  'the board',
  'first reading',
  'no fit from too few',
  'taking readings',
  'after a reload in the midst of them',
  'all readings in',
  'asked why',
  'set aside',
  'taken back',
  'judged',
  'about to write',
  'sealed',
  'after a reload, still sealed',
  'proven',
  'done',
  'a board that does not answer',
  'link lost',
  'linked again',
  'judged beside steel',
  'before the second write',
  'a failed proof',
  'reverted',
  'the logbook',
  'a board in the logbook',
  'linking another board',
  'two boards',
  'the first board again',
] as const;

export type Stop = (typeof STOPS)[number];

const LONG = { timeout: 90_000 };

/** @param at called at each stop, in the order of {@link STOPS} */
export async function walk(
  page: Page,
  url: string,
  at: (stop: Stop) => Promise<void>,
): Promise<void> {
  const button = (name: string | RegExp) => page.getByRole('button', { name, exact: true });
  const idle = () => page.locator('progress').waitFor({ state: 'detached', ...LONG });
  const press = async (name: string | RegExp) => {
    await button(name).first().click();
    await idle();
  };
  const set = async (changes: Record<string, string>) => {
    const sheet = page.locator('details', { hasText: 'How the simulated board is set' });
    if ((await sheet.getAttribute('open')) === null) await sheet.locator('summary').click();
    for (const [label, value] of Object.entries(changes)) {
      await page.getByLabel(label).fill(value);
    }
    await press('Set the simulated board');
    await page.getByText('The simulated board is set.').waitFor();
  };

  await page.goto(url);
  await button('Link the simulated board').waitFor();
  await page.locator('summary', { hasText: 'How the simulated board is set' }).click();
  await page.getByLabel('Seed: the same number gives the same board').fill('11'); // and not set
  await at('no board linked');

  await press('Link the simulated board');
  await button('Begin taking readings').waitFor();
  await at('the board');

  await press('Begin taking readings');
  await press('Take one reading');
  await page.getByText('1 of 56 attitudes covered').waitFor();
  await at('first reading');

  await press('Take this sighting');
  await press('Take this sighting');
  await page.getByText('8 of 56 attitudes covered').waitFor();
  await press('Fit what is there');
  await page.getByText('No fit from these readings').waitFor();
  await at('no fit from too few');

  await button('Take the other 48').click();
  await page.getByText(/^1[2-9] of 56 attitudes covered/).waitFor(LONG);
  await at('taking readings');
  await page.reload();
  await button(/^Take the other/).waitFor();
  await idle();
  await at('after a reload in the midst of them');
  await press(/^Take the other/);
  await page.getByText('56 of 56 attitudes covered').waitFor();
  await at('all readings in');

  await button('Set aside reading 50').click();
  await page.getByLabel('Iron or a magnet was near').check();
  await page.getByLabel('In your words').fill('a van drove past');
  await at('asked why');
  await press('Set it aside');
  await page.getByText('Set aside: Iron or a magnet was near: a van drove past').waitFor();
  await at('set aside');
  await press('Take back reading 50');
  await button('Set aside reading 50').waitFor();
  await press(/^Undo/);
  await button('Take back reading 50').waitFor();
  await press(/^Undo/);
  await button('Set aside reading 50').waitFor();
  await at('taken back');

  await press('Fit');
  await button('Write to the board…').waitFor();
  await at('judged');

  await button('Write to the board…').click();
  await at('about to write');
  await press('Stage, check and seal');
  await page.getByText('Read back and compared').waitFor();
  await at('sealed');
  await page.reload();
  await page.getByRole('heading', { name: 'Prove it with fresh readings' }).waitFor();
  await idle();
  await at('after a reload, still sealed');

  await press('Take 12 fresh readings');
  await page.getByRole('heading', { name: 'The proof passed' }).waitFor(LONG);
  await page.getByText('Against the truth').waitFor();
  await idle();
  await at('proven');
  await press('Close the calibration');
  await at('done');

  await press('Begin another calibration');
  await set({ 'Bytes lost, chance of each': '1' });
  await button('Take one reading').click();
  await page.getByRole('alert').waitFor(LONG);
  await idle();
  await at('a board that does not answer');
  await press('Link again');
  await page.getByText('Link lost: asleep, or not listening').waitFor(LONG);
  await at('link lost');
  await set({
    'Bytes lost, chance of each': '0.0002',
    'Bytes flipped, chance of each': '0.0002',
    'Steel near by': '60',
  });
  await press('Link again');
  await button('Take one reading').waitFor(LONG);
  await at('linked again');
  await press(/^Take (all|the other) 5/);
  await page.getByText('56 of 56 attitudes covered').waitFor();
  await press('Fit');
  await page.getByRole('heading', { name: 'Not good enough yet' }).waitFor();
  await at('judged beside steel');
  await button('Write to the board…').click();
  await at('before the second write');
  await press('Stage, check and seal');
  await page.getByText('Generation 2 in place of generation 1').waitFor();
  await press('Take 12 fresh readings');
  await page.getByRole('heading', { name: 'The proof did not pass' }).waitFor(LONG);
  await idle();
  await at('a failed proof');
  await press('Go back to the coefficients before');
  await page.getByText('Gone back').waitFor();
  await at('reverted');

  await page.getByRole('link', { name: 'Logbook', exact: true }).click();
  await page
    .getByText(/^Calibrate again, because/)
    .filter({ visible: true })
    .waitFor();
  await at('the logbook');
  await page.getByRole('link', { name: /^Simulated board, / }).click();
  await page.getByRole('region', { name: 'Change from set to set' }).waitFor(LONG);
  await at('a board in the logbook');
  await page.getByRole('link', { name: 'At the bench' }).click();

  await press('Link another board');
  await button('Link another simulated board').waitFor();
  await at('linking another board');
  await press('Link another simulated board');
  await button('Begin taking readings').waitFor();
  await at('two boards');
  await page
    .getByRole('navigation', { name: 'Boards at the bench' })
    .getByRole('button')
    .first()
    .click();
  await page.getByText('Gone back').waitFor();
  await at('the first board again');
}
