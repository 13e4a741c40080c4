import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { launch } from './chromium.ts';
import { openPage } from './page.ts';
import { STOPS, walk, type Stop } from './walk.ts';

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

it('leads through a whole calibration, with reloads, a poor link and no complaint from the browser', async () => {
  const { page, complaints } = await openPage(browser, { width: 1280, height: 900 });
  const text = async () => (await page.locator('body').innerText()).replace(/\s+/g, ' ');
  /** The figure that stands under a heading, as a number. */
  const figureOf = async (name: string) => {
    const finding = page.locator('.findings li', { has: page.getByRole('heading', { name }) });
    return parseFloat(await finding.locator('.figure').innerText());
  };
  const readings = () =>
    page.locator('table.readings tbody tr').evaluateAll((rows) =>
      // the number and the aim, without the buttons
      rows.map(
        (row) => `${row.children[0].textContent} ${row.querySelector('.line')?.textContent}`,
      ),
    );
  /** What has the focus, as a screen reader would call it. */
  const focused = () =>
    page.evaluate(() => {
      const { activeElement: at } = document;
      return at?.getAttribute('aria-label') ?? (at?.id || at?.textContent?.trim());
    });
  let taken = 0;
  const visited: Stop[] = [];

  const checks: Partial<Record<Stop, () => Promise<void>>> = {
    'the board': async () => {
      const seed = page.getByLabel('Seed: the same number gives the same board');
      expect(await seed.inputValue()).toBe('11'); // as it was typed before linking
      const words = await text();
      expect(words).toMatch(/Serial number SIM-[0-9A-F]{8}/);
      expect(words).toContain('Generation in force none yet');
      expect(words).toContain('0 when linked, room for 250 more');
    },
    'no fit from too few': async () => {
      expect(await text()).toMatch(/8 readings are not enough.*What to do: .*Take more/);
    },
    'taking readings': async () => {
      taken = (await readings()).length;
    },
    'after a reload in the midst of them': async () => {
      const now = await readings();
      expect(now.length).toBeGreaterThanOrEqual(taken);
      expect(now.length).toBeLessThan(56); // nothing goes on by itself
    },
    'all readings in': async () => {
      const now = await readings();
      expect(now).toHaveLength(56);
      expect(new Set(now.map((row) => row.replace(/^\d+ /, ''))).size).toBe(56);
      expect(await focused()).toBe('Fit'); // the main button has it, whatever that does next
    },
    'set aside': async () => {
      expect(await text()).toContain('55 of 56 attitudes covered');
      expect(await focused()).toBe('Take back reading 50');
    },
    'taken back': async () => {
      expect(await text()).toContain('56 of 56 attitudes covered');
    },
    judged: async () => {
      const words = await text();
      expect(words).toMatch(/Good enough for .* grade 5 \(±1°\)/);
      // where the page was reloaded the noise begins anew, so that now and then a good reading is set aside
      expect(words).toMatch(/over 14 sightings, 5[56] readings that the fit saw/);
      expect(words).toContain('What these figures cannot see');
      expect(await figureOf('Mean spread')).toBeLessThan(0.5); // common practice in the trade
    },
    'about to write': async () => {
      const words = await page.getByRole('dialog').innerText();
      for (const part of ['What will change', 'What was saved', 'How to come back']) {
        expect(words).toContain(part);
      }
    },
    sealed: async () => {
      expect(await text()).toContain('All 26 numbers are equal, bit by bit.');
    },
    'after a reload, still sealed': async () => {
      expect(await text()).toContain('Generation 1 in place of none');
    },
    proven: async () => {
      for (const angle of ['azimuth × cos inclination', 'inclination', 'roll']) {
        expect(await figureOf(`The board’s ${angle} against ours`)).toBeLessThanOrEqual(0.01);
      }
      // the Cramér–Rao bounds of the plan with this noise are 0.08° and 0.027°; a seeded board, so no chance
      expect(await figureOf('True error of azimuth × cos inclination')).toBeLessThan(0.2);
      expect(await figureOf('True error of inclination')).toBeLessThan(0.07);
    },
    done: async () => {
      expect(await text()).toContain('must not be relied on where an error can hurt someone');
    },
    'a board that does not answer': async () => {
      expect(await page.getByRole('alert').innerText()).toContain('The board does not answer');
    },
    'judged beside steel': async () => {
      const words = await text();
      expect(words).toMatch(/Not good enough for .*: .*length of the field/);
      expect(await figureOf('Mean spread')).toBeLessThan(0.5); // spread alone would let it pass
    },
    'a failed proof': async () => {
      expect(await text()).toContain('Not passed, over 12 fresh readings of generation 2.');
    },
    'before the second write': async () => {
      expect(await page.getByRole('dialog').innerText()).toContain(
        'Generation 1 stays on the board',
      );
    },
    'two boards': async () => {
      const boards = page.getByRole('navigation', { name: 'Boards at the bench' });
      const names = await boards.getByRole('button', { name: /SIM-/ }).allInnerTexts();
      expect(names).toHaveLength(2);
      expect(names[0]).toMatch(/SIM-[0-9A-F]{8}\s+Look/); // gone back, and begun another
      expect(names[1]).toMatch(/SIM-[0-9A-F]{8}\s+Look/);
      expect(names[0]).not.toBe(names[1]);
      expect(await text()).toContain('Generation in force none yet');
    },
    reverted: async () => {
      expect(await text()).toMatch(/Generation in force 3, straight/);
    },
  };

  await walk(page, inject('appUrl'), async (stop) => {
    visited.push(stop);
    await checks[stop]?.();
    const { width, inner } = await page.evaluate(() => ({
      width: document.documentElement.scrollWidth,
      inner: innerWidth,
    }));
    expect(width, `overflow at: ${stop}`).toBeLessThanOrEqual(inner);
  });
  expect(visited).toEqual(STOPS);
  expect(complaints).toEqual([]);
});
