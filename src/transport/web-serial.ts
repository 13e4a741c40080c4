import type { Clock } from '../protocol/clock.ts';
import { LinkError, type ByteLink, type LinkKind, type LinkListener } from '../protocol/link.ts';

/** Byte links over the serial ports that a browser gives a page: boards on a USB cable, most of them. */

export interface WebSerialOptions {
  /** `navigator.serial`; undefined where the browser has none. */
  serial: Serial | undefined;
  clock: Clock;
  /** Bits a second, 115200 unless told. A board with a USB of its own works at any. */
  baudRate?: number;
  /**
   * Whether such a board sends only while DTR is raised, as some USB stacks do. For any other, DTR and RTS are cleared
   * at once: on many boards they reach the reset line.
   */
  needsDtr?: (usb: SerialPortInfo) => boolean;
  /**
   * Whether on this system a user may lack the right to open a port, as on Linux. Browsers say only that a port did
   * not open, so this decides what the error says of the first time.
   */
  needsRights?: boolean;
}

/** A link over one serial port, and what was odd about it. */
export interface SerialLink extends ByteLink {
  /** How often bytes were lost on the way in (overrun, framing, parity, break) since the link was made. */
  readonly gaps: number;
  /** Whether the system would not set DTR and RTS when the port was last opened. */
  readonly signalsRefused: boolean;
}

/** A kind of link whose links are serial ports. */
export interface WebSerial extends LinkKind {
  choose(): Promise<SerialLink>;
  permitted(): Promise<readonly SerialLink[]>;
}

/** Waits before each attempt to open, ms: a board that has just started, or a port just closed, needs a moment. */
const ATTEMPTS = [0, 250, 500, 750];

/** Bytes the browser holds while the page is busy: its own 255 are full after 22 ms at 115200 bits a second. */
const BUFFER = 65_536;

/** How long a board may say nothing to what was written before DTR is raised for it, ms. */
const SILENCE = 4000;

/** How long a port may take to close, ms: one that was unplugged may never say that it is, and must not hold up the next. */
const CLOSING = 3000;

/** What a reader fails with when bytes were lost but the port lives on; the next reader goes on after the gap. */
const GAPS = ['BufferOverrunError', 'BreakError', 'FramingError', 'ParityError'];

/**
 * Stands for the bytes lost in a gap. Without it the head of one line and the tail of another would look like one line,
 * and only its check could tell. No text holds it, so whatever line it falls into is seen to be damaged.
 */
const GAP_MARK = 0x00;

/** Serial ports as a kind of link. */
export function webSerial(options: WebSerialOptions): WebSerial {
  return new Ports(options);
}

class Ports implements WebSerial {
  readonly label = 'USB cable';
  readonly #options: WebSerialOptions;
  readonly #links: PortLink[] = [];

  constructor(options: WebSerialOptions) {
    this.#options = options;
  }

  async missing(): Promise<LinkError | undefined> {
    return this.#options.serial ? undefined : unsupported();
  }

  async choose(): Promise<SerialLink> {
    try {
      // Nothing may be awaited before this call: the browser wants it in the gesture itself.
      const port = await this.#serial.requestPort();
      return this.#links.find((link) => link.port === port) ?? this.#link(port);
    } catch (error) {
      throw choosingError(error);
    }
  }

  async permitted(): Promise<readonly SerialLink[]> {
    const ports = await this.ports();
    return ports.map(
      (port) =>
        this.#links.find((link) => link.port === port) ??
        this.#links.find((link) => link.tries(port, ports)) ??
        this.#link(port),
    );
  }

  /** All ports that this page may open and that are there now. */
  async ports(): Promise<SerialPort[]> {
    try {
      return await this.#serial.getPorts();
    } catch (error) {
      throw choosingError(error);
    }
  }

  /** Whether a port is another link's, or is being tried by it. */
  isTaken(port: SerialPort, by: PortLink): boolean {
    return this.#links.some((link) => link !== by && link.has(port));
  }

  get #serial(): Serial {
    if (!this.#options.serial) throw unsupported();
    return this.#options.serial;
  }

  #link(port: SerialPort): PortLink {
    const link = new PortLink(port, this.#serial, this, this.#options);
    this.#links.push(link);
    return link;
  }
}

class PortLink implements SerialLink {
  gaps = 0;
  signalsRefused = false;
  /** That of its board, as far as is known; it may be gone. */
  #port: SerialPort;
  /** One that its board may have come back as. Until that is confirmed it is let go of whenever it is closed. */
  #tried: SerialPort | undefined;
  /** Those that were tried, and that other boards are behind. */
  readonly #strangers = new WeakSet<SerialPort>();
  #held: HeldPort | undefined;
  #opening: AbortController | undefined;
  /** Settles when whatever was held or being opened before is let go of. Never rejects. */
  #free: Promise<unknown> = Promise.resolve();
  #openedBefore = false;

  constructor(
    port: SerialPort,
    private readonly serial: Serial,
    private readonly all: Ports,
    private readonly options: WebSerialOptions,
  ) {
    this.#port = port;
  }

  get label(): string {
    return this.#port.getInfo().usbVendorId === undefined ? 'serial port' : this.all.label;
  }

  get port(): SerialPort {
    return this.#tried ?? this.#port;
  }

  has(port: SerialPort): boolean {
    return port === this.#port || port === this.#tried;
  }

  open(listener: LinkListener): Promise<void> {
    if (this.#held || this.#opening)
      return Promise.reject(new LinkError('in_use', 'the port is open already'));
    const opening = (this.#opening = new AbortController());
    const work = this.#free
      .then(() => this.#hold(listener, opening.signal))
      .finally(() => {
        if (this.#opening === opening) this.#opening = undefined;
      });
    this.#free = work.catch(() => this.#giveBack()); // the one who opens is told
    return unlessAborted(work, opening.signal);
  }

  async write(bytes: Uint8Array): Promise<void> {
    if (!this.#held) throw closedHere();
    await this.#held.write(bytes);
  }

  async close(): Promise<void> {
    this.#opening?.abort();
    this.#opening = undefined;
    await this.#letGo(closedHere());
  }

  onReturn(listener: () => void): () => void {
    const connected = ({ target }: Event) => {
      const port = target as SerialPort;
      if (this.#held || this.all.isTaken(port, this)) return;
      if (port === this.#port || this.#mayBe(port)) listener();
    };
    this.serial.addEventListener('connect', connected);
    return () => this.serial.removeEventListener('connect', connected);
  }

  confirm(isIts: boolean): void {
    if (!this.#tried) return;
    if (!isIts) {
      this.#strangers.add(this.#tried); // and let go of as soon as it is closed
      return;
    }
    this.#port = this.#tried;
    this.#tried = undefined;
  }

  /**
   * Tries a port that is new, where its own is gone and was of a board of the same make: a board that was unplugged, or
   * has restarted, comes back as another object. Which of several boards of one make it is only the board can tell.
   */
  tries(port: SerialPort, present: readonly SerialPort[]): boolean {
    if (present.includes(this.port) || this.all.isTaken(port, this) || !this.#mayBe(port)) {
      return false;
    }
    this.#tried = port;
    return true;
  }

  /** Whether its board may have come back as this port. */
  #mayBe(port: SerialPort): boolean {
    return isAlike(port, this.#port) && !this.#strangers.has(port);
  }

  /** Leaves a port that nobody has confirmed to the other links. */
  #giveBack(): void {
    this.#tried = undefined;
  }

  async #hold(listener: LinkListener, signal: AbortSignal): Promise<void> {
    const port = await this.#openPort(signal);
    const raised = this.options.needsDtr?.(port.getInfo()) ?? false;
    this.signalsRefused = !(await setSignals(port, raised));
    if (signal.aborted) {
      await port.close();
      throw closedHere();
    }
    this.#openedBefore = true;
    this.#held = new HeldPort(port, this.options.clock, {
      bytes: (chunk) => listener.bytes(chunk),
      gap: () => {
        this.gaps++;
        listener.bytes(Uint8Array.of(GAP_MARK));
      },
      lost: (end) => {
        // What a lost port says to being let go of is no news: that it is lost was told.
        this.#letGo(end).catch(() => {});
        listener.closed(end);
      },
    });
    if (!raised) this.#held.raiseDtrIfSilent();
  }

  /** Opens the port, or what the board has come back as, in a few attempts. */
  async #openPort(signal: AbortSignal): Promise<SerialPort> {
    const { baudRate = 115_200 } = this.options;
    let trouble: LinkError | undefined;
    for (const wait of ATTEMPTS) {
      await pause(this.options.clock, wait, signal);
      const ports = await this.all.ports();
      if (!ports.includes(this.port) && !ports.some((port) => this.tries(port, ports))) {
        trouble = new LinkError('unreachable', 'no such board is plugged in');
        continue;
      }
      try {
        const { port } = this;
        await port.open({ baudRate, bufferSize: BUFFER });
        return port;
      } catch (error) {
        trouble = this.#openingError(error);
      }
    }
    throw trouble!;
  }

  #openingError(error: unknown): LinkError {
    switch (nameOf(error)) {
      case 'InvalidStateError':
        return new LinkError('in_use', 'something else in this page has the port');
      case 'NetworkError':
        return this.options.needsRights && !this.#openedBefore
          ? new LinkError(
              'no_rights',
              'the system would not open the port: this user has no right to it (on Linux, that of the group dialout or uucp), or another program has it',
            )
          : new LinkError(
              'in_use',
              'the system would not open the port: another page or program has it, most likely',
            );
      default:
        return new LinkError('failed', wordsOf(error));
    }
  }

  async #letGo(end: LinkError): Promise<void> {
    const held = this.#held;
    this.#held = undefined;
    if (!held) return;
    const work = held.letGo(end);
    this.#free = work.catch(() => {}).then(() => this.#giveBack()); // whoever let go is told
    await work;
  }
}

interface PortListener {
  bytes(chunk: Uint8Array): void;
  /** Bytes were lost here. */
  gap(): void;
  lost(end: LinkError): void;
}

/** An open port, its reader and its writer. One end for both directions: a dead port may fail in one and not the other. */
class HeldPort {
  readonly #port: SerialPort;
  readonly #clock: Clock;
  readonly #listener: PortListener;
  readonly #writer: WritableStreamDefaultWriter<Uint8Array>;
  #reader: ReadableStreamDefaultReader<Uint8Array> | undefined;
  readonly #reading: Promise<void>;
  #over = false;
  #silent = true;
  #onFirstWrite = () => {};
  #stopWaiting = () => {};
  /** Rejects each write that has not resolved: on a port that is lost, some never would. */
  readonly #writing = new Set<(end: LinkError) => void>();

  constructor(port: SerialPort, clock: Clock, listener: PortListener) {
    this.#port = port;
    this.#clock = clock;
    this.#listener = listener;
    this.#writer = port.writable!.getWriter();
    port.addEventListener('disconnect', this.#disconnected);
    // Not before this port is in its owner's hands: it may be lost already.
    this.#reading = Promise.resolve().then(() => this.#read());
  }

  write(bytes: Uint8Array): Promise<void> {
    this.#onFirstWrite();
    return new Promise((resolve, reject) => {
      this.#writing.add(reject);
      this.#writer
        .write(bytes)
        // Part of it may have gone out: what the board makes of that nobody knows, so the link has ended.
        .then(resolve, (error: unknown) => this.#lose(error))
        .finally(() => this.#writing.delete(reject));
    });
  }

  /** Some USB stacks send nothing before DTR is raised. Raising it may restart a board, so only for a silent one. */
  raiseDtrIfSilent(): void {
    this.#onFirstWrite = () => {
      this.#onFirstWrite = () => {};
      this.#stopWaiting = this.#clock.after(SILENCE, () => {
        if (this.#silent) void setSignals(this.#port, true);
      });
    };
  }

  /** Lets go of reader, writer and port. Rejects with a {@link LinkError} where the port cannot be closed. */
  letGo(end: LinkError): Promise<void> {
    this.#finish(end);
    return new Promise((resolve, reject) => {
      const fail = (words: string) =>
        reject(new LinkError('failed', `the port cannot be closed: ${words}`));
      const stop = this.#clock.after(CLOSING, () => fail('the system does not say that it is'));
      this.#release()
        .then(resolve, (error: unknown) => fail(wordsOf(error)))
        .finally(stop);
    });
  }

  async #release(): Promise<void> {
    // A stream that has failed can be neither cancelled nor aborted, and need not be.
    await Promise.allSettled([this.#reader?.cancel(), this.#writer.abort()]);
    await this.#reading;
    this.#writer.releaseLock();
    await this.#port.close();
  }

  async #read(): Promise<void> {
    let before: ReadableStream | undefined;
    for (;;) {
      const { readable } = this.#port;
      if (this.#over || !readable || readable === before) break;
      before = readable;
      this.#reader = readable.getReader();
      try {
        await this.#readAll(this.#reader);
      } catch (error) {
        if (!GAPS.includes(nameOf(error))) this.#lose(error);
        else if (!this.#over) this.#listener.gap();
      } finally {
        this.#reader.releaseLock();
      }
    }
    this.#lose(new Error('it sends nothing more'));
  }

  async #readAll(reader: ReadableStreamDefaultReader<Uint8Array>): Promise<void> {
    for (;;) {
      const { value, done } = await reader.read();
      if (done || this.#over) return;
      this.#silent = false;
      if (value.length > 0) this.#listener.bytes(value);
    }
  }

  readonly #disconnected = () => this.#lose(new Error('it was unplugged, or has restarted'));

  #lose(error: unknown): void {
    if (this.#over) return;
    const end = new LinkError('gone', `the port is lost: ${wordsOf(error)}`);
    this.#finish(end);
    this.#listener.lost(end);
  }

  #finish(end: LinkError): void {
    if (this.#over) return;
    this.#over = true;
    this.#stopWaiting();
    this.#port.removeEventListener('disconnect', this.#disconnected);
    for (const reject of this.#writing) reject(end);
  }
}

/** @returns whether the system did it; not every one can, and a board that does not mind works all the same */
async function setSignals(port: SerialPort, dtr: boolean): Promise<boolean> {
  try {
    await port.setSignals({ dataTerminalReady: dtr, requestToSend: false });
    return true;
  } catch {
    return false;
  }
}

/** Whether two ports are of boards of the same make. Ports that are not on USB never are: they do not come and go. */
function isAlike(one: SerialPort, other: SerialPort): boolean {
  const [a, b] = [one.getInfo(), other.getInfo()];
  return (
    a.usbVendorId !== undefined &&
    a.usbVendorId === b.usbVendorId &&
    a.usbProductId === b.usbProductId
  );
}

/** Waits, but not beyond an abort. */
function pause(clock: Clock, ms: number, signal: AbortSignal): Promise<void> {
  return unlessAborted(new Promise((resolve) => void clock.after(ms, resolve)), signal);
}

/** Awaits `work`, but no longer than until `signal` aborts: then the link was closed. */
function unlessAborted<T>(work: Promise<T>, signal: AbortSignal): Promise<T> {
  return new Promise((resolve, reject) => {
    const abort = () => reject(closedHere());
    if (signal.aborted) abort();
    signal.addEventListener('abort', abort, { once: true });
    work.then(resolve, reject).finally(() => signal.removeEventListener('abort', abort));
  });
}

function choosingError(error: unknown): LinkError {
  if (error instanceof LinkError) return error;
  switch (nameOf(error)) {
    case 'NotFoundError':
      return new LinkError('none_chosen', 'no port was chosen');
    case 'SecurityError':
      return new LinkError('not_permitted', `the browser did not allow it: ${wordsOf(error)}`);
    default:
      return new LinkError('failed', wordsOf(error));
  }
}

const unsupported = () =>
  new LinkError('unsupported', 'this browser gives pages no serial ports, or not to this page');
const closedHere = () => new LinkError('closed', 'the port is closed');

function nameOf(error: unknown): string {
  return error instanceof Error ? error.name : '';
}

/** What the system said, as a clause. */
function wordsOf(error: unknown): string {
  const words = error instanceof Error ? error.message : String(error);
  return words.replace(/\.$/, '');
}
