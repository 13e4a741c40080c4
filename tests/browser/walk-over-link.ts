import type { Page } from 'playwright-core';
import { expect } from 'vitest';
import type { SimulatedBoard } from '../../firmware-sim/board.ts';
import { lineWords, rollWords } from '../../src/steps/attitude-words.ts';
import { cubePlanInDegrees } from '../../src/steps/customary-plan.ts';

/**
 * A whole calibration in the page on a board that is not in it, over a real link which breaks in the midst of a reading
 * and after the seal. The test is the hand that holds the board as the screen says, and presses its trigger.
 */

/** A board at the far end of a link, new and empty. */
export interface FarBoard {
  board: SimulatedBoard;
  /** The words of the button that links it. */
  offer: string;
  /** The link, which the board dropped, can be had again. */
  comeBack(): Promise<void>;
}

const LONG = { timeout: 60_000 };
const READINGS = 56;

/** Every attitude of the plan by the words that ask for it. */
const ATTITUDES = new Map(
  cubePlanInDegrees().sightings.flatMap(({ azimuth, inclination, rolls }) =>
    rolls.map((roll) => [
      `Aim ${lineWords({ azimuth, inclination })}; hold it ${rollWords(roll)}`,
      { azimuth, inclination, roll },
    ]),
  ),
);

export async function walkOverLink(page: Page, url: string, far: FarBoard): Promise<void> {
  const { board } = far;
  const button = (name: string | RegExp) => page.getByRole('button', { name, exact: true });
  const aim = page.locator('summary', { hasText: 'The aim wanted, the aim now' });
  const idle = () => page.locator('progress').waitFor({ state: 'detached', ...LONG });
  const press = async (name: string | RegExp) => {
    await button(name).first().click();
    await idle();
  };
  const covered = (count: number) =>
    page.getByText(`${count} of ${READINGS} attitudes covered`).waitFor(LONG);
  const lost = () => page.getByRole('heading', { name: 'Link the board again' }).waitFor(LONG);
  /** Holds the board as the screen says. */
  const hold = async () => {
    const words = await page.getByRole('heading', { name: /^Aim / }).innerText();
    const attitude = ATTITUDES.get(words);
    if (!attitude) throw new Error(`the plan has no place in these words: ${words}`);
    await board.hold(attitude);
  };
  const readings = async () => {
    const rows = page.locator('table.readings tbody tr');
    const ids = await rows.evaluateAll((all) => all.map((row) => row.children[0]!.textContent));
    return ids.map((id) => parseInt(id!, 10)).sort((a, b) => a - b);
  };
  const numbers = (count: number) => Array.from({ length: count }, (_, i) => i + 1);

  await page.goto(url);
  await press(far.offer);
  await press('Begin taking readings');
  // nobody looks behind a closed sheet how the board is held: by the third reading every look has been answered
  await aim.click();

  for (let taken = 1; taken <= 4; taken++) {
    await hold();
    if (taken === 3) {
      // it is the reading that is torn, and not a look
      board.dropAfter(TORN);
      await button('Take this reading').click();
      await lost();
      expect(await readings()).toEqual(numbers(2));
      await far.comeBack(); // and nobody presses anything
      await aim.click(LONG);
    } else {
      await press('Take this reading');
    }
    await covered(taken);
    await button('Take this reading').waitFor(LONG);
    await idle();
  }
  expect(await readings()).toEqual(numbers(4));

  for (let taken = 5; taken <= READINGS; taken++) {
    await hold();
    await board.press();
    await covered(taken);
  }
  await press('Fit');
  await page.getByRole('heading', { name: 'Good enough: write it to the board' }).waitFor();
  await button('Write to the board…').click();
  await press('Stage, check and seal');
  await page.getByText('Read back and compared').waitFor(LONG);

  board.dropAfter(0);
  await lost();
  await far.comeBack();
  await button('Take this fresh reading').waitFor(LONG);
  await idle();
  expect(await readings()).toEqual(numbers(READINGS));
  expect(await page.locator('body').innerText()).toMatch(/Generation 1 in place of none/);
}

/** Bytes carried before the link drops: the request for a reading is through, and its answer torn inside the line. */
const TORN = 200;
