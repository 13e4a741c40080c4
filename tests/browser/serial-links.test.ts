import type { Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, inject, test } from 'vitest';
import { build } from 'vite';
import { SimulatedBoard } from '../../firmware-sim/board.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { LinkError, type ByteLink, type LinkListener } from '../../src/protocol/link.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import { byteLinkContract, Ear } from '../transport/contract.ts';
import { PROBE as HELLO } from '../transport/probe.ts';
import type { Outcome, Told } from './serial-page.ts';
import { serialTestbed, type Cable, type SerialTestbed } from './serial-testbed.ts';

/** The board has an earlier test's half a line still in hand: an empty line clears that away. */
const PROBE = { ...HELLO, send: Uint8Array.of(0x0a, ...HELLO.send) };

/** Serial links in Chromium itself, over a terminal that stands in for a USB cable. */

let bed: SerialTestbed;
let page: SerialPageFromOutside;

beforeAll(async () => {
  const boards = [1, 2].map((seed) => new SimulatedBoard({ ...defaultSettings, seed }, realClock));
  const url = `${inject('appUrl')}serial-links`;
  bed = await serialTestbed(url, boards);
  page = await SerialPageFromOutside.open(await bed.context.newPage(), url);
});
afterAll(() => bed?.end());

/** A page that works serial links, as a test sees it. */
class SerialPageFromOutside {
  readonly #listeners = new Map<number, LinkListener>();
  #lastTold = performance.now();
  returns = 0;

  private constructor(readonly page: Page) {}

  static async open(page: Page, url: string): Promise<SerialPageFromOutside> {
    const here = new SerialPageFromOutside(page);
    await page.route(url, (route) =>
      route.fulfill({ contentType: 'text/html', body: '<title>Serial links</title>' }),
    );
    await page.goto(url);
    await page.exposeFunction('told', (told: Told) => here.#hear(told));
    await page.addScriptTag({ content: await program() });
    return here;
  }

  async choose(cable: Cable): Promise<OutsideLink> {
    const link = await this.page.evaluate((product) => serialPage.choose(product), cable.product);
    return new OutsideLink(this, link, await this.state(link));
  }

  state(link: number) {
    return this.page.evaluate((number) => serialPage.state(number), link);
  }

  listen(opening: number, listener: LinkListener): void {
    this.#listeners.set(opening, listener);
  }

  /** Waits until nothing has been told for a while. */
  async quiet(): Promise<void> {
    const began = performance.now();
    while (performance.now() - Math.max(began, this.#lastTold) < QUIET_MS) {
      await new Promise((resolve) => setTimeout(resolve, 20));
      await this.page.evaluate(() => {});
    }
  }

  #hear(told: Told): void {
    this.#lastTold = performance.now();
    if (told.what === 'returned') {
      this.returns++;
      return;
    }
    const listener = this.#listeners.get(told.opening)!;
    if (told.what === 'bytes') listener.bytes(Uint8Array.from(told.bytes));
    else listener.closed(new LinkError(told.cause, told.message));
  }
}

const QUIET_MS = 300;

/** The page's program, built once. */
let built: string | undefined;
async function program(): Promise<string> {
  if (built !== undefined) return built;
  const entry = new URL('./serial-page.ts', import.meta.url).pathname;
  const outcome = await build({
    configFile: false,
    logLevel: 'warn',
    build: { write: false, lib: { entry, formats: ['iife'], name: 'program' } },
  });
  const [{ output }] = outcome as unknown as [{ output: { code: string }[] }];
  return (built = output[0]!.code);
}

/** A link in the page, as the contract wants it. */
class OutsideLink implements ByteLink {
  readonly label: string;

  constructor(
    private readonly outside: SerialPageFromOutside,
    readonly number: number,
    { label }: { label: string },
  ) {
    this.label = label;
  }

  open(listener: LinkListener): Promise<void> {
    const opening = ++openings;
    this.outside.listen(opening, listener);
    return mustGoWell(
      this.outside.page.evaluate(
        ([link, opening]) => serialPage.open(link!, opening!),
        [this.number, opening],
      ),
    );
  }

  write(bytes: Uint8Array): Promise<void> {
    return mustGoWell(
      this.outside.page.evaluate(([link, bytes]) => serialPage.write(link, bytes), [
        this.number,
        [...bytes],
      ] as [number, number[]]),
    );
  }

  close(): Promise<void> {
    return mustGoWell(this.outside.page.evaluate((link) => serialPage.close(link), this.number));
  }
}

let openings = 0;

async function mustGoWell(work: Promise<Outcome>): Promise<void> {
  const outcome = await work;
  if (outcome) throw new LinkError(outcome.cause, outcome.message);
}

describe('in Chromium', () => {
  const inUse = new Set<Cable>();

  byteLinkContract('a serial port', async () => {
    const cable = bed.cables.find((each) => !inUse.has(each))!;
    inUse.add(cable);
    return {
      link: await page.choose(cable),
      probe: PROBE,
      drop: async () => {
        await cable.pull();
        await cable.plugIn();
      },
      run: (work) => work,
      settle: () => page.quiet(),
      end: () => inUse.delete(cable),
    };
  });
});

describe('a serial port in Chromium', () => {
  const linked = async () => {
    const [cable] = bed.cables as [Cable];
    const link = await page.choose(cable);
    const ear = new Ear();
    await link.open(ear);
    const answers = async (heardBy = ear) => {
      const before = heardBy.text.length;
      await link.write(PROBE.send);
      await page.quiet();
      return heardBy.text.slice(before).includes(PROBE.answer);
    };
    return { cable, link, ear, answers };
  };

  test('has DTR and RTS cleared', async () => {
    const before = bed.modemLines().length;
    const { link, answers } = await linked();
    expect(bed.modemLines().slice(before).at(-1)).toBe('dtr=0 rts=0');
    expect(await page.state(link.number)).toMatchObject({ signalsRefused: false });
    expect(await answers()).toBe(true);
    await link.close();
  });

  test('that is announced as gone, but whose stream lives on, is lost; announced again, it comes back', async () => {
    const { cable, link, ear, answers } = await linked();
    await page.page.evaluate((number) => serialPage.watch(number), link.number);
    page.returns = 0;
    await cable.announce('remove');
    await page.quiet();
    expect(ear.endings).toMatchObject([{ cause: 'gone' }]);
    await expect(link.write(PROBE.send)).rejects.toMatchObject({ cause: 'closed' });
    await expect(link.open(new Ear())).rejects.toMatchObject({ cause: 'unreachable' });

    expect(page.returns).toBe(0);
    await cable.announce('add');
    await page.quiet();
    expect(page.returns).toBe(1);
    const later = new Ear();
    await link.open(later);
    expect(await answers(later)).toBe(true);
    await link.close();
  });

  test('that dies unannounced is lost all the same, and opens again once it is there', async () => {
    const { cable, link, ear, answers } = await linked();
    await cable.cut();
    await page.quiet();
    expect(ear.endings).toMatchObject([{ cause: 'gone' }]);
    await expect(link.write(PROBE.send)).rejects.toMatchObject({ cause: 'closed' });
    await cable.makeTerminal();
    const later = new Ear();
    await link.open(later);
    expect(await answers(later)).toBe(true);
    await link.close();
  });

  test('that loses bytes to a break goes on after it, with a mark where they were', async () => {
    const { link, ear, answers } = await linked();
    const { gaps } = await page.state(link.number);
    bed.breakNext();
    await link.write(PROBE.send);
    await page.quiet();
    expect((await page.state(link.number)).gaps).toBe(gaps + 1);
    expect(ear.chunks.flatMap((chunk) => [...chunk])).toContain(0);
    expect(ear.endings).toEqual([]);
    expect(await answers()).toBe(true);
    await link.close();
  });

  test('that the system will not open is tried again, and opens once it can be; else it is in use', async () => {
    const { cable, link, answers } = await linked();
    await link.close();
    await cable.cut();
    await expect(link.open(new Ear())).rejects.toMatchObject({ cause: 'in_use' });
    const ear = new Ear();
    const opening = link.open(ear);
    await cable.makeTerminal();
    await opening;
    expect(await answers(ear)).toBe(true);
    await link.close();
  });

  test('that is pulled with a write under way rejects it', async () => {
    const { cable, link, ear } = await linked();
    cable.stall();
    const flood = page.page.evaluate((number) => serialPage.flood(number), link.number);
    await page.quiet();
    await cable.pull();
    expect(await flood).toMatchObject({ cause: 'gone' });
    expect(ear.endings).toHaveLength(1);
    await cable.plugIn();
    await link.close();
  });
});
