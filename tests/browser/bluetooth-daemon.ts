import { spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Message, sessionBus, Variant, type MessageBus } from 'dbus-next';
import type { Port } from '../../firmware-sim/board.ts';
import type { LinkListener } from '../../src/protocol/link.ts';
import type { UartService } from '../../src/transport/gatt-services.ts';
import { needDebian } from './debian.ts';

/**
 * BlueZ, the Bluetooth daemon of Linux, as far as Chromium asks for it: one adapter, and simulated boards in its reach.
 * It lives on a D-Bus of its own, where that Chromium takes it for the system's; no radio of the machine is touched.
 * The interfaces are those of BlueZ's documentation (org.bluez.Adapter, Device, GattCharacteristic).
 */

type Properties = Record<string, Variant>;
/** A D-Bus object: its interfaces, each with its properties. */
type Interfaces = Record<string, Properties>;

const ADAPTER = '/org/bluez/hci0';
const ADAPTER_INTERFACE = 'org.bluez.Adapter1';
const DEVICE = 'org.bluez.Device1';
const SERVICE = 'org.bluez.GattService1';
const CHARACTERISTIC = 'org.bluez.GattCharacteristic1';
const DESCRIPTOR = 'org.bluez.GattDescriptor1';
const OBJECTS = 'org.freedesktop.DBus.ObjectManager';
const PROPERTIES = 'org.freedesktop.DBus.Properties';

/** "Client characteristic configuration": without it Chromium takes a characteristic for one that cannot notify. */
const SUBSCRIPTION_DESCRIPTOR = '00002902-0000-1000-8000-00805f9b34fb';

/** The least that any connection carries in one notification. */
const NOTIFICATION = 20;

/** How long things take, milliseconds. */
const ADVERTISING_MS = 100;
const CONNECT_MS = 30;
const OPERATION_MS = 1;
/** DISCONNECT_TIMER in BlueZ's src/device.c. */
const DISCONNECT_MS = 2000;

const text = (value: string): Variant => new Variant('s', value);
const texts = (values: readonly string[]): Variant => new Variant('as', [...values]);
const flag = (value: boolean): Variant => new Variant('b', value);
const path = (value: string): Variant => new Variant('o', value);
const blob = (value: Uint8Array): Variant => new Variant('ay', Buffer.from(value));

/** What a call is answered with: values with their signature, or the name of a D-Bus error. */
type Answer = { signature: string; body: unknown[] } | { error: string };
const DONE: Answer = { signature: '', body: [] };

/** A board in the adapter's reach. */
export interface Peripheral {
  name: string;
  /** The service that it advertises and has. */
  uart: UartService;
  /** What writes and notifications are exchanged with. */
  far: { connect(listener: LinkListener): Port };
  /** How it may be written to, as BlueZ calls it; both unless told. */
  writable?: readonly ('write' | 'write-without-response')[];
}

export class BluetoothDaemon {
  /** What Chromium must find in its environment. */
  readonly environment: Record<string, string>;
  readonly #process: ChildProcess;
  readonly #folder: string;
  readonly #bus: MessageBus;
  readonly #objects = new Map<string, Interfaces>();
  readonly #boards: FakeBoard[] = [];
  readonly #advertising: ReturnType<typeof setInterval>;

  private constructor(child: ChildProcess, folder: string, address: string, bus: MessageBus) {
    this.#process = child;
    this.#folder = folder;
    this.#bus = bus;
    this.environment = { DBUS_SYSTEM_BUS_ADDRESS: address };
    this.#objects.set('/org/bluez', {
      'org.bluez.AgentManager1': {},
      'org.bluez.ProfileManager1': {},
    });
    this.#objects.set(ADAPTER, adapter());
    this.#advertising = setInterval(() => {
      const scans = this.#radio('Discovering');
      if (scans) for (const board of this.#boards) board.advertise();
    }, ADVERTISING_MS);
    bus.addMethodHandler((call: Message) => this.#handle(call));
  }

  /** @throws Error which says what this machine lacks */
  static async start(): Promise<BluetoothDaemon> {
    needDebian({ 'dbus-daemon': '/usr/bin/dbus-daemon' });
    const folder = mkdtempSync(join(tmpdir(), 'lodebench-bluetooth-'));
    const configuration = join(folder, 'bus.conf');
    writeFileSync(configuration, busConfiguration(join(folder, 'bus')));
    const child = spawn(
      '/usr/bin/dbus-daemon',
      [`--config-file=${configuration}`, '--nofork', '--nopidfile', '--print-address=1'],
      { stdio: ['ignore', 'pipe', 'pipe'] },
    );
    process.once('exit', () => child.kill());
    let complaint = '';
    child.stderr.on('data', (part: Buffer) => (complaint += part.toString()));
    const printed = await Promise.race([
      once(child.stdout, 'data').then(([line]) => String(line).trim()),
      once(child, 'exit').then(() => undefined),
    ]);
    if (!printed) throw new Error(`dbus-daemon did not start on this machine: ${complaint}`);
    const bus = sessionBus({ busAddress: `unix:path=${join(folder, 'bus')}` });
    await new Promise<unknown>((resolve, reject) => {
      bus.on('error', reject);
      bus.requestName('org.bluez', 0).then(resolve, reject);
    });
    return new BluetoothDaemon(child, folder, printed, bus);
  }

  /** Puts a board within reach. */
  add(peripheral: Peripheral): FakeBoard {
    const board = new FakeBoard(peripheral, this.#boards.length + 1, this.#tree());
    this.#boards.push(board);
    return board;
  }

  /** Switches the radio on or off, as a person does in the system's settings. */
  power(on: boolean): void {
    if (!on) for (const board of this.#boards) board.drop();
    this.#change(ADAPTER, ADAPTER_INTERFACE, { Powered: flag(on), Discovering: flag(false) });
  }

  /** Puts the radio into the machine, or takes it out. */
  plug(there: boolean): void {
    const tree = this.#tree();
    if (there) tree.put(ADAPTER, adapter());
    else {
      for (const board of this.#boards) board.vanish();
      tree.remove(ADAPTER);
    }
  }

  async stop(): Promise<void> {
    clearInterval(this.#advertising);
    for (const board of this.#boards) board.drop();
    this.#bus.disconnect();
    const exited = once(this.#process, 'exit');
    this.#process.kill();
    await exited;
    rmSync(this.#folder, { recursive: true });
  }

  #handle(call: Message): boolean {
    if (call.interface === 'org.freedesktop.DBus.Peer') return false;
    this.#answer(call).then(
      (answer) =>
        this.#bus.send(
          'error' in answer
            ? Message.newError(call as never, answer.error, 'refused by the test')
            : Message.newMethodReturn(call, answer.signature, answer.body),
        ),
      (error: unknown) =>
        this.#bus.send(Message.newError(call as never, 'org.bluez.Error.Failed', String(error))),
    );
    return true;
  }

  async #answer({ path: at, interface: of, member, body }: Message): Promise<Answer> {
    if (of === OBJECTS && member === 'GetManagedObjects') {
      return { signature: 'a{oa{sa{sv}}}', body: [Object.fromEntries(this.#objects)] };
    }
    if (of === PROPERTIES) return this.#property(at, member, body);
    if (at === ADAPTER) return this.#askAdapter(member);
    if (member === 'Connect' && !this.#radio('Powered'))
      return { error: 'org.bluez.Error.NotReady' };
    const board = this.#boards.find((each) => at.startsWith(each.path));
    return board ? board.ask(member, body) : DONE;
  }

  #radio(is: 'Powered' | 'Discovering'): boolean {
    return this.#objects.get(ADAPTER)?.[ADAPTER_INTERFACE]![is]!.value === true;
  }

  #property(at: string, member: string, [of, name, value]: unknown[]): Answer {
    const properties = this.#objects.get(at)?.[of as string];
    if (member === 'GetAll') return { signature: 'a{sv}', body: [properties ?? {}] };
    if (!properties) return { error: 'org.freedesktop.DBus.Error.UnknownObject' };
    if (member === 'Set') {
      this.#change(at, of as string, { [name as string]: value as Variant });
      return DONE;
    }
    const found = properties[name as string];
    if (!found) return { error: 'org.freedesktop.DBus.Error.InvalidArgs' };
    return { signature: 'v', body: [found] };
  }

  #askAdapter(member: string): Answer {
    if (member === 'StartDiscovery') {
      if (!this.#radio('Powered')) return { error: 'org.bluez.Error.NotReady' };
      this.#change(ADAPTER, ADAPTER_INTERFACE, { Discovering: flag(true) });
    } else if (member === 'StopDiscovery') {
      this.#change(ADAPTER, ADAPTER_INTERFACE, { Discovering: flag(false) });
    }
    return DONE;
  }

  /** The daemon's objects, as a board may change them. */
  #tree(): ObjectTree {
    return {
      has: (at) => this.#objects.has(at),
      put: (at, interfaces) => {
        this.#objects.set(at, interfaces);
        this.#signal('/', OBJECTS, 'InterfacesAdded', 'oa{sa{sv}}', [at, interfaces]);
      },
      remove: (at) => {
        const interfaces = this.#objects.get(at);
        if (!interfaces) return;
        this.#objects.delete(at);
        const names = Object.keys(interfaces);
        this.#signal('/', OBJECTS, 'InterfacesRemoved', 'oas', [at, names]);
      },
      change: (at, of, changes) => this.#change(at, of, changes),
    };
  }

  #change(at: string, of: string, changes: Properties): void {
    const properties = this.#objects.get(at)?.[of];
    if (!properties) return;
    Object.assign(properties, changes);
    this.#signal(at, PROPERTIES, 'PropertiesChanged', 'sa{sv}as', [of, changes, []]);
  }

  #signal(at: string, of: string, name: string, signature: string, body: unknown[]): void {
    this.#bus.send(Message.newSignal(at, of, name, signature, body));
  }
}

interface ObjectTree {
  has(at: string): boolean;
  put(at: string, interfaces: Interfaces): void;
  remove(at: string): void;
  /** Nothing happens to an object that is not there. */
  change(at: string, of: string, changes: Properties): void;
}

/** A board as BlueZ has it, and what a test does to it. */
export class FakeBoard {
  readonly path: string;
  /** Every write of the page: how many bytes, and how. */
  readonly writes: { length: number; kind: 'request' | 'command' }[] = [];
  /** How often a connection was made, and how often notifications were asked for. */
  connections = 0;
  subscriptions = 0;
  /** The D-Bus errors with which it is to refuse a connection or a write, while they stand here. */
  readonly refusing: { connect?: string; write?: string } = {};
  /** Whether it drops the connection when the next write reaches it. */
  dropsAtWrite = false;
  /** Whether it stays out of reach once it has dropped the connection itself. */
  staysAway = false;
  readonly #peripheral: Peripheral;
  readonly #tree: ObjectTree;
  readonly #address: string;
  readonly #at: Record<'service' | 'toBoard' | 'fromBoard' | 'descriptor', string>;
  #port: Port | undefined;
  #notifying = false;
  #busy = false;

  constructor(peripheral: Peripheral, number: number, tree: ObjectTree) {
    this.#peripheral = peripheral;
    this.#tree = tree;
    this.#address = `AA:BB:CC:DD:EE:${number.toString(16).toUpperCase().padStart(2, '0')}`;
    this.path = `${ADAPTER}/dev_${this.#address.replaceAll(':', '_')}`;
    const service = `${this.path}/service0010`;
    this.#at = {
      service,
      toBoard: `${service}/char0011`,
      fromBoard: `${service}/char0013`,
      descriptor: `${service}/char0013/desc0015`,
    };
  }

  get isConnected(): boolean {
    return this.#port !== undefined;
  }

  /** It is heard by whoever scans. */
  advertise(): void {
    if (this.#tree.has(this.path)) {
      this.#tree.change(this.path, DEVICE, { RSSI: new Variant('n', -51) });
      return;
    }
    this.#tree.put(this.path, {
      [DEVICE]: {
        Address: text(this.#address),
        AddressType: text('random'),
        Name: text(this.#peripheral.name),
        Alias: text(this.#peripheral.name),
        Paired: flag(false),
        Trusted: flag(false),
        Blocked: flag(false),
        LegacyPairing: flag(false),
        Connected: flag(false),
        ServicesResolved: flag(false),
        UUIDs: texts([this.#peripheral.uart.service]),
        Adapter: path(ADAPTER),
        RSSI: new Variant('n', -50),
      },
    });
  }

  /** The connection ends, as when the board is carried out of reach; it can be made again. */
  drop(): void {
    const port = this.#port;
    if (!port) return;
    this.#port = undefined;
    this.#notifying = false;
    port.close();
    const { service, toBoard, fromBoard, descriptor } = this.#at;
    const lost = { Connected: flag(false), ServicesResolved: flag(false) };
    this.#tree.change(this.path, DEVICE, lost);
    for (const at of [descriptor, fromBoard, toBoard, service]) this.#tree.remove(at);
  }

  /** It is within reach again, for good. */
  comeBack(): void {
    this.staysAway = false;
    delete this.refusing.connect;
  }

  /** The daemon forgets that it was ever heard. */
  vanish(): void {
    this.drop();
    this.#tree.remove(this.path);
  }

  /** A call of one of BlueZ's methods on the device or on one of its characteristics. */
  async ask(member: string, body: unknown[]): Promise<Answer> {
    switch (member) {
      case 'Connect':
        return this.#connect();
      case 'Disconnect':
        return this.#disconnect();
      case 'WriteValue':
        return this.#write(body);
      case 'StartNotify':
        return this.#inTurn(() => {
          this.subscriptions++;
          this.#subscribe(true);
          return DONE;
        });
      case 'StopNotify':
        this.#subscribe(false);
        return DONE;
      default:
        return { error: 'org.bluez.Error.NotSupported' };
    }
  }

  async #connect(): Promise<Answer> {
    await wait(CONNECT_MS);
    if (this.refusing.connect !== undefined) return { error: this.refusing.connect };
    if (this.#port) return DONE;
    const port = this.#peripheral.far.connect({
      bytes: (chunk) => this.#notify(chunk),
      closed: () => {
        this.drop();
        if (this.staysAway) this.refusing.connect = 'org.bluez.Error.Failed';
      },
    });
    this.#port = port;
    this.connections++;
    this.#tree.change(this.path, DEVICE, { Connected: flag(true) });
    setTimeout(() => this.#resolveServices(port), CONNECT_MS);
    return DONE;
  }

  /** The connection lingers, and whoever asks for one meanwhile is given it. */
  async #disconnect(): Promise<Answer> {
    const port = this.#port;
    await wait(DISCONNECT_MS);
    if (this.#port === port) this.drop();
    return DONE;
  }

  #resolveServices(port: Port): void {
    if (this.#port !== port) return;
    const { uart, writable = ['write', 'write-without-response'] } = this.#peripheral;
    const { service, toBoard, fromBoard, descriptor } = this.#at;
    this.#tree.put(service, {
      [SERVICE]: {
        UUID: text(uart.service),
        Device: path(this.path),
        Primary: flag(true),
        Includes: new Variant('ao', []),
      },
    });
    const characteristic = (uuid: string, flags: readonly string[]): Interfaces => ({
      [CHARACTERISTIC]: {
        UUID: text(uuid),
        Service: path(service),
        Value: blob(new Uint8Array()),
        Notifying: flag(false),
        Flags: texts(flags),
      },
    });
    this.#tree.put(toBoard, characteristic(uart.toBoard, writable));
    this.#tree.put(fromBoard, characteristic(uart.fromBoard, ['notify']));
    this.#tree.put(descriptor, {
      [DESCRIPTOR]: {
        UUID: text(SUBSCRIPTION_DESCRIPTOR),
        Characteristic: path(fromBoard),
        Value: blob(new Uint8Array(2)),
        Flags: texts(['read', 'write']),
      },
    });
    this.#tree.change(this.path, DEVICE, { ServicesResolved: flag(true) });
  }

  #write([value, options]: unknown[]): Promise<Answer> {
    const kind = (options as { type?: Variant<'request' | 'command'> }).type?.value ?? 'request';
    const bytes = Uint8Array.from(value as Buffer);
    if (this.dropsAtWrite) {
      this.dropsAtWrite = false;
      this.drop();
    }
    return this.#inTurn(() => {
      if (this.refusing.write !== undefined) return { error: this.refusing.write };
      this.writes.push({ length: bytes.length, kind });
      this.#port!.send(bytes);
      return DONE;
    });
  }

  /** One operation at a time: a second beside it is refused, as some radios refuse it. */
  async #inTurn(end: () => Answer): Promise<Answer> {
    if (this.#busy) return { error: 'org.bluez.Error.InProgress' };
    this.#busy = true;
    await wait(OPERATION_MS);
    this.#busy = false;
    return this.#port ? end() : { error: 'org.bluez.Error.NotConnected' };
  }

  #subscribe(notifying: boolean): void {
    this.#notifying = notifying;
    this.#tree.change(this.#at.fromBoard, CHARACTERISTIC, { Notifying: flag(notifying) });
  }

  #notify(chunk: Uint8Array): void {
    if (!this.#notifying) return; // said to nobody
    for (let at = 0; at < chunk.length; at += NOTIFICATION) {
      const part = chunk.subarray(at, at + NOTIFICATION);
      this.#tree.change(this.#at.fromBoard, CHARACTERISTIC, { Value: blob(part) });
    }
  }
}

/** The radio, switched on. */
function adapter(): Interfaces {
  return {
    [ADAPTER_INTERFACE]: {
      Address: text('00:11:22:33:44:55'),
      AddressType: text('public'),
      Name: text('test'),
      Alias: text('test'),
      Class: new Variant('u', 0),
      Powered: flag(true),
      Discoverable: flag(false),
      DiscoverableTimeout: new Variant('u', 0),
      Pairable: flag(false),
      PairableTimeout: new Variant('u', 0),
      Discovering: flag(false),
      UUIDs: texts([]),
      Modalias: text('usb:v1D6Bp0246d0542'),
      Roles: texts(['central']),
    },
    'org.bluez.GattManager1': {},
    'org.bluez.LEAdvertisingManager1': {},
  };
}

function wait(ms: number): Promise<void> {
  return new Promise((resolve) => void setTimeout(resolve, ms));
}

/** A bus on which whoever reaches its socket may do everything. */
function busConfiguration(socket: string): string {
  return `<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <listen>unix:path=${socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
  </policy>
</busconfig>
`;
}
