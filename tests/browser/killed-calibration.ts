import type { Page } from 'playwright-core';
import { expect } from 'vitest';
import { VirtualClock } from '../protocol/virtual-clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import { linkBoard, numbersFrom, recallEach, type BoardReading } from '../../src/protocol/board.ts';
import type { Entry, StoredEntry } from '../../src/records/entries.ts';
import { readingsAmong } from '../../src/steps/board-memory.ts';
import { foldHistory } from '../../src/steps/calibration-state.ts';
import { without } from '../../src/steps/copy-without.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { addEntries, makeLogbook, readLogbook, type LogbookAsItLies } from './logbook-by-hand.ts';
import { mortalChromium, type MortalChromium } from './mortal-chromium.ts';
import { watchPages, type PageEvent, type Shown } from './page-watch.ts';

/**
 * A calibration of the simulated board in a real browser that is killed again and again, and what must be so after each
 * time. The profile directory, with the logbook and the simulated board's memory in it, is all that outlives a kill.
 */

/** What is being done when it happens, in the order in which a calibration comes to it. */
export const STEPS = ['linking', 'beginning', 'taking', 'fitting', 'writing', 'proving'] as const;
export type Step = (typeof STEPS)[number];

/**
 * What comes to its end: all of the browser by SIGKILL; the process of the page alone; or the page's workers, the fit and
 * the simulated board, after which a person closes the page.
 */
export type Victim = 'browser' | 'page' | 'workers';

/** When it comes. */
export interface Moment {
  step: Step;
  /** Which write to the database since that step was begun; 0 for its beginning. */
  write: number;
  /** How long after that, milliseconds. */
  delay: number;
  victim: Victim;
}

/** The most writes that are waited for in each step: so many happen each time, or nearly. */
const WRITES: Readonly<Record<Step, number>> = {
  linking: 3,
  beginning: 2,
  taking: 12,
  fitting: 1,
  writing: 8,
  proving: 9,
};

/** A write takes about so long, milliseconds: a kill within that of its beginning falls in its midst, or just after. */
const A_WRITE = 5;
/** A fit takes about so long where it is not the database that takes the time, milliseconds. */
const A_FIT = 1500;

/** One moment for each step given, drawn from the seed. */
export function moments(
  seed: number,
  steps: readonly Step[],
  victim: Victim = 'browser',
): Moment[] {
  const random = randomStream(seed, 'moments');
  return steps.map((step) => {
    // half of the kills during a fit come while the worker computes, and no write is near
    const write = step === 'fitting' && random.uniform() < 0.5 ? 0 : 1 + random.below(WRITES[step]);
    return { step, write, delay: random.between(0, write === 0 ? A_FIT : A_WRITE), victim };
  });
}

/** How a kill fell: whether a write was begun that the database had not said to be done, and whether entries of it are kept. */
export type Fell = 'between writes' | 'in a write, kept' | 'in a write, not kept';

const LONG = { timeout: 30_000 };

export class KilledCalibration {
  #browser: MortalChromium | undefined;
  #page: Page | undefined;
  /** What the screen showed last. */
  #shown: Shown = { readings: [], said: '' };
  /** Every entry of which the database said that it is safe, as JSON, in that order. */
  #safe: string[] = [];
  /** Writes that were begun, and are not known to be done. */
  #open = new Set<number>();
  /** What lay in the logbook when it was last looked at. */
  #before: LogbookAsItLies['entries'] = [];
  #onWrite: () => void = () => {};

  constructor(
    private readonly appUrl: string,
    private readonly profile: string,
  ) {}

  /** Starts the browser. */
  async start(): Promise<void> {
    this.#browser = await mortalChromium(this.profile);
    await watchPages(this.#browser.context, (event) => this.#hear(event));
  }

  /** Puts a logbook into the fresh profile, with what is kept beside it: a calibration that came so far elsewhere. */
  async begin(entries: readonly StoredEntry[], kept: Iterable<[string, unknown]>): Promise<void> {
    const page = await this.browser.blankPage(this.appUrl);
    await makeLogbook(page, kept);
    const own = entries.map((entry) => without(entry, 'number') as Entry);
    await addEntries(page, own);
    this.#before = (await readLogbook(page)).entries;
    await page.close();
  }

  get browser(): MortalChromium {
    if (!this.#browser) throw new Error('the browser was not started');
    return this.#browser;
  }

  get page(): Page {
    if (!this.#page) throw new Error('no page was opened');
    return this.#page;
  }

  async end(): Promise<void> {
    this.#browser?.kill();
    await this.#browser?.gone;
  }

  /**
   * Goes on with the calibration, is killed at this moment, starts again, and sees that everything is there.
   *
   * @returns how it fell
   */
  async dieAt(moment: Moment): Promise<Fell> {
    const isLinkedAgain = moment.step === 'linking' && this.#before.length > 0;
    if (isLinkedAgain) await this.#page?.close();
    else await this.#goOnTo(moment.step);
    const { died, strike, fail } = this.#arm(moment);
    const working = isLinkedAgain ? this.#openApp() : this.#perform(moment.step);
    // a step that came to its end with fewer writes dies at its end; what was being done fails with the victim
    void working.then(strike, fail);
    await died;
    const inWrite = this.#open.size > 0;
    const safe = new Set(this.#safe).size;
    const kept = await this.#seeWhatIsKept();
    if (!inWrite) return 'between writes';
    return kept > safe ? 'in a write, kept' : 'in a write, not kept';
  }

  /** Goes on with the calibration, from whatever is next, to its end. */
  async finish(): Promise<void> {
    for (;;) {
      await this.#openAppUnlessOpen();
      const next = await this.#next();
      if (next === 'done') return;
      await this.#perform(next);
    }
  }

  // What happens at the moment

  /**
   * @returns a promise for when the victim is dead, what makes the moment come at once, and what lets the promise fail,
   *   unless the moment came before
   */
  #arm({ write, delay, victim }: Moment): {
    died: Promise<void>;
    strike: () => void;
    fail: (error: unknown) => void;
  } {
    let strike = () => {};
    let fail: (error: unknown) => void = () => {};
    const died = new Promise<void>((resolve, reject) => {
      const disarm = () => {
        this.#onWrite = () => {};
        strike = () => {};
        fail = () => {};
      };
      strike = () => {
        disarm();
        void this.#kill(victim).then(resolve, reject);
      };
      fail = (error) => {
        disarm();
        reject(error);
      };
    });
    let left = write;
    this.#onWrite = () => {
      left -= 1;
      if (left === 0) setTimeout(() => strike(), delay);
    };
    if (write === 0) setTimeout(() => strike(), delay);
    return { died, strike: () => strike(), fail: (error) => fail(error) };
  }

  async #kill(victim: Victim): Promise<void> {
    const { browser, page } = this;
    if (victim === 'browser') {
      browser.kill();
      await browser.gone;
      this.#browser = undefined;
      this.#page = undefined;
      return;
    }
    if (victim === 'workers') {
      await page.evaluate(() => globalThis.startedWorkers.forEach((each) => each.terminate()));
      await page.close();
      this.#page = undefined;
      return;
    }
    const crashed = page.waitForEvent('crash');
    const session = await browser.context.newCDPSession(page);
    session.send('Page.crash').catch(() => {}); // its answer dies with the page
    await crashed;
    await page.close();
    this.#page = undefined;
  }

  #hear(event: PageEvent): void {
    if (event.what === 'shown') this.#shown = event;
    if (event.what === 'write begun') {
      this.#open.add(event.write);
      this.#onWrite();
    }
    if (event.what === 'write done') {
      this.#open.delete(event.write);
      this.#safe.push(...event.entries);
    }
  }

  // What must be so afterwards

  /** @returns how many entries there are that the pages of this test wrote */
  async #seeWhatIsKept(): Promise<number> {
    if (!this.#browser) await this.start();
    const shown = this.#shown;
    const safe = [...this.#safe];
    this.#open = new Set();

    // before anything works on it again
    const blank = await this.browser.blankPage(this.appUrl);
    const left = await readLogbook(blank);
    await blank.close();
    const written = new Set(this.#mustHoldTogether(left));
    for (const entry of safe) expect(written, 'what the database said is safe').toContain(entry);
    mustHoldWhatWasShown(left.entries, shown);
    const onBoard = await boardsMemory(left);
    const inLogbook = readingsAmong(left.entries);
    expect(onBoard.readings, 'readings of the logbook, on the board').toEqual(
      expect.arrayContaining(inLogbook),
    );
    const history = foldHistory(left.entries);
    const lacking = onBoard.readings.length - inLogbook.length;
    expect(lacking).toBeLessThanOrEqual(history.calibration?.captureBegun ? 1 : 0);
    const { sealBegun } = history.calibration ?? {};
    const generation = lastSealed(left.entries);
    expect([generation, ...(sealBegun ? [sealBegun.replaces + 1] : [])]).toContain(
      onBoard.generation,
    );

    // and when the page has taken the work up again
    if (left.entries.length === 0) return written.size;
    await this.#openApp();
    // the first link was not finished, so that the board is not at the bench yet
    if ((await this.#next()) === 'linking') await this.#perform('linking');
    const now = await readLogbook(this.page);
    this.#safe = this.#mustHoldTogether(now);
    const board = await boardsMemory(now);
    expect(byNumber(readingsAmong(now.entries))).toEqual(byNumber(board.readings));
    const settled = foldHistory(now.entries);
    expect(settled.calibration?.captureBegun).toBeUndefined();
    expect(settled.calibration?.sealBegun).toBeUndefined();
    expect(settled.inForce?.generation ?? 0).toBe(board.generation);
    expect(lastSealed(now.entries)).toBe(board.generation);
    expect((await this.page.getByRole('alert').allInnerTexts()).join('')).toBe('');
    const screen = this.#shown.readings;
    for (const row of shown.readings) {
      const again = screen.find(({ id }) => id === row.id);
      expect(again?.line, `reading ${row.id} on the screen`).toBe(row.line);
      if (row.aside) expect(again?.aside, `reading ${row.id} set aside`).toBe(true);
    }
    expect(screen.map(({ id }) => id)).toEqual(
      (settled.calibration?.readings ?? []).map(({ id }) => id),
    );
    return written.size;
  }

  /**
   * Nothing is doubled; nothing that was there has changed or gone.
   *
   * @returns every entry as it was written, as JSON
   */
  #mustHoldTogether({ entries }: LogbookAsItLies): string[] {
    expect(entries.slice(0, this.#before.length)).toEqual(this.#before);
    this.#before = entries;
    const numbers = readingsAmong(entries).map(({ reading }) => reading);
    expect(numbers).toEqual([...new Set(numbers)]);
    return entries.map((entry) => JSON.stringify(without(entry, 'number')));
  }

  // What a person does

  async #openApp(): Promise<void> {
    this.#page = await this.browser.context.newPage();
    await this.#page.setViewportSize({ width: 1280, height: 900 });
    await this.#page.goto(this.appUrl);
    await this.#page.locator('next-card').waitFor(LONG);
    await this.#idle();
    if (await this.#page.getByRole('button', { name: LINK }).isVisible()) return;
    await this.#page.getByText(/^Linked$/).waitFor(LONG); // by itself, as it was at the bench before
    await this.#idle();
  }

  async #openAppUnlessOpen(): Promise<void> {
    if (!this.#page) await this.#openApp();
  }

  /** Does what comes before a step. */
  async #goOnTo(step: Step): Promise<void> {
    await this.#openAppUnlessOpen();
    for (;;) {
      const next = await this.#next();
      if (next === step) return;
      const isPast = next === 'done' || STEPS.indexOf(next) > STEPS.indexOf(step);
      if (!isPast) await this.#perform(next);
      else if (step === 'fitting' || step === 'writing') {
        await this.#setAside(); // so that there is something to fit again, and to write
        if (step === 'fitting') return;
        await this.#perform('fitting');
      } else throw new Error(`${step} is past: what is next is ${next}`);
    }
  }

  /** What the screen offers next. */
  async #next(): Promise<Step | 'done'> {
    await this.#idle();
    const buttons = this.page.locator('#next .offers button, link-kinds button');
    const labels = (await buttons.allInnerTexts()).map((label) => label.trim());
    const offers = (pattern: RegExp) => labels.some((label) => pattern.test(label));
    if (labels.includes(LINK)) return 'linking';
    if (offers(/^Begin another calibration$/) && !offers(PROVE)) return 'done';
    if (offers(PROVE)) return 'proving';
    if (offers(/^Write to the board…$/)) return 'writing';
    if (offers(/^Begin taking readings$/)) return 'beginning';
    if (offers(/^Fit$/)) return 'fitting';
    if (offers(TAKE)) return 'taking';
    throw new Error(`nothing to go on with among: ${labels.join('; ')}`);
  }

  async #perform(step: Step): Promise<void> {
    const { page } = this;
    const press = (name: string | RegExp) =>
      page.getByRole('button', { name, exact: true }).first().click();
    switch (step) {
      case 'linking':
        await press(LINK);
        await page.getByText(/^Linked$/).waitFor(LONG);
        break;
      case 'beginning':
        await press('Begin taking readings');
        break;
      case 'taking':
        await press(TAKE);
        break;
      case 'fitting':
        await press(/^Fit( again)?$/);
        break;
      case 'writing':
        await press('Write to the board…');
        await press('Stage, check and seal');
        break;
      case 'proving':
        await press(PROVE);
    }
    await this.#idle();
  }

  async #setAside(): Promise<void> {
    const { page } = this;
    const sheet = page.locator('details.sheet', { has: page.locator('readings-view') });
    if ((await sheet.getAttribute('open')) === null) await sheet.locator('summary').first().click();
    const button = sheet.getByRole('button', { name: /^Set aside reading/ }).first();
    await button.click();
    await page.getByRole('button', { name: 'Set it aside' }).click();
    await page
      .getByRole('button', { name: /^Fit( again)?$/ })
      .first()
      .waitFor();
  }

  async #idle(): Promise<void> {
    await this.page.locator('progress').waitFor({ state: 'detached', ...LONG });
  }
}

const LINK = 'Link the simulated board';
const TAKE = /^Take (all \d+|the other \d+|the last)$/;
const PROVE =
  /^(Take \d+ fresh readings|Work out the proof|Take the proof again|Close the calibration)$/;

function mustHoldWhatWasShown(entries: readonly StoredEntry[], { readings, said }: Shown): void {
  const ids = entries.flatMap((entry) => (entry.kind === 'reading' ? [entry.id] : []));
  for (const { id } of readings) expect(ids, 'readings that were on the screen').toContain(id);
  const told = /^Reading (\d+) taken/.exec(said)?.[1];
  const numbers = readingsAmong(entries).map(({ reading }) => reading);
  if (told !== undefined) expect(numbers, said).toContain(Number(told));
  const kind = TOLD.find(([words]) => words.test(said))?.[1];
  if (kind)
    expect(
      entries.map((entry) => entry.kind),
      said,
    ).toContain(kind);
}

/** What the screen says when something is done, and the entry that must be in the logbook by then. */
const TOLD: readonly [RegExp, StoredEntry['kind']][] = [
  [/^Calibration begun/, 'calibration started'],
  [/^The fit is done/, 'fit'],
  [/^Sealed, and read back/, 'sealed'],
  [/^The proof/, 'proof'],
  [/^The calibration is closed/, 'calibration ended'],
];

/** The generation that the logbook says the board runs. */
const lastSealed = (entries: readonly StoredEntry[]): number =>
  entries.reduce((last, entry) => (entry.kind === 'sealed' ? entry.generation : last), 0);

const byNumber = (readings: readonly BoardReading[]) =>
  [...readings].sort((a, b) => a.reading - b.reading);

/** Switches on a board with the memory that was kept, and asks it, as any host would. */
async function boardsMemory({
  memories,
}: LogbookAsItLies): Promise<{ readings: readonly BoardReading[]; generation: number }> {
  const [saved] = memories.values();
  if (!saved) return { readings: [], generation: 0 };
  const clock = new VirtualClock();
  const { link } = inProcessBoard(defaultSettings, clock, { saved });
  const asking = async () => {
    const board = await linkBoard(link, {
      clock,
      random: () => 0.5,
      onReading: () => {},
      onTrouble: (error) => expect.fail(error.message),
      onLost: (error) => expect.fail(error.message),
    });
    const { first, last, count } = await board.memory();
    const numbers = count === 0 ? [] : numbersFrom(first, last);
    const readings: BoardReading[] = [];
    const senseless = (_: number, error: Error) => expect.fail(error.message);
    for await (const reading of recallEach(board, numbers, senseless)) readings.push(reading);
    const generation = (await board.coefficients('in_force'))?.generation ?? 0;
    return { readings, generation };
  };
  return clock.until(asking());
}
