import { afterAll, beforeAll, expect, inject, test } from 'vitest';
import { SimulatedBoard } from '../../firmware-sim/board.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import { serialTestbed, type SerialTestbed } from './serial-testbed.ts';
import { walkOverLink } from './walk-over-link.ts';

let bed: SerialTestbed;
const board = new SimulatedBoard(defaultSettings, realClock, { build: { captureMs: 50 } });
beforeAll(async () => {
  bed = await serialTestbed(inject('appUrl'), [board]);
});
afterAll(() => bed?.end());

test('a board on a USB cable is calibrated; unplugged in the midst of a reading and after the seal, nothing is lost or doubled', async () => {
  const [cable] = bed.cables;
  const page = await bed.context.newPage();
  const complaints: string[] = [];
  page.on('console', (message) => {
    if (message.type() === 'error') complaints.push(message.text());
  });
  page.on('pageerror', (error) => complaints.push(String(error)));

  await walkOverLink(page, inject('appUrl'), {
    board,
    offer: 'Link by USB cable',
    comeBack: () => cable!.plugIn(),
  });

  // After a reload the browser gives the port back, and the bench finds its board behind it.
  await page.reload();
  await page.getByRole('button', { name: 'Take this fresh reading', exact: true }).waitFor();
  expect(complaints).toEqual([]);
});
