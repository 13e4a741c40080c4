import type { Page } from 'playwright-core';

const LONG = { timeout: 90_000 };

/** Carries a simulated board through the whole job in a page that shows no board yet: link, take, fit, seal, prove. */
export async function calibrate(page: Page): Promise<void> {
  const press = (name: string) =>
    page.getByRole('button', { name, exact: true }).first().click(LONG);
  await press('Link the simulated board');
  await press('Begin taking readings');
  await press('Take all 56');
  await page.getByText('56 of 56 attitudes covered').waitFor(LONG);
  await press('Fit');
  await press('Write to the board…');
  await press('Stage, check and seal');
  await page.getByText('Read back and compared').waitFor(LONG);
  await press('Take 12 fresh readings');
  await page.getByRole('heading', { name: 'The proof passed' }).waitFor(LONG);
}
