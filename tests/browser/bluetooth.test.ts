import { fileURLToPath } from 'node:url';
import { chromium, type Browser, type Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, inject, test } from 'vitest';
import { build, type Rolldown } from 'vite';
import { SimulatedBoard } from '../../firmware-sim/board.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { BOARD_UART, COMMON_UART } from '../../src/transport/gatt-services.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import { BluetoothChooser } from './bluetooth-chooser.ts';
import { BluetoothDaemon, type FakeBoard } from './bluetooth-daemon.ts';
import { CHROMIUM_ARGUMENTS, findChromium } from './chromium.ts';
import { openPage } from './page.ts';
import { walkOverLink } from './walk-over-link.ts';

/** The link over Chromium's own Web Bluetooth, to simulated boards behind a Bluetooth daemon of the tests' own. */

/** How long a poll goes on: more than a connection takes to end. */
const WHILE = { timeout: 10_000 };

let daemon: BluetoothDaemon;
let browser: Browser;
beforeAll(async () => {
  daemon = await BluetoothDaemon.start();
  browser = await launchWith('--enable-features=WebBluetooth');
});
afterAll(async () => {
  await browser?.close();
  await daemon?.stop();
});

describe('the link by itself', () => {
  let script: string;
  let page: Page;
  let chooser: BluetoothChooser;
  let number = 0;
  let board: FakeBoard;

  beforeAll(async () => {
    const built = (await build({
      configFile: false,
      logLevel: 'warn',
      build: {
        write: false,
        target: 'es2022',
        lib: { entry: at('./bluetooth-page.ts'), formats: ['es'] },
      },
    })) as Rolldown.RolldownOutput[];
    script = built[0]!.output[0].code;
  });

  beforeEach(async () => {
    const name = `board ${++number}`;
    const far = new SimulatedBoard(defaultSettings, realClock, { build: { chunk: 64 } });
    board = daemon.add({ name, uart: number % 2 ? BOARD_UART : COMMON_UART, far });
    page = await openLinkPage(browser);
    chooser = await BluetoothChooser.of(page);
    chooser.pick = name;
  });
  const openLinkPage = async (browser: Browser) => {
    const page = await browser.newPage();
    await page.route('**/bluetooth-page', (route) =>
      route.fulfill({
        contentType: 'text/html',
        body: `<button>Choose</button><script type="module">${script}</script>`,
      }),
    );
    await page.goto(new URL('bluetooth-page', inject('appUrl')).href);
    return page;
  };
  afterEach(() => page.close());

  const chooseOn = async (page: Page) => {
    await page.click('button'); // the chooser wants a person's own tap
    return page.evaluate(() => bluetoothPage.chosen);
  };
  const choose = () => chooseOn(page);
  const open = () => page.evaluate(() => bluetoothPage.open());
  const write = (length: number) => page.evaluate((n) => bluetoothPage.write(n), length);
  const endings = () => page.evaluate(() => bluetoothPage.endings);

  test('opens, writes and closes, again at once, and leaves nothing connected', async () => {
    expect(await page.evaluate(() => bluetoothPage.missing())).toBe('nothing');
    expect(await choose()).toBe('done');
    for (let round = 1; round <= 2; round++) {
      expect(await open()).toBe('done');
      expect(await write(20)).toBe('done');
      expect(board).toMatchObject({ connections: round, subscriptions: round });
      await page.evaluate(() => bluetoothPage.close());
    }
    await expect.poll(() => board.isConnected, WHILE).toBe(false);
    expect(board.writes).toEqual(Array(2).fill({ length: 20, kind: 'request' }));
    expect(await endings()).toEqual([]);
  });

  test('a chooser closed without a choice is no failure', async () => {
    chooser.pick = undefined;
    expect(await choose()).toMatch(/^none_chosen: /);
    expect(chooser.opened).toBe(1);
  });

  test('a board that refuses the connection is unreachable, and can be opened later', async () => {
    board.refusing.connect = 'org.bluez.Error.Failed';
    expect(await choose()).toBe('done');
    expect(await open()).toMatch(/^unreachable: /);
    delete board.refusing.connect;
    expect(await open()).toBe('done');
  });

  test('a write that the board refuses fails with the system’s words', async () => {
    expect(await choose()).toBe('done');
    expect(await open()).toBe('done');
    board.refusing.write = 'org.bluez.Error.NotPermitted';
    expect(await write(1)).toMatch(/^failed: .*GATT/);
  });

  test('a board that is lost is gone, and opens again', async () => {
    expect(await choose()).toBe('done');
    expect(await open()).toBe('done');
    board.drop();
    await expect.poll(endings, WHILE).toEqual(['gone']);
    expect(await write(20)).toMatch(/^closed: /);
    expect(await open()).toBe('done');
    expect(await write(20)).toBe('done');
  });

  test('lost in the midst of a write, the board is gone; it opens again, or the page says why not and a reload cures it', async () => {
    expect(await choose()).toBe('done');
    expect(await open()).toBe('done');
    board.dropsAtWrite = true;
    expect(await write(20)).toMatch(/^gone: /);
    await expect.poll(endings, WHILE).toEqual(['gone']);
    // Chromium 156 on Linux answers nothing of Bluetooth in this page any more, or only whether there is a radio.
    expect(await open()).toMatch(
      /^done$|^failed: .*reload the page$|^unreachable: the Bluetooth board does not answer: /,
    );
    await page.reload();
    expect(await choose()).toBe('done');
    expect(await open()).toBe('done');
    expect(await write(20)).toBe('done');
  });

  test('a radio taken out of the machine is said to be so, before choosing, in the chooser and when opening', async () => {
    expect(await choose()).toBe('done');
    daemon.plug(false);
    try {
      await expect
        .poll(() => page.evaluate(() => bluetoothPage.missing()), WHILE)
        .toBe('switched_off');
      expect(await choose()).toMatch(/^switched_off: /);
      expect(await open()).toMatch(/^switched_off: /);
    } finally {
      daemon.plug(true);
    }
    await expect.poll(() => page.evaluate(() => bluetoothPage.missing()), WHILE).toBe('nothing');
    expect(await choose()).toBe('done');
    expect(await open()).toBe('done');
  });

  test('a radio that is switched off in the midst of work: the link is gone, and opens when it is on again', async () => {
    expect(await choose()).toBe('done');
    expect(await open()).toBe('done');
    daemon.power(false);
    try {
      await expect.poll(endings, WHILE).toEqual(['gone']);
      expect(await open()).toMatch(/^unreachable: /);
    } finally {
      daemon.power(true);
    }
    expect(await open()).toBe('done');
  });

  test('where the browser can watch and remember, a board that is back in reach is noticed, and given back after a reload', async () => {
    // Chromium keeps both behind flags, and tells of advertisements here only from a radio of its own making.
    const features = 'WebBluetooth,WebBluetoothNewPermissionsBackend';
    const calls = 'WebBluetoothGetDevices,WebBluetoothWatchAdvertisements';
    const able = await launchWith(
      `--enable-features=${features}`,
      `--enable-blink-features=${calls}`,
    );
    try {
      const radio = await able.newBrowserCDPSession();
      const address = '09:09:09:09:09:09';
      const uuids = [BOARD_UART.service];
      await radio.send('BluetoothEmulation.enable', { state: 'powered-on', leSupported: true });
      await radio.send('BluetoothEmulation.simulatePreconnectedPeripheral', {
        address,
        name: '',
        manufacturerData: [],
        knownServiceUuids: uuids,
      });
      const page = await openLinkPage(able);
      (await BluetoothChooser.of(page)).pick = '';
      expect(await chooseOn(page)).toBe('done');
      const returns = () => page.evaluate(() => bluetoothPage.returns);
      expect(await returns()).toBe(0);
      const scanRecord = { uuids, appearance: 0, txPower: 0, manufacturerData: [] };
      await expect
        .poll(async () => {
          const entry = { deviceAddress: address, rssi: -50, scanRecord };
          await radio.send('BluetoothEmulation.simulateAdvertisement', { entry });
          return returns();
        }, WHILE)
        .toBe(1);
      await page.reload();
      expect(await page.evaluate(() => bluetoothPage.permitted())).toBe(1);
    } finally {
      await able.close();
    }
  });
});

test('in the app, a board is calibrated over Bluetooth; lost in the midst of a reading and after the seal, nothing is lost or doubled', async () => {
  const board = new SimulatedBoard(defaultSettings, realClock, {
    build: { captureMs: 50, chunk: 100 },
  });
  const name = 'board of the walk';
  const far = daemon.add({ name, uart: BOARD_UART, far: board });
  const { page, complaints } = await openPage(browser, { width: 1280, height: 900 });
  const chooser = await BluetoothChooser.of(page);

  // The person says no: that is no failure, and Bluetooth is offered as before.
  await page.goto(inject('appUrl'));
  await page.getByRole('button', { name: 'Link by Bluetooth' }).click();
  await page.getByText('The list was closed without choosing a board.').waitFor();
  const words = await page.locator('#next').innerText();
  expect(words).toContain('Nothing was sent to any board, and what is recorded is safe.');
  expect(words).not.toMatch(/fail|error|lost|refused/i);
  expect(chooser.opened).toBe(1);

  chooser.pick = name;
  far.staysAway = true;
  await walkOverLink(page, inject('appUrl'), {
    board,
    offer: 'Link by Bluetooth',
    async comeBack() {
      if (!far.staysAway) return; // the second time it comes back by itself
      await page.getByText('Link it again when').waitFor();
      far.comeBack();
      await page.getByRole('button', { name: 'Link again' }).click();
    },
  });
  expect(Math.max(...far.writes.map(({ length }) => length))).toBe(100);
  expect(far.connections).toBe(3);
  expect(complaints).toEqual([]);
  await page.close();
});

/** A browser that takes the tests' daemon for the system's. */
function launchWith(...flags: string[]): Promise<Browser> {
  return chromium.launch({
    executablePath: findChromium(),
    args: [...CHROMIUM_ARGUMENTS, ...flags],
    env: { ...process.env, ...daemon.environment },
  });
}

function at(file: string): string {
  return fileURLToPath(new URL(file, import.meta.url));
}
