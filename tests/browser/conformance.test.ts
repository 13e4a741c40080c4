import { readFileSync } from 'node:fs';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { boardFrom } from '../../sim/board-line.ts';
import { HostedBoard } from '../../sim/hosted-board.ts';
import { SocketServer } from '../../sim/socket-server.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import { launch } from './chromium.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';

const LONG = { timeout: 120_000 };

let browser: Browser;
beforeAll(async () => {
  browser = await launch();
});
afterAll(() => browser.close());

it('checks that the linked board speaks the protocol, stops when asked, and reports; then the work goes on', async () => {
  const { page, complaints } = await openPage(browser, { width: 390, height: 844 });
  const button = (name: string) => page.getByRole('button', { name, exact: true });
  const idle = () => page.locator('progress').waitFor({ state: 'detached', ...LONG });
  await page.goto(inject('appUrl'));
  await button('Link the simulated board').click();
  await button('Begin taking readings').waitFor(LONG);
  await idle();
  await page.locator('summary', { hasText: 'Does it speak the protocol?' }).click();

  await button('Check that it speaks the protocol').click();
  await page
    .locator('#next')
    .getByText(/speaks the protocol: [3-9] of \d+/)
    .waitFor(LONG);
  await button('Stop').click();
  await page.getByRole('heading', { name: /checks that were tried passed/ }).waitFor(LONG);
  await page.getByText('The board is as it was found.').waitFor();
  await idle();

  await page.getByLabel('Have it start again').check();
  await button('Check that it speaks the protocol').click();
  await page.locator('progress').waitFor(LONG);
  await idle();
  const verdict = await page.locator('.verdict', { hasText: 'checks that were tried' }).innerText();
  expect(verdict).toMatch(/^All [4-9]\d checks that were tried passed\./);

  expect(await new Inspection(page, 'conformance-view').objections()).toEqual([]);

  const saving = page.waitForEvent('download');
  await button('Save as JSON').click();
  const saved = await saving;
  expect(saved.suggestedFilename()).toMatch(/^protocol check SIM-[0-9A-F]{8} .*\.json$/);
  const report = JSON.parse(readFileSync(await saved.path(), 'utf8')) as { failed: number };
  expect(report.failed).toBe(0);

  await button('Begin taking readings').click();
  await button('Take one reading').click();
  await page.getByText('1 of 56 attitudes covered').waitFor(LONG);
  expect(complaints).toEqual([]);
});

/** Its link drops, once, when the host says something after the board has written to what it keeps. */
class DroppingBoard extends HostedBoard {
  #hasDropped = false;

  override attach(...given: Parameters<HostedBoard['attach']>): ReturnType<HostedBoard['attach']> {
    const attachment = super.attach(...given);
    const writes = this.board.memoryWrites;
    return {
      ...attachment,
      send: (bytes) => {
        attachment.send(bytes);
        if (this.#hasDropped || this.board.memoryWrites === writes) return;
        this.#hasDropped = true;
        this.board.dropAfter(0);
      },
    };
  }
}

it('cut off with the board changed, a check is finished by a button once the board is linked again', async () => {
  const served = await SocketServer.at(0, [new DroppingBoard(boardFrom(''), realClock)]);
  // as it is served: Chromium lets no page reach a local address whose answers were put in by a test
  const page = await browser.newPage({ viewport: { width: 390, height: 844 } });
  const complaints: string[] = [];
  page.on('pageerror', ({ message }) => complaints.push(message));
  const button = (name: string) => page.getByRole('button', { name, exact: true });
  const idle = () => page.locator('progress').waitFor({ state: 'detached', ...LONG });
  await page.goto(inject('appUrl'));
  await page.getByLabel('Address of a board').fill(served.address(0));
  await button('Link by address').click();
  await button('Begin taking readings').waitFor(LONG);
  await idle();
  await page.locator('summary', { hasText: 'Does it speak the protocol?' }).click();
  await page.getByLabel('Rename it and change a setting').check();
  await button('Check that it speaks the protocol').click();
  await page.getByRole('heading', { name: /The run was cut off/ }).waitFor(LONG);
  await page.getByText('It is not as it was found.').waitFor();
  await idle();

  await button('Put back what was changed').click();
  await page.getByText('It is not as it was found.').waitFor({ state: 'detached', ...LONG });
  await idle();
  expect(await button('Put back what was changed').count()).toBe(0);
  await button('Begin taking readings').waitFor(LONG);
  expect(complaints).toEqual([]);
  await served.end();
});
