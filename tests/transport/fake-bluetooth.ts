import type { Port } from '../../firmware-sim/board.ts';
import type { Clock } from '../../src/protocol/clock.ts';
import { LinkError, type LinkListener } from '../../src/protocol/link.ts';
import type { UartService } from '../../src/transport/gatt-services.ts';

/**
 * Web Bluetooth as a page meets it at its strictest: one operation at a time, objects that die with their connection,
 * memory used again for the next notification, a chooser that wants the gesture itself. Every operation takes time on
 * the clock given.
 */

/** What is at the far end of a device's service. */
export interface Far {
  connect(listener: LinkListener): Port;
}

type Step = 'connect' | 'service' | 'characteristic' | 'subscribe' | 'write';

interface DeviceOptions {
  name?: string;
  /** Those it has; each carries bytes to and from the far end. */
  services: readonly UartService[];
  toBoard?: Partial<BluetoothCharacteristicProperties>;
  fromBoard?: Partial<BluetoothCharacteristicProperties>;
  /** The browser is older than writing with a response under that name. */
  old?: boolean;
  /** Whether the browser can watch for its advertisements. */
  watchable?: boolean;
}

/** How long a connection that the page ended is still there, and given to whoever connects, milliseconds. */
const LINGERING_MS = 2000;
/** How long each operation takes, and how late an event comes, milliseconds. */
const STEP_MS = 3;
/** The least that any connection carries in one notification. */
const NOTIFICATION = 20;
/** No attribute is longer, whatever the connection. */
const LONGEST = 512;

function never(): Promise<never> {
  return new Promise(() => {});
}

function error(name: string, message: string): DOMException {
  return new DOMException(message, name);
}

export class FakeBluetooth extends EventTarget {
  available = true;
  /** The browser answers this page no more. */
  deaf = false;
  /** What the browser says in place of whether there is a radio. */
  trouble: DOMException | undefined;
  devices: FakeDevice[] = [];
  /** What the person does in the chooser: picks one of those listed, or none; or what the browser says instead. */
  choice: (listed: FakeDevice[]) => FakeDevice | DOMException | undefined = ([first]) => first;
  #gesture = false;

  /** What a person's tap may do; the right to open a chooser ends with the call. */
  gesture<T>(act: () => T): T {
    this.#gesture = true;
    try {
      return act();
    } finally {
      this.#gesture = false;
    }
  }

  async getAvailability(): Promise<boolean> {
    if (this.deaf) await never();
    if (this.trouble) throw this.trouble;
    return this.available;
  }

  async requestDevice({ filters }: { filters: { services: string[] }[] }): Promise<FakeDevice> {
    if (!this.#gesture) {
      throw error('SecurityError', 'Must be handling a user gesture to show a permission request.');
    }
    if (this.deaf) await never();
    if (!this.available) throw error('NotFoundError', 'Bluetooth adapter not available.');
    const listed = this.devices.filter((device) =>
      filters.some(({ services }) => services.every((uuid) => device.advertises(uuid))),
    );
    const chosen = this.choice(listed);
    if (chosen instanceof DOMException) throw chosen;
    if (!chosen) throw error('NotFoundError', 'User cancelled the requestDevice() chooser.');
    return chosen;
  }

  /** As the browser has it, with or without the call that gives back what was chosen before. */
  asBrowserHasIt({ remembers = false } = {}): Bluetooth {
    if (remembers) Object.assign(this, { getDevices: async () => this.devices });
    return this as unknown as Bluetooth;
  }
}

export class FakeDevice extends EventTarget {
  readonly id = 'fake';
  readonly name: string | undefined;
  readonly gatt: FakeGatt;
  /** What the page wrote, in order, and how. */
  readonly writes: { bytes: number[]; response: boolean }[] = [];
  /** How often the page asked to disconnect. */
  disconnections = 0;
  /** What goes wrong at a step: an error, or that it never ends. */
  readonly trouble: Partial<Record<Step, DOMException | 'never'>> = {};
  /** Lets what never ended end after all. */
  readonly late: (() => void)[] = [];
  watching = 0;
  /** How often something was asked of a connection that was over, or of one that was busy. */
  misuses = 0;
  watchTrouble: DOMException | undefined;

  constructor(
    readonly far: Far,
    readonly clock: Clock,
    readonly options: DeviceOptions,
  ) {
    super();
    this.name = options.name;
    this.gatt = new FakeGatt(this);
    if (options.watchable) Object.assign(this, { watchAdvertisements: this.#watch });
  }

  advertises(uuid: string): boolean {
    return this.options.services.some(({ service }) => service === uuid);
  }

  /** The device is in reach and says so. */
  advertise(): void {
    if (this.watching > 0) this.dispatchEvent(new Event('advertisementreceived'));
  }

  /** One operation, in time; refuses a second one beside it. */
  async step<T>(step: Step, end: () => T): Promise<T> {
    const trouble = this.trouble[step];
    if (trouble === 'never') await new Promise<void>((resolve) => this.late.push(resolve));
    else await new Promise<void>((resolve) => void this.clock.after(STEP_MS, resolve));
    if (trouble instanceof DOMException) throw trouble;
    return end();
  }

  readonly #watch = async ({ signal }: { signal: AbortSignal }): Promise<void> => {
    if (this.watchTrouble) throw this.watchTrouble;
    this.watching++;
    signal.addEventListener('abort', () => this.watching--, { once: true });
  };
}

class FakeGatt {
  connected = false;
  /** The operation under way; once it is not this one any more, its end is nobody's. */
  #operation: symbol | undefined;
  /** Objects of an earlier connection are of no use in the next. */
  connection = 0;
  port: Port | undefined;
  notifying: FakeCharacteristic | undefined;
  /** A connection that is ending, and not yet gone. */
  #lingering: Port | undefined;

  constructor(readonly device: FakeDevice) {}

  async connect(): Promise<this> {
    return this.device.step('connect', () => {
      if (this.connected) return this;
      this.connection++;
      const { connection } = this;
      this.port =
        this.#lingering ??
        this.device.far.connect({
          bytes: (chunk) => this.connection === connection && this.notifying?.notify(chunk),
          closed: () => this.connection === connection && this.#over(),
        });
      this.connected = true;
      return this;
    });
  }

  disconnect(): void {
    this.device.disconnections++;
    if (!this.connected) return;
    const port = this.port!;
    this.#over();
    this.#lingering = port;
    this.device.clock.after(LINGERING_MS, () => {
      this.#lingering = undefined;
      port.close();
      if (this.port === port) this.#over();
    });
  }

  getPrimaryService(uuid: string): Promise<FakeService> {
    return this.operate('service', this.connection, () => {
      const uart = this.device.options.services.find(({ service }) => service === uuid);
      if (!uart) throw error('NotFoundError', `No Services matching UUID ${uuid} found in Device.`);
      return new FakeService(this, uart);
    });
  }

  async operate<T>(step: Step, connection: number, end: () => T): Promise<T> {
    const mustLast = (): void => {
      if (connection !== this.connection) {
        throw error('InvalidStateError', 'Characteristic is no longer valid.');
      }
      if (!this.connected) throw error('NetworkError', 'GATT Server is disconnected.');
    };
    if (connection !== this.connection || !this.connected || this.#operation) this.device.misuses++;
    mustLast();
    if (this.#operation) throw error('NetworkError', 'GATT operation already in progress.');
    const mine = Symbol(step);
    this.#operation = mine;
    try {
      return await this.device.step(step, () => {
        mustLast();
        return end();
      });
    } finally {
      if (this.#operation === mine) this.#operation = undefined;
    }
  }

  #over(): void {
    this.connected = false;
    this.port = undefined;
    this.notifying = undefined;
    this.#operation = undefined;
    this.device.clock.after(STEP_MS, () =>
      this.device.dispatchEvent(new Event('gattserverdisconnected')),
    );
  }
}

class FakeService {
  readonly #connection: number;

  constructor(
    readonly gatt: FakeGatt,
    readonly uart: UartService,
  ) {
    this.#connection = gatt.connection;
  }

  getCharacteristic(uuid: string): Promise<FakeCharacteristic> {
    return this.gatt.operate('characteristic', this.#connection, () => {
      const { toBoard, fromBoard } = this.gatt.device.options;
      const known = { [this.uart.toBoard]: toBoard, [this.uart.fromBoard]: fromBoard };
      const properties = known[uuid];
      if (properties) return new FakeCharacteristic(this.gatt, uuid, properties);
      throw error('NotFoundError', `No Characteristics matching UUID ${uuid} found in Service.`);
    });
  }
}

class FakeCharacteristic extends EventTarget {
  value: DataView | undefined;
  readonly #connection: number;
  readonly #memory = new Uint8Array(64);

  constructor(
    readonly gatt: FakeGatt,
    readonly uuid: string,
    readonly properties: Partial<BluetoothCharacteristicProperties>,
  ) {
    super();
    this.#connection = gatt.connection;
    if (gatt.device.options.old) Object.assign(this, { writeValueWithResponse: undefined });
  }

  async startNotifications(): Promise<this> {
    return this.gatt.operate('subscribe', this.#connection, () => {
      if (!this.properties.notify && !this.properties.indicate) {
        throw error('NotSupportedError', 'Characteristic does not support notifications.');
      }
      this.gatt.notifying = this;
      return this;
    });
  }

  writeValueWithResponse(value: BufferSource): Promise<void> {
    return this.#write(value, true);
  }

  writeValueWithoutResponse(value: BufferSource): Promise<void> {
    return this.#write(value, false);
  }

  async #write(value: BufferSource, response: boolean): Promise<void> {
    const bytes = ArrayBuffer.isView(value)
      ? new Uint8Array(value.buffer, value.byteOffset, value.byteLength).slice()
      : new Uint8Array(value).slice();
    if (!(response ? this.properties.write : this.properties.writeWithoutResponse)) {
      throw error('NotSupportedError', 'Characteristic does not support that kind of write.');
    }
    if (bytes.length > LONGEST) {
      throw error('InvalidModificationError', `Value can't exceed ${LONGEST} bytes.`);
    }
    await this.gatt.operate('write', this.#connection, () => {
      this.gatt.device.writes.push({ bytes: [...bytes], response });
      this.gatt.port!.send(bytes);
    });
  }

  /** The value is a part of memory that is used again at once. */
  notify(chunk: Uint8Array): void {
    for (let at = 0; at < chunk.length; at += NOTIFICATION) {
      const part = chunk.subarray(at, at + NOTIFICATION);
      this.#memory.fill(0x2a);
      this.#memory.set(part, 7);
      this.value = new DataView(this.#memory.buffer, 7, part.length);
      this.dispatchEvent(new Event('characteristicvaluechanged'));
    }
    this.#memory.fill(0x2a);
  }
}

/** A far end that says only what the test says. */
export class SilentFar implements Far {
  connections = 0;
  #listener: LinkListener | undefined;

  connect(listener: LinkListener): Port {
    this.connections++;
    this.#listener = listener;
    return { send: () => {}, close: () => (this.#listener = undefined) };
  }

  get isConnected(): boolean {
    return this.#listener !== undefined;
  }

  say(bytes: Uint8Array): void {
    this.#listener!.bytes(bytes);
  }

  drop(): void {
    const listener = this.#listener;
    this.#listener = undefined;
    listener?.closed(new LinkError('gone', 'dropped'));
  }
}
