import { type Port, SimulatedBoard } from '../../firmware-sim/board.ts';

/**
 * A browser's serial ports, with simulated boards plugged into them. As strict as Chromium was seen to be: locked
 * streams cannot be closed, a replugged board is a new port, a port that was unplugged keeps its streams until it fails,
 * a write on a dead port resolves once, and the chooser opens only in a gesture.
 */
export class FakeSerial extends EventTarget implements Serial {
  onconnect = null;
  ondisconnect = null;
  /** Those that the page may open and that are there. */
  readonly plugged: FakePort[] = [];
  /** What the person will do in the chooser. */
  choice: FakePort | 'nothing' = 'nothing';
  /** Whether the page's code runs in a gesture. {@link gesture} sets it. */
  #inGesture = false;

  /** Runs `work` as a click does: only what it does before it awaits is in the gesture. */
  gesture<T>(work: () => T): T {
    this.#inGesture = true;
    try {
      return work();
    } finally {
      this.#inGesture = false;
    }
  }

  plug(board: SimulatedBoard, info: SerialPortInfo = BOARD): FakePort {
    const port = new FakePort(board, info);
    this.plugged.push(port);
    this.#tell('connect', port);
    return port;
  }

  /** The same port is there again, as a system may have it that knows a board by its serial number. */
  replug(port: FakePort): void {
    port.connected = true;
    port.revive();
    this.plugged.push(port);
    this.#tell('connect', port);
  }

  /** The cable is pulled, as the system sees it (the port is gone), as the stream sees it (it fails), or both. */
  unplug(port: FakePort, seenBy: 'both' | 'system' | 'stream' = 'both'): void {
    if (seenBy !== 'stream') this.#forget(port);
    if (seenBy !== 'system') port.fail();
    if (seenBy !== 'stream') this.#tell('disconnect', port);
  }

  async getPorts(): Promise<FakePort[]> {
    return [...this.plugged];
  }

  async requestPort(): Promise<FakePort> {
    if (!this.#inGesture) {
      throw new DOMException('Must be handling a user gesture to show a request.', 'SecurityError');
    }
    if (this.choice === 'nothing') {
      throw new DOMException('No port selected by the user.', 'NotFoundError');
    }
    return this.choice;
  }

  #forget(port: FakePort): void {
    this.plugged.splice(this.plugged.indexOf(port), 1);
    port.connected = false;
  }

  /** Node's events do not bubble from a port to the ports as a browser's do. */
  #tell(type: 'connect' | 'disconnect', port: FakePort): void {
    port.dispatchEvent(new Event(type));
    const event = new Event(type);
    Object.defineProperty(event, 'target', { value: port });
    this.dispatchEvent(event);
  }
}

export const BOARD: SerialPortInfo = { usbVendorId: 0x1209, usbProductId: 1 };

export class FakePort extends EventTarget implements SerialPort {
  onconnect = null;
  ondisconnect = null;
  connected = true;
  readable: ReadableStream<Uint8Array> | null = null;
  writable: WritableStream<Uint8Array> | null = null;

  /** How often open is to fail, and with what; the port opens after that. */
  refusals: DOMException[] = [];
  /** How often it was asked to open. */
  attempts = 0;
  openedWith: SerialOptions | undefined;
  /** What was set of DTR and RTS, in order; absent where the system can't. */
  signals?: SerialOutputSignals[] = [];
  /** Whether it takes no more bytes, as when the board does not read. */
  stuck = false;
  /** What each write fails with, though reading goes on. */
  writeError: DOMException | undefined;

  #board: Port | undefined;
  #toPage: ReadableStreamDefaultController<Uint8Array> | undefined;
  #dead = false;
  #deadWrites = 0;

  constructor(
    private readonly board: SimulatedBoard,
    private readonly info: SerialPortInfo,
  ) {
    super();
  }

  getInfo(): SerialPortInfo {
    return this.info;
  }

  async open(options: SerialOptions): Promise<void> {
    this.attempts++;
    if (this.openedWith) throw new DOMException('The port is already open.', 'InvalidStateError');
    const refusal = this.refusals.shift();
    if (refusal) throw refusal;
    if (!this.connected || this.#dead) throw notOpened();
    this.openedWith = options;
    this.#board = this.board.connect({
      bytes: (chunk) => this.#toPage?.enqueue(chunk),
      closed: () => this.fail(),
    });
    this.#makeReadable();
    this.writable = new WritableStream({
      write: (bytes, { signal }) => this.#write(bytes, signal),
    });
  }

  async setSignals(signals: SerialOutputSignals): Promise<void> {
    if (!this.openedWith) throw new DOMException('The port is not open.', 'InvalidStateError');
    if (!this.signals) throw new DOMException('Failed to set control signals.', 'NetworkError');
    this.signals.push(signals);
  }

  async getSignals(): Promise<SerialInputSignals> {
    throw new Error('nothing here asks for signals');
  }

  async close(): Promise<void> {
    if (!this.openedWith)
      throw new DOMException('The port is already closed.', 'InvalidStateError');
    if (this.readable?.locked) throw new TypeError('Cannot cancel a locked stream');
    if (this.writable?.locked) throw new TypeError('Cannot abort a locked stream');
    this.openedWith = undefined;
    this.readable = null;
    this.writable = null;
    this.#toPage = undefined;
    this.#board?.close();
    this.#board = undefined;
  }

  async forget(): Promise<void> {
    throw new Error('nothing here forgets a port');
  }

  /** The stream fails for good. */
  fail(): void {
    this.#dead = true;
    this.readable = null;
    this.#toPage?.error(lost());
    this.#toPage = undefined;
    this.#board?.close();
    this.#board = undefined;
  }

  /** It may be opened again. */
  revive(): void {
    this.#dead = false;
    this.#deadWrites = 0;
  }

  /** Bytes arrive. */
  say(bytes: Uint8Array): void {
    this.#toPage!.enqueue(bytes);
  }

  /** The stream ends, without an error and without a new one. */
  end(): void {
    this.#toPage?.close();
    this.#toPage = undefined;
  }

  /** Bytes are lost on the way in: the reader fails, and a new stream stands ready. */
  stumble(name: string): void {
    const before = this.#toPage;
    this.#makeReadable();
    before?.error(new DOMException('Data was lost.', name));
  }

  #makeReadable(): void {
    this.readable = new ReadableStream({
      start: (controller) => {
        this.#toPage = controller;
      },
    });
  }

  async #write(bytes: Uint8Array, aborted: AbortSignal): Promise<void> {
    if (this.stuck) {
      await new Promise((_, reject) => aborted.addEventListener('abort', reject));
    }
    await new Promise((resolve) => setImmediate(resolve));
    if (this.writeError) throw this.writeError;
    if (this.#dead && ++this.#deadWrites > 1) throw lost();
    for (let at = 0; at < bytes.length; at += 64) this.#board?.send(bytes.slice(at, at + 64));
  }
}

export const notOpened = () => new DOMException('Failed to open serial port.', 'NetworkError');
const lost = () => new DOMException('The device has been lost.', 'NetworkError');
