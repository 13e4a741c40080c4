import type { Page } from 'playwright-core';
import { formatImage } from '../../src/protocol/firmware-image.ts';

/** The care of a simulated board as a person does it in the page, finding every control by its visible words. */

/** Where the walk stops, in order. */
export const CARE_STOPS = [
  'all there is to care for',
  'settings changed',
  'a setting that cannot be',
  'settings sent',
  'earlier settings',
  'a name, a clock, a light',
  'a reading taken and forgotten',
  'a file that is no firmware',
  'firmware judged',
  'firmware on its way',
  'firmware confirmed',
  'nothing is the matter',
] as const;

export type CareStop = (typeof CARE_STOPS)[number];

const LONG = { timeout: 90_000 };

const firmware = formatImage({
  hardware: 'simulated 1',
  version: '1.1',
  program: Uint8Array.from({ length: 4000 }, (_, i) => i % 251), // begins with 0: healthy
  resetsSettings: true,
  replacesCoefficients: true,
});

const fileOf = (name: string, bytes: Uint8Array) => ({
  name,
  mimeType: 'application/octet-stream',
  buffer: Buffer.from(bytes),
});

/** @param at called at each stop, in the order of {@link CARE_STOPS} */
export async function careWalk(
  page: Page,
  url: string,
  at: (stop: CareStop) => Promise<void>,
): Promise<void> {
  const button = (name: string | RegExp) => page.getByRole('button', { name, exact: true });
  const idle = () => page.locator('progress').waitFor({ state: 'detached', ...LONG });
  const press = async (name: string | RegExp) => {
    await button(name).click();
    await idle();
  };
  const open = (title: string) => page.locator('summary', { hasText: title }).click();
  const said = (words: string | RegExp) =>
    page.locator('.next .said', { hasText: words }).waitFor(LONG);

  await page.goto(url);
  await button('Link the simulated board').click();
  await button('Begin taking readings').waitFor();
  await idle();
  for (const title of ['Its settings', 'Its name, clock and light', 'What is in its memory']) {
    await open(title);
  }
  await open('Its firmware');
  await at('all there is to care for');

  await page.getByLabel('Sleeps when left alone for').fill('25');
  await page.getByLabel('Sound at each reading').uncheck();
  await page.getByLabel('Reach of its radio').selectOption('far');
  await button('Send all 3 changes to the board').waitFor();
  await at('settings changed');
  await page.getByLabel('Sleeps when left alone for').fill('500');
  await page.keyboard.press('Tab');
  await page.getByText('It is above 120.').waitFor();
  await at('a setting that cannot be');
  await page.getByLabel('Sleeps when left alone for').fill('25');
  await page.keyboard.press('Enter'); // sends the form
  await said('read back from the board');
  await at('settings sent');
  await press('Start the board again');
  await said('The board has started again');
  await press('Look for earlier ones');
  await page.getByRole('button', { name: /^Take up: Revision 0/ }).click();
  await button('Send all 3 changes to the board').waitFor();
  await at('earlier settings');
  await press('Leave them as they are');

  await page.getByLabel('What it is called').fill('Number 7');
  await press('Call it so');
  await press('Set it by this machine’s clock');
  await press('Switch the light on');
  await page.getByText('The light is on.', { exact: true }).first().waitFor();
  await at('a name, a clock, a light');
  await press('Switch the light off');
  await press('Take a reading');
  await said('Reading 1 was taken and saved');
  await press('Compare, then let the board forget them');
  await said('has forgotten one reading');
  await at('a reading taken and forgotten');

  const input = page.getByLabel('A file of firmware');
  await input.setInputFiles(fileOf('notes.txt', Buffer.from('nothing that runs')));
  await page.getByText('This file is no firmware').waitFor();
  await idle();
  await at('a file that is no firmware');
  await press('Not this file');
  await input.setInputFiles(fileOf('new.lodefw', firmware));
  await button('Put version 1.1 on the board').waitFor();
  await idle();
  await at('firmware judged');
  await button('Put version 1.1 on the board').click();
  await page.locator('.work', { hasText: /Waiting for the board|Looking whether/ }).waitFor(LONG);
  await at('firmware on its way');
  await page.getByText('Version 1.1 is confirmed in place of 1.0').waitFor(LONG);
  await idle();
  await at('firmware confirmed');

  await open('What is the matter with it?');
  await press('Find out what is the matter');
  await page.getByRole('heading', { name: 'The board answers as it should' }).waitFor(LONG);
  await at('nothing is the matter');
}
