import type { Clock } from '../protocol/clock.ts';
import { LinkError, type ByteLink, type LinkKind, type LinkListener } from '../protocol/link.ts';
import { UART_SERVICES } from './gatt-services.ts';

/**
 * How long one thing asked of a Bluetooth device may take, milliseconds. A board that advertises seldom takes some
 * seconds to connect; some systems never say that they failed.
 */
const OPERATION_MS = 15_000;

/**
 * How long after disconnecting a device is left alone, milliseconds. BlueZ takes two seconds to end a connection
 * (DISCONNECT_TIMER in its src/device.c); who connects meanwhile is given the old one, which then ends under him.
 */
const LETTING_GO_MS = 2500;

/**
 * How long a browser may take to say whether there is a radio, milliseconds. In a page whose connection broke in the
 * midst of a write, Chromium 156 on Linux answers nothing any more, neither this nor anything else of Bluetooth.
 */
const ANSWER_MS = 3000;

/** How much of the name that a device gives itself is shown. */
const NAME_LENGTH = 32;

/**
 * Bluetooth Low Energy, as browsers offer it to pages.
 *
 * @param bluetooth `navigator.bluetooth`, which many browsers lack
 */
export function webBluetooth(bluetooth: Bluetooth | undefined, clock: Clock): LinkKind {
  const missing = async (): Promise<LinkError | undefined> => {
    if (!bluetooth) {
      return new LinkError(
        'unsupported',
        'this browser gives pages no Bluetooth, or only pages that come over https',
      );
    }
    let stop = (): void => {};
    const late = new Promise<'late'>((resolve) => {
      stop = clock.after(ANSWER_MS, () => resolve('late'));
    });
    try {
      const there = await Promise.race([bluetooth.getAvailability(), late]);
      if (there === 'late') return deaf();
      return there ? undefined : noRadio();
    } catch (error) {
      return failed(error);
    } finally {
      stop();
    }
  };

  // A browser has one object for each device, and a device has one link: whoever picks it again finds it in use.
  const links = new WeakMap<BluetoothDevice, BluetoothLink>();
  const linkTo = (device: BluetoothDevice): BluetoothLink => {
    const link = links.get(device) ?? new BluetoothLink(device, clock, missing);
    links.set(device, link);
    return link;
  };

  return {
    label: 'Bluetooth',
    missing,

    async choose() {
      if (!bluetooth) throw (await missing())!;
      const services = UART_SERVICES.map(({ service }) => service);
      const filters = services.map((service) => ({ services: [service] }));
      try {
        // No await may stand before this: the gesture would be spent.
        const choosing = bluetooth.requestDevice({ filters, optionalServices: services });
        // A person takes as long as it takes; a browser that shows no chooser at all would take for ever.
        const silence = missing().then((reason) =>
          reason?.cause === 'failed' ? Promise.reject(reason) : choosing,
        );
        return linkTo(await Promise.race([choosing, silence]));
      } catch (error) {
        // A closed chooser and a radio that is off have the same name.
        throw (isNamed(error, 'NotFoundError') && (await missing())) || choosingError(error);
      }
    },

    async permitted() {
      // Where there is no such call a device must be chosen anew after each reload.
      if (!bluetooth || !('getDevices' in bluetooth)) return [];
      try {
        return (await bluetooth.getDevices()).map(linkTo);
      } catch (error) {
        throw permissionError(error) ?? failed(error);
      }
    },
  };
}

/** One opening of a link, from its beginning to its end. */
interface Opening {
  readonly listener: LinkListener;
  /** Rejects each thing that was asked of the device and is not done. */
  readonly waiting: Set<(reason: LinkError) => void>;
  /** There is a connection that can be lost. */
  connected: boolean;
  /** What is written for the board to read, once the link is open. */
  toBoard?: BluetoothRemoteGATTCharacteristic;
  /** Why it ended: from then on nothing is sent or passed on. */
  ended?: LinkError;
}

/** A link to one Bluetooth device. Nothing that was found on it outlives a connection: each opening looks anew. */
class BluetoothLink implements ByteLink {
  readonly label: string;
  /** Only where the browser can watch for a device's advertisements. */
  readonly onReturn?: NonNullable<ByteLink['onReturn']>;
  readonly #device: BluetoothDevice;
  readonly #clock: Clock;
  readonly #missing: () => Promise<LinkError | undefined>;
  #opening: Opening | undefined;
  /** Settles, and never rejects, when the device is free: it does one thing at a time, of whatever kind. */
  #free: Promise<void> = Promise.resolve();
  /** When a connection that was ended here is really gone, by the clock. */
  #letGo = -Infinity;
  readonly #awaitingReturn = new Set<() => void>();
  #watch: AbortController | undefined;

  /** @param missing why there is no Bluetooth at the moment */
  constructor(
    device: BluetoothDevice,
    clock: Clock,
    missing: () => Promise<LinkError | undefined>,
  ) {
    this.#device = device;
    this.#clock = clock;
    this.#missing = missing;
    this.label = ['Bluetooth board', presentable(device.name ?? '')].join(' ').trim();
    device.addEventListener('gattserverdisconnected', () => this.#disconnected());
    if ('watchAdvertisements' in device) {
      device.addEventListener('advertisementreceived', () => this.#seen());
      this.onReturn = (listener) => this.#onReturn(listener);
    }
  }

  async open(listener: LinkListener): Promise<void> {
    if (this.#opening) {
      throw new LinkError('in_use', 'the link to this Bluetooth board is open already');
    }
    const opening: Opening = { listener, waiting: new Set(), connected: false };
    this.#opening = opening;
    this.#watchIfWanted();
    try {
      const missing = await this.#missing();
      if (missing) throw missing;
      await this.#connect(opening);
      const [toBoard, fromBoard] = await this.#discover(opening);
      this.#listen(opening, fromBoard);
      await this.#operation(opening, () => fromBoard.startNotifications());
      if (opening.ended) throw opening.ended;
      opening.toBoard = toBoard;
    } catch (error) {
      let reason = opening.ended ?? openingError(error);
      // A browser that has gone deaf meanwhile looks like a board that does not answer.
      if (reason.cause === 'unreachable') reason = (await this.#missing()) ?? reason;
      this.#end(opening, reason);
      throw reason;
    }
  }

  async write(bytes: Uint8Array): Promise<void> {
    const opening = this.#opening;
    const toBoard = opening?.toBoard;
    if (!opening || !toBoard) {
      throw new LinkError('closed', 'the link to this Bluetooth board is closed');
    }
    const value = bytes.slice();
    try {
      // Where a board offers both, the way that says whether the bytes arrived.
      await this.#operation(opening, () =>
        toBoard.properties.write
          ? toBoard.writeValueWithResponse(value)
          : toBoard.writeValueWithoutResponse(value),
      );
    } catch (error) {
      throw this.#writeError(error);
    }
  }

  async close(): Promise<void> {
    if (this.#opening) this.#end(this.#opening, new LinkError('closed', 'it was closed here'));
  }

  async #connect(opening: Opening): Promise<void> {
    const { gatt } = this.#device;
    if (!gatt) throw noBoard();
    await this.#operation(opening, async () => {
      const wait = this.#letGo - this.#clock.now();
      if (wait > 0) await new Promise<void>((resolve) => void this.#clock.after(wait, resolve));
    });
    await this.#operation(opening, async () => {
      await gatt.connect();
      // It may come when it is not awaited any more: then nobody else would end it.
      if (!this.#opening) this.#disconnect();
      opening.connected = true;
    });
  }

  /** The characteristics of the first byte link of a kind known here, whatever else the device has. */
  async #discover(
    opening: Opening,
  ): Promise<[BluetoothRemoteGATTCharacteristic, BluetoothRemoteGATTCharacteristic]> {
    const gatt = this.#device.gatt!;
    for (const uart of UART_SERVICES) {
      try {
        const service = await this.#operation(opening, () => gatt.getPrimaryService(uart.service));
        const toBoard = await this.#operation(opening, () =>
          service.getCharacteristic(uart.toBoard),
        );
        const fromBoard = await this.#operation(opening, () =>
          service.getCharacteristic(uart.fromBoard),
        );
        const { write, writeWithoutResponse } = toBoard.properties;
        const { notify, indicate } = fromBoard.properties;
        if ((write || writeWithoutResponse) && (notify || indicate)) return [toBoard, fromBoard];
      } catch (error) {
        if (!isNamed(error, 'NotFoundError')) throw error;
      }
    }
    throw noBoard();
  }

  #listen(opening: Opening, fromBoard: BluetoothRemoteGATTCharacteristic): void {
    fromBoard.addEventListener('characteristicvaluechanged', () => {
      const { value } = fromBoard;
      if (opening.ended || !value || value.byteLength === 0) return;
      // A part of memory that the next notification may use again: it is copied now or never.
      const part = new Uint8Array(value.buffer, value.byteOffset, value.byteLength);
      opening.listener.bytes(part.slice());
    });
  }

  /**
   * Does one thing on the device when it is free, unless the opening has ended by then. Rejects as soon as the opening
   * ends, even where the browser never says a word; the device counts as busy until it does, or its time is up.
   */
  #operation<T>(opening: Opening, start: () => Promise<T>): Promise<T> {
    if (opening.ended) return Promise.reject(opening.ended);
    return new Promise((resolve, reject) => {
      opening.waiting.add(reject);
      this.#free = this.#free.then(async () => {
        // A browser without the function throws at once: that must not keep those who wait from their turn.
        const doing = async (): Promise<T> => start();
        if (!opening.ended) await this.#inTime(opening, doing().then(resolve, reject));
        opening.waiting.delete(reject);
      });
    });
  }

  /** Resolves with `work`, which never rejects, or when its time is up: the opening ends with that. */
  #inTime(opening: Opening, work: Promise<void>): Promise<void> {
    return new Promise((resolve) => {
      const stop = this.#clock.after(OPERATION_MS, () => {
        this.#lose(opening, 'the Bluetooth board does not answer');
        resolve();
      });
      void work.then(stop).then(resolve);
    });
  }

  #disconnected(): void {
    // The event of an earlier connection may come when the next is being made, or is there.
    if (this.#opening?.connected && !this.#device.gatt!.connected) {
      this.#lose(this.#opening, 'the Bluetooth connection ended');
    }
  }

  /** The opening ends by itself. */
  #lose(opening: Opening, reason: string): void {
    if (this.#opening !== opening) return;
    const wasOpen = opening.toBoard !== undefined;
    const end = new LinkError(wasOpen ? 'gone' : 'unreachable', reason);
    this.#end(opening, end);
    if (wasOpen) opening.listener.closed(end);
  }

  #end(opening: Opening, reason: LinkError): void {
    if (this.#opening !== opening) return;
    this.#opening = undefined;
    opening.ended = reason;
    for (const reject of opening.waiting) reject(reason);
    this.#disconnect();
    this.#watchIfWanted();
  }

  /** Ends the connection, and any that is still being tried. */
  #disconnect(): void {
    const { gatt } = this.#device;
    if (gatt?.connected) this.#letGo = this.#clock.now() + LETTING_GO_MS;
    gatt?.disconnect();
  }

  #writeError(error: unknown): LinkError {
    if (error instanceof LinkError) return error;
    const gone = !this.#device.gatt!.connected || isNamed(error, 'InvalidStateError');
    if (gone) return new LinkError('gone', 'the Bluetooth connection ended');
    return permissionError(error) ?? failed(error);
  }

  // Seeing the board again

  #onReturn(listener: () => void): () => void {
    const mine = (): void => listener();
    this.#awaitingReturn.add(mine);
    this.#watchIfWanted();
    return () => {
      this.#awaitingReturn.delete(mine);
      this.#watchIfWanted();
    };
  }

  /** Watches while there is somebody to tell and no link: it costs the radio's time. */
  #watchIfWanted(): void {
    const wanted = this.#awaitingReturn.size > 0 && !this.#opening;
    if (!wanted) {
      this.#watch?.abort();
      this.#watch = undefined;
    } else if (!this.#watch) {
      const watch = new AbortController();
      this.#watch = watch;
      this.#device.watchAdvertisements({ signal: watch.signal }).catch(() => {
        // Not now, with the radio off for example: the board's return goes unnoticed, and a person opens the link.
        if (this.#watch === watch) this.#watch = undefined;
      });
    }
  }

  /** The board advertises, many times a second: once is enough, until it has been opened and has ended again. */
  #seen(): void {
    if (!this.#watch) return;
    this.#watch.abort();
    this.#watch = undefined;
    for (const tell of [...this.#awaitingReturn]) if (this.#awaitingReturn.has(tell)) tell();
  }
}

/** A name from the air as it may be shown: short, and without anything that steers what stands around it. */
function presentable(name: string): string {
  const clean = name.replace(/[\p{Cc}\p{Cf}\p{Zl}\p{Zp}]/gu, '').trim();
  return Array.from(clean).slice(0, NAME_LENGTH).join('');
}

function isNamed(error: unknown, ...names: string[]): boolean {
  return error instanceof Error && names.includes(error.name);
}

/** What the system said, as the end of a clause. */
function systemWords(error: unknown): string {
  return (error instanceof Error ? error.message : String(error)).replace(/\.$/, '');
}

function noRadio(): LinkError {
  return new LinkError('switched_off', 'Bluetooth is switched off, or this machine has none');
}

function deaf(): LinkError {
  return new LinkError(
    'failed',
    'the browser does not answer this page about Bluetooth any more; reload the page',
  );
}

function noBoard(): LinkError {
  return new LinkError(
    'no_board',
    'this Bluetooth device has no byte link of a kind known here, so it is no board',
  );
}

function permissionError(error: unknown): LinkError | undefined {
  if (!isNamed(error, 'SecurityError', 'NotAllowedError')) return undefined;
  return new LinkError('not_permitted', `the browser does not permit it: ${systemWords(error)}`);
}

function failed(error: unknown): LinkError {
  return new LinkError('failed', `Bluetooth failed: ${systemWords(error)}`);
}

function choosingError(error: unknown): LinkError {
  if (error instanceof LinkError) return error;
  const words = systemWords(error);
  if (isNamed(error, 'NotFoundError') && /denied|disabled/i.test(words)) {
    return new LinkError('not_permitted', `the browser does not permit it: ${words}`);
  }
  if (isNamed(error, 'NotFoundError', 'AbortError')) {
    return new LinkError(
      'none_chosen',
      'none was chosen; a board that is not in the list may be linked to another program or phone',
    );
  }
  return permissionError(error) ?? failed(error);
}

function openingError(error: unknown): LinkError {
  if (error instanceof LinkError) return error;
  if (isNamed(error, 'NetworkError', 'InvalidStateError', 'AbortError')) {
    const words = systemWords(error);
    return new LinkError('unreachable', `the Bluetooth board does not answer: ${words}`);
  }
  if (isNamed(error, 'NotFoundError')) return noRadio(); // only connecting comes here with it
  return permissionError(error) ?? failed(error);
}
