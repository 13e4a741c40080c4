import type { SerialPort } from 'serialport';
import { LinkError, type ByteLink, type LinkCause, type LinkListener } from '../protocol/link.ts';
import { realClock } from './real-clock.ts';

/** A link over a serial port of this machine, for Node alone: it uses the npm package `serialport`. */

export interface SerialPortOptions {
  /** Bits a second; 115200 unless told. Has no meaning on a native USB port. */
  baud?: number;
  /**
   * Keep DTR and RTS set. They are cleared unless told, since many boards wire them to their reset; a few USB boards say
   * nothing without.
   */
  keepSignals?: boolean;
}

/** A serial port that this machine has. */
export interface ListedPort {
  path: string;
  maker?: string;
  /** Serial number of the USB adapter, which need not be the board's. */
  usbSerial?: string;
}

/** After a link ended, its port may take a moment to be there again: how long each further try waits, milliseconds. */
const REOPENING_MS = [250, 500, 750];

/** How often an open port is looked at, milliseconds. */
const WATCH_MS = 250;

/** @param path such as `/dev/ttyUSB0` or `COM3` */
export function serialPortLink(path: string, options: SerialPortOptions = {}): ByteLink {
  return new SerialPortLink(path, options);
}

/**
 * The serial ports of this machine, as far as the system lists them: pseudo-terminals are missing.
 *
 * @throws LinkError
 */
export async function listSerialPorts(): Promise<ListedPort[]> {
  const ports = await (await serialPorts()).list();
  return ports.map(({ path, manufacturer, serialNumber }) => ({
    path,
    ...(manufacturer !== undefined && { maker: manufacturer }),
    ...(serialNumber !== undefined && { usbSerial: serialNumber }),
  }));
}

/** The package, loaded when it is first needed: it brings a program of its own for each kind of machine. */
async function serialPorts(): Promise<typeof SerialPort> {
  try {
    return (await import('serialport')).SerialPort;
  } catch (error) {
    throw new LinkError('unsupported', `serial ports cannot be had here: ${messageOf(error)}`);
  }
}

class SerialPortLink implements ByteLink {
  readonly label: string;
  /** Another for each opening, from its beginning until the link has ended. */
  #opening: object | undefined;
  /** Set while the link is open. */
  #port: SerialPort | undefined;
  /** It was open before. */
  #wasOpen = false;
  /** Ends the waiting of each call that was not called back yet. */
  readonly #waiting = new Set<() => void>();

  constructor(
    private readonly path: string,
    private readonly options: SerialPortOptions,
  ) {
    this.label = `serial port ${path}`;
  }

  async open(listener: LinkListener): Promise<void> {
    if (this.#opening) throw new LinkError('in_use', 'the link is open already');
    const opening = {};
    this.#opening = opening;
    let port: SerialPort;
    try {
      port = await this.#opened(opening);
    } catch (error) {
      if (this.#opening === opening) this.#opening = undefined;
      throw error;
    }
    if (this.#opening !== opening) {
      await closed(port);
      throw closedMeanwhile();
    }
    this.#port = port;
    this.#wasOpen = true;
    port.on('data', (chunk: Buffer) => {
      if (this.#port === port) listener.bytes(Uint8Array.from(chunk)); // its pool is used again
    });
    port.on('close', (end: Error | null) => this.#gone(port, listener, end?.message));
    this.#watch(port, listener);
    // Without a listener it would end the process; what it means for the link, `close` and `write` tell.
    port.on('error', () => {});
  }

  /** The port ended by itself. */
  #gone(port: SerialPort, listener: LinkListener, why = ''): void {
    if (this.#port !== port) return;
    this.#port = undefined;
    this.#opening = undefined;
    this.#giveUp();
    const reason = `the serial port is not there any more${why === '' ? '' : ` (${why})`}`;
    listener.closed(new LinkError('gone', reason));
  }

  /**
   * Asks the system now and then whether the port is there: on Linux the package may take one that was unplugged for one
   * that has nothing to say, and ask it again and again.
   */
  #watch(port: SerialPort, listener: LinkListener): void {
    if (process.platform !== 'linux') return;
    realClock.after(WATCH_MS, () => {
      if (this.#port !== port || !port.port) return;
      port.port.getBaudRate().then(
        () => this.#watch(port, listener),
        (error: unknown) => {
          this.#gone(port, listener, messageOf(error));
          closed(port).catch(() => {}); // its end was told already
        },
      );
    });
  }

  async write(bytes: Uint8Array): Promise<void> {
    const port = this.#port;
    if (!port?.isOpen) throw new LinkError('closed', 'the link is closed');
    try {
      await this.#whileOpen((done) => port.write(Buffer.from(bytes), done));
    } catch (error) {
      if (error instanceof LinkError) throw error;
      if (!port.isOpen) throw ended();
      throw new LinkError('failed', `the serial port took nothing: ${messageOf(error)}`);
    }
  }

  async close(): Promise<void> {
    const port = this.#port;
    this.#port = undefined;
    this.#opening = undefined;
    this.#giveUp();
    if (port) await closed(port);
  }

  /** Awaits a call, which a port that is closed or unplugged may never call back. */
  async #whileOpen(call: Parameters<typeof settled>[0]): Promise<void> {
    let giveUp!: () => void;
    const end = new Promise<never>((_, reject) => (giveUp = () => reject(ended())));
    this.#waiting.add(giveUp);
    try {
      await Promise.race([settled(call), end]);
    } finally {
      this.#waiting.delete(giveUp);
    }
  }

  #giveUp(): void {
    for (const giveUp of this.#waiting) giveUp();
  }

  /** Opens the port for this opening, and tries no more once that was closed. */
  async #opened(opening: object): Promise<SerialPort> {
    const waits = this.#wasOpen ? [...REOPENING_MS] : [];
    for (;;) {
      try {
        return await this.#openOnce();
      } catch (error) {
        const wait = waits.shift();
        if (wait === undefined) throw error;
        await new Promise<void>((resolve) => void realClock.after(wait, resolve));
        if (this.#opening !== opening) throw closedMeanwhile();
      }
    }
  }

  async #openOnce(): Promise<SerialPort> {
    const SerialPort = await serialPorts();
    const { baud = 115_200, keepSignals = false } = this.options;
    const port = new SerialPort({
      path: this.path,
      baudRate: baud,
      autoOpen: false,
      highWaterMark: 65_536,
      hupcl: false, // or the system would pull DTR, and with it the reset of many boards, at closing
    });
    try {
      await settled((done) => port.open(done));
    } catch (error) {
      throw refusal(this.path, messageOf(error));
    }
    // Neither matters so much that a port without it should not serve: pseudo-terminals have no such signals.
    if (!keepSignals)
      await settled((done) => port.set({ dtr: false, rts: false }, done)).catch(() => {});
    await settled((done) => port.flush(done)).catch(() => {});
    return port;
  }
}

const closedMeanwhile = () => new LinkError('closed', 'it was closed while it was being opened');

const ended = () => new LinkError('closed', 'the link ended while it was written to');

/** Closes a port; one that is gone already is closed. */
async function closed(port: SerialPort): Promise<void> {
  if (!port.isOpen) return;
  await settled((done) => port.close(done)).catch((error: unknown) => {
    if (port.isOpen) throw new LinkError('failed', `the port did not close: ${messageOf(error)}`);
  });
}

/** Awaits a call that tells its end through a callback. */
function settled(call: (done: (error?: Error | null) => void) => void): Promise<void> {
  return new Promise((resolve, reject) => {
    call((error) => (error ? reject(error) : resolve()));
  });
}

const messageOf = (error: unknown): string =>
  error instanceof Error ? error.message.replace(/^Error:? /, '') : String(error);

/** What the package's words mean: it has only words. */
const REFUSALS: readonly [RegExp, LinkCause, (path: string) => string][] = [
  [
    /no such file|file not found|no such device|cannot find/i,
    'unreachable',
    (path) => `there is no port ${path} (“ports” lists those that are there)`,
  ],
  [
    /cannot lock|resource busy|temporarily unavailable|EBUSY|access denied/i,
    'in_use',
    (path) => `another program has ${path} open`,
  ],
  [
    /permission denied|EACCES/i,
    'no_rights',
    (path) =>
      `this user may not open ${path} (on Debian and its kin: sudo usermod -a -G dialout $USER, elsewhere the group uucp; then log in again)`,
  ],
  [/inappropriate ioctl|not a tty/i, 'no_board', (path) => `${path} is no serial port`],
];

function refusal(path: string, words: string): LinkError {
  const known = REFUSALS.find(([pattern]) => pattern.test(words));
  if (known) return new LinkError(known[1], known[2](path));
  return new LinkError('failed', `the system does not open ${path}: ${words}`);
}
