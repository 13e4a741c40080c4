import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, inject, it } from 'vitest';
import { boardFrom } from '../../sim/board-line.ts';
import { HostedBoard } from '../../sim/hosted-board.ts';
import { SocketServer } from '../../sim/socket-server.ts';
import { lineWords, rollWords } from '../../src/steps/attitude-words.ts';
import { cubePlanInDegrees } from '../../src/steps/customary-plan.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import { launch } from './chromium.ts';
import { Inspection } from './objections.ts';
import { openPage } from './page.ts';

/** Collecting without looking, and without a hand for the page. */

const LONG = { timeout: 30_000 };

/** Every attitude of the plan by the words that ask for it. Browsers may order lines that are alike otherwise. */
const ATTITUDES = new Map(
  cubePlanInDegrees().sightings.flatMap(({ azimuth, inclination, rolls }) =>
    rolls.map((roll) => [
      `Aim ${lineWords({ azimuth, inclination })}; hold it ${rollWords(roll)}`,
      { azimuth, inclination, roll },
    ]),
  ),
);

/** What the page has asked the browser for: parts of each vibration, notes, and what was to be spoken. */
interface Asked {
  shakes: number[];
  notes: number;
  voice: string[];
}

let browser: Browser;
let boards: SocketServer;
const hosted = new HostedBoard(boardFrom('seed=5'), realClock);
beforeAll(async () => {
  browser = await launch();
  boards = await SocketServer.at(0, [hosted]);
});
afterAll(async () => {
  await browser?.close();
  await boards?.end();
});

const button = (page: Page, name: string) => page.getByRole('button', { name, exact: true });

it('takes reading after reading of a board over a WebSocket with no tap between them: by its trigger, then by themselves', async () => {
  const { page, complaints } = await openPage(browser);
  const taken = (count: number) => page.getByText(`${count} of 56 attitudes covered`).waitFor(LONG);
  /** Holds the board as the screen says. */
  const hold = async () => {
    const words = await page.getByRole('heading', { name: /^Aim .*; hold/ }).innerText();
    const attitude = ATTITUDES.get(words);
    if (!attitude) throw new Error(`the plan has no place in these words: ${words}`);
    await hosted.board.hold(attitude);
  };
  // what the page asks of the browser is asked all the same, and counted
  await page.addInitScript(() => {
    const asked: Asked = ((globalThis as unknown as { asked: Asked }).asked = {
      shakes: [],
      notes: 0,
      voice: [],
    });
    const { vibrate } = navigator;
    navigator.vibrate = (pattern) => {
      asked.shakes.push([pattern].flat().length);
      return vibrate.call(navigator, pattern as number[]);
    };
    const { start } = OscillatorNode.prototype;
    OscillatorNode.prototype.start = function (when) {
      asked.notes++;
      start.call(this, when);
    };
    const speak = speechSynthesis.speak.bind(speechSynthesis);
    speechSynthesis.speak = (said) => {
      asked.voice.push(said.text);
      speak(said);
    };
  });
  await page.goto(inject('appUrl'));
  await page.getByLabel('Address of a board').fill(boards.address(0));
  await button(page, 'Link by address').click();
  await button(page, 'Begin taking readings').click();
  await page.getByText('Held still', { exact: true }).waitFor(LONG);
  await page.getByText('Without looking: sound, voice, readings by themselves').click();
  await page.getByLabel('Take it when held still at the aim').check();
  await page.getByLabel('Held still for').selectOption('1 s');
  await page.getByLabel('A voice, which says what is next too').check();
  await page.getByText('It cannot be taken by itself yet').waitFor();

  for (let i = 0; i < 12; i++) {
    await hold();
    await hosted.board.press();
    await taken(i + 1);
  }
  const { shakes, notes, voice } = await page.evaluate(
    () => (globalThis as unknown as { asked: Asked }).asked,
  );
  // three readings, then the fourth which makes a sighting whole, three times over
  expect(shakes).toEqual([1, 1, 1, 5, 1, 1, 1, 5, 1, 1, 1, 5]);
  expect(notes).toBe(3 * (3 * 1 + 3));
  expect(voice[0]).toBe('Taken. Next: rolled a quarter right.');
  expect(voice[3]).toMatch(/^Sighting complete\. Next: .*35 degrees down, upright\.$/);
  await page.getByText(/^The aim now is worked out from the readings so far/).waitFor(LONG);
  await page.getByText(/±1° is asked/).waitFor(LONG);
  for (let i = 12; i < 14; i++) {
    await hold();
    await taken(i + 1);
  }
  expect(complaints).toEqual([]);
  await page.close();
});

it('teaches collecting with no hardware: a person turns the simulated board with keys to where the words say', async () => {
  const { page, complaints } = await openPage(browser, { width: 390, height: 844 });
  await page.goto(inject('appUrl'));
  await button(page, 'Link the simulated board').click();
  await button(page, 'Begin taking readings').click();
  await page.getByRole('heading', { name: 'Turn it yourself' }).click();
  await button(page, 'I turn it myself').click();
  const pad = page.getByRole('group', { name: 'Turn the board' });
  const word = (name: string) =>
    page.locator('.aim-words div', { hasText: name }).locator('dd').innerText();
  await page.getByText('Held still', { exact: true }).waitFor(LONG);
  expect(await new Inspection(page, 'collecting-view').objections()).toEqual([]);
  expect(await word('Up or down')).toMatch(/^\d+° up$/);
  expect(await word('Roll')).toMatch(/^\d+° left$/);
  await pad.getByRole('button', { name: 'Up', exact: true }).focus();
  for (const key of ['ArrowUp', 'ArrowUp', ...Array<string>(6).fill('ArrowLeft')]) {
    await page.keyboard.press(key);
  }
  for (let i = 0; i < 4; i++)
    await pad.getByRole('button', { name: 'Roll left', exact: true }).click();
  await page.getByText('Held still', { exact: true }).waitFor(LONG);
  await expect.poll(() => word('Roll'), LONG).toMatch(/^(there|[1-4]° (left|right))$/);
  await pad.getByRole('button', { name: 'Press its trigger' }).click();
  await page.getByText('1 of 56 attitudes covered').waitFor(LONG);
  await page
    .getByRole('heading', { name: 'Aim north, level; hold it rolled a quarter right' })
    .waitFor();
  await expect.poll(() => word('Roll'), LONG).toMatch(/^(a quarter|8\d°) right/);
  expect(complaints).toEqual([]);
  await page.close();
});
