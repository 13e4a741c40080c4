import { execFileSync, spawn, type ChildProcessByStdio } from 'node:child_process';
import { once } from 'node:events';
import {
  closeSync,
  constants,
  existsSync,
  mkdirSync,
  mkdtempSync,
  openSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import type { Readable, Writable } from 'node:stream';
import { chromium, type BrowserContext } from 'playwright-core';
import type { Port, SimulatedBoard } from '../../firmware-sim/board.ts';
import { CHROMIUM_ARGUMENTS, findChromium } from './chromium.ts';
import { needDebian } from './debian.ts';
import type {} from './serial-page.ts';

/**
 * Simulated boards on USB cables, for Chromium's own Web Serial: each has a pseudo-terminal (socat), which a USB bus
 * that is not there (umockdev) shows to that Chromium alone as the serial port of a board. No port of the machine is
 * touched, nor seen.
 */
export interface SerialTestbed {
  context: BrowserContext;
  /** One cable for each board, in their order. */
  cables: readonly Cable[];
  /** Every state of DTR and RTS that was set on any port, in order: "dtr=0 rts=0". */
  modemLines(): string[];
  /** The next bytes from any board have a break before them. */
  breakNext(): void;
  end(): Promise<void>;
}

/** USB identities that are free for private tests (pid.codes, 1209:0001 to 1209:0010), one for each board. */
const VENDOR = 0x1209;
const FIRST_PRODUCT = 0x0001;

/**
 * Starts Chromium on such a machine, with the boards plugged in.
 *
 * @param url of the page that may use them: the permission is written into the profile, since the chooser of a browser
 *   without a window cannot be answered
 * @throws Error which says what this machine lacks
 */
export async function serialTestbed(
  url: string,
  boards: readonly SimulatedBoard[],
): Promise<SerialTestbed> {
  needDebian({
    socat: '/usr/bin/socat',
    umockdev: '/usr/bin/umockdev-run',
    gcc: '/usr/bin/gcc',
    'libc6-dev': '/usr/include/stdio.h',
  });
  const folder = mkdtempSync(join(tmpdir(), 'lodebench-serial-'));
  const at = (name: string) => join(folder, name);
  compile('serial-usb.c', at('serial-usb'), '-l:libumockdev.so.0', '-l:libgobject-2.0.so.0');
  compile('serial-modem.c', at('serial-modem.so'), '-shared', '-fPIC', '-ldl');

  /** What was begun and must be ended, the last first. */
  const begun: (() => Promise<void>)[] = [async () => rmSync(folder, { recursive: true })];
  const end = async () => {
    for (const endOne of begun.splice(0).reverse()) await endOne();
  };
  try {
    const bus = await startBus(
      folder,
      boards.map((_, n) => device(n, at(`port${n}`))),
    );
    begun.push(() => bus.end());
    const cables = boards.map(
      (board, n) => new Cable(board, FIRST_PRODUCT + n, at(`port${n}`), bus.event(n)),
    );
    for (const cable of cables) {
      begun.push(() => cable.cut());
      await cable.makeTerminal();
    }
    mkdirSync(at('profile/Default'), { recursive: true });
    writeFileSync(
      at('profile/Default/Preferences'),
      JSON.stringify(permission(url, boards.length)),
    );
    const context = await chromium.launchPersistentContext(at('profile'), {
      executablePath: findChromium(),
      args: CHROMIUM_ARGUMENTS,
      env: {
        ...process.env,
        UMOCKDEV_DIR: bus.root,
        LD_PRELOAD: `${at('serial-modem.so')}:${PRELOAD}`,
        MODEM_LOG: at('modem.log'),
        MODEM_BREAK: at('break'),
      },
    });
    begun.push(() => context.close());
    await context.addInitScript(chooseWithoutAsking);
    await mustSeePorts(context, url, boards.length);
    const log = at('modem.log');
    return {
      context,
      cables,
      modemLines: () => (existsSync(log) ? readFileSync(log, 'utf8').trim().split('\n') : []),
      breakNext: () => writeFileSync(at('break'), ''),
      end,
    };
  } catch (error) {
    await end();
    throw error;
  }
}

/** The one thing not real, run in the page: the person's choice. Chromium still decides what may be chosen. */
function chooseWithoutAsking(): void {
  Serial.prototype.requestPort = async function () {
    const wanted = globalThis.productToChoose;
    const port = (await this.getPorts()).find(
      (each) => wanted === undefined || each.getInfo().usbProductId === wanted,
    );
    if (!port) throw new DOMException('No port selected by the user.', 'NotFoundError');
    return port;
  };
}

/** @throws Error where Chromium lists other ports than those of the boards */
async function mustSeePorts(context: BrowserContext, url: string, boards: number): Promise<void> {
  const page = await context.newPage();
  await page.route(url, (route) => route.fulfill({ contentType: 'text/html', body: '' }));
  await page.goto(url);
  const seen = await page.evaluate(async () => (await navigator.serial.getPorts()).length);
  await page.close();
  if (seen !== boards) {
    throw new Error(
      `Chromium lists ${seen} serial ports and not the ${boards} of this test: either ${PRELOAD} was not loaded into it, or its Preferences were not read.`,
    );
  }
}

const PRELOAD = 'libumockdev-preload.so.0';

/** A cable between a board and the browser's machine. */
export class Cable {
  #socat: ChildProcessByStdio<Writable, Readable, null> | undefined;
  #port: Port | undefined;
  #held = -1;
  #pulling: Promise<void> = Promise.resolve();

  constructor(
    readonly board: SimulatedBoard,
    /** Its USB product. */
    readonly product: number,
    private readonly path: string,
    /** The system announces that it is there, or gone. */
    readonly announce: (action: 'add' | 'remove') => Promise<void>,
  ) {}

  /** Plugs the cable in: the board has a new terminal, and the system announces it. */
  async plugIn(): Promise<void> {
    await this.#pulling;
    await this.makeTerminal();
    await this.announce('add');
  }

  /** Pulls the cable: the terminal hangs up, and the system announces that. */
  async pull(): Promise<void> {
    await this.cut();
    await this.announce('remove');
  }

  /** From now on the board takes no bytes, until the cable is pulled. */
  stall(): void {
    this.#socat!.stdout.pause();
  }

  /** The terminal hangs up, and the system says nothing of it. */
  async cut(): Promise<void> {
    const socat = this.#socat;
    if (!socat) return;
    this.#socat = undefined;
    this.#port?.close();
    closeSync(this.#held);
    const gone = once(socat, 'exit');
    socat.kill();
    await gone;
  }

  /** A terminal of the board, of which the system says nothing. */
  async makeTerminal(): Promise<void> {
    const socat = spawn('socat', ['-', `PTY,link=${this.path},rawer`], {
      stdio: ['pipe', 'pipe', 'inherit'],
    });
    this.#socat = socat;
    while (!existsSync(this.path)) {
      if (socat.exitCode !== null) throw new Error(`socat made no terminal at ${this.path}`);
      await new Promise((resolve) => setTimeout(resolve, 10));
    }
    // Held open, since socat takes a terminal that nobody has open for one that was hung up.
    this.#held = openSync(this.path, constants.O_RDWR | constants.O_NOCTTY);
    const port = this.board.connect({
      bytes: (chunk) => void socat.stdin.write(chunk),
      closed: () => void (this.#pulling = this.pull()), // the board dropped it
    });
    this.#port = port;
    socat.stdout.on('data', (bytes: Uint8Array) => {
      if (this.#socat !== socat) return; // it was in the cable when that was pulled
      // a terminal joins what was written in pieces: the board takes no more at a time than it declares
      for (let at = 0; at < bytes.length; at += CHUNK) port.send(bytes.slice(at, at + CHUNK));
    });
  }
}

const CHUNK = 64;

function compile(source: string, program: string, ...options: string[]): void {
  const path = join(import.meta.dirname, source);
  execFileSync('gcc', ['-O1', '-Wall', '-o', program, path, ...options], { stdio: 'inherit' });
}

const busPath = (n: number) => `/devices/lodebench/usb1/1-${n + 1}/1-${n + 1}:1.0/tty/ttyACM${n}`;
const serialNumber = (n: number) => `TEST${n}`;
const hex = (id: number) => id.toString(16).padStart(4, '0');

/** One serial port on USB, in umockdev's format. */
function device(n: number, path: string): string {
  const { major, minor } = serialDriver();
  return `P: ${busPath(n)}
E: DEVNAME=${path}
E: SUBSYSTEM=tty
E: MAJOR=${major}
E: MINOR=${minor}
E: ID_BUS=usb
E: ID_VENDOR_ID=${hex(VENDOR)}
E: ID_MODEL_ID=${hex(FIRST_PRODUCT + n)}
E: ID_MODEL_ENC=Simulated\\x20board
E: ID_SERIAL_SHORT=${serialNumber(n)}
A: dev=${major}:${minor}\\n
`;
}

/** Chromium takes for serial ports only devices of a driver that the kernel calls serial. */
function serialDriver(): { major: string; minor: string } {
  const drivers = readFileSync('/proc/tty/drivers', 'utf8');
  const serial = /^\S+ +\S+ +(\d+) +(\d+)\S* +serial\b/m.exec(drivers);
  if (!serial) {
    throw new Error(
      'Missing on this machine, and needed by this test: a serial driver in the kernel (/proc/tty/drivers names none)',
    );
  }
  return { major: serial[1]!, minor: serial[2]! };
}

async function startBus(folder: string, devices: readonly string[]) {
  const description = join(folder, 'devices.umockdev');
  writeFileSync(description, devices.join('\n'));
  const bus = spawn(join(folder, 'serial-usb'), [description], {
    stdio: ['pipe', 'pipe', 'inherit'],
    env: { ...process.env, LD_PRELOAD: PRELOAD },
  });
  const lines = createInterface({ input: bus.stdout })[Symbol.asyncIterator]();
  const next = async () => {
    const { value, done } = await lines.next();
    if (done) throw new Error('umockdev stopped');
    return value;
  };
  return {
    root: await next(),
    event: (n: number) => async (action: 'add' | 'remove') => {
      bus.stdin.write(`${action} /sys${busPath(n)}\n`);
      await next();
    },
    async end() {
      const gone = once(bus, 'exit');
      bus.stdin.end();
      await gone;
    },
  };
}

/** A profile in which a person has let the page use the boards. */
function permission(url: string, boards: number) {
  const chosen = Array.from({ length: boards }, (_, n) => ({
    name: 'Simulated board',
    vendor_id: VENDOR,
    product_id: FIRST_PRODUCT + n,
    serial_number: serialNumber(n),
  }));
  const pattern = `${new URL(url).origin},*`;
  const exceptions = {
    serial_chooser_data: { [pattern]: { setting: { 'chosen-objects': chosen } } },
  };
  return { profile: { content_settings: { exceptions } } };
}
