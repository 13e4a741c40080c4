import { describe, expect, test } from 'vitest';
import { SimulatedBoard } from '../../firmware-sim/board.ts';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { linkBoard } from '../../src/protocol/board.ts';
import type { LinkError } from '../../src/protocol/link.ts';
import { BOARD_UART, COMMON_UART } from '../../src/transport/gatt-services.ts';
import { webBluetooth } from '../../src/transport/web-bluetooth.ts';
import { byteLinkContract, Ear } from './contract.ts';
import { FakeBluetooth, FakeDevice, SilentFar, type Far } from './fake-bluetooth.ts';
import { PROBE } from './probe.ts';

type DeviceOptions = ConstructorParameters<typeof FakeDevice>[2];

/** Longer than anything may take, milliseconds. */
const AGES = 60_000;

/** A device with our own service, unless told otherwise, and the link to it that the person has just picked. */
async function picked<F extends Far>(
  far: F,
  options: Partial<DeviceOptions> = {},
  clock = new VirtualClock(),
) {
  const radio = new FakeBluetooth();
  const kind = webBluetooth(radio.asBrowserHasIt(), clock);
  const device = add(radio, clock, far, options);
  const link = await radio.gesture(() => kind.choose());
  const run = <T>(work: Promise<T>) => clock.run(work);
  /** The cause with which it rejects, and its words. */
  const refusal = (work: Promise<unknown>) =>
    run(
      work.then(
        () => expect.fail('it did not reject'),
        ({ name, cause, message }: LinkError) => {
          expect(name).toBe('LinkError');
          return { cause, message };
        },
      ),
    );
  return { clock, radio, kind, device, far, link, run, refusal };
}

function add(
  radio: FakeBluetooth,
  clock: VirtualClock,
  far: Far,
  options?: Partial<DeviceOptions>,
) {
  const device = new FakeDevice(far, clock, {
    services: [BOARD_UART],
    toBoard: { write: true, writeWithoutResponse: true },
    fromBoard: { notify: true },
    ...options,
  });
  radio.devices.push(device);
  return device;
}

/** The same, with its link open. */
async function opened<F extends Far>(far: F, options: Partial<DeviceOptions> = {}) {
  const made = await picked(far, options);
  const ear = new Ear();
  await made.run(made.link.open(ear));
  return { ...made, ear };
}

/** Lets every promise go as far as it can. */
const turn = () => new Promise<void>((resolve) => setImmediate(resolve));
const causes = (ear: Ear) => ear.endings.map(({ cause }) => cause);
const system = (name: string, message = 'As the system says.') => new DOMException(message, name);
const bytes = (...values: number[]) => Uint8Array.from(values);

const variants: [string, Partial<DeviceOptions>][] = [
  ['our own service', {}],
  [
    'the common service, written without response',
    { services: [COMMON_UART], toBoard: { writeWithoutResponse: true } },
  ],
  [
    'a service that indicates, written with response',
    { toBoard: { write: true }, fromBoard: { indicate: true } },
  ],
];
for (const [name, options] of variants) {
  byteLinkContract(`a board over Web Bluetooth (${name})`, async () => {
    const clock = new VirtualClock();
    const board = new SimulatedBoard(defaultSettings, clock, { build: { chunk: 64 } });
    const { link, run } = await picked(board, options, clock);
    return {
      link,
      probe: PROBE,
      run,
      drop: async () => board.dropAfter(0),
      settle: async () => clock.advance(1000),
      end: () => {},
    };
  });
}

describe('whether there is any Bluetooth', () => {
  const clock = new VirtualClock();

  test('a browser without it is said to be so, and nothing is tried', async () => {
    const kind = webBluetooth(undefined, clock);
    expect(await kind.missing()).toMatchObject({ name: 'LinkError', cause: 'unsupported' });
    await expect(kind.choose()).rejects.toMatchObject({ cause: 'unsupported' });
    expect(await kind.permitted()).toEqual([]);
  });

  test('a radio that is off or absent is told apart from a browser without', async () => {
    const radio = new FakeBluetooth();
    const kind = webBluetooth(radio.asBrowserHasIt(), clock);
    expect(await kind.missing()).toBeUndefined();
    radio.available = false;
    expect(await kind.missing()).toMatchObject({ name: 'LinkError', cause: 'switched_off' });
  });

  test('a browser that will not say is an answer too, in its own words', async () => {
    const radio = new FakeBluetooth();
    radio.trouble = system('InvalidStateError', 'Not now.');
    expect(await webBluetooth(radio.asBrowserHasIt(), clock).missing()).toMatchObject({
      name: 'LinkError',
      cause: 'failed',
      message: 'Bluetooth failed: Not now',
    });
  });
});

describe('choosing', () => {
  const choosing = async (prepare: (radio: FakeBluetooth) => void) => {
    const { radio, kind, refusal } = await picked(new SilentFar());
    prepare(radio);
    return refusal(radio.gesture(() => kind.choose()));
  };

  test('the gesture is not lost: the chooser opens before anything is awaited', async () => {
    const { radio, kind, refusal } = await picked(new SilentFar());
    await expect(radio.gesture(() => kind.choose())).resolves.toBeDefined();
    expect((await refusal(kind.choose())).cause).toBe('not_permitted'); // the fake does want a gesture
  });

  test('only what says that it has a byte link is listed', async () => {
    const { radio, kind, clock } = await picked(new SilentFar(), { name: 'ours' });
    add(radio, clock, new SilentFar(), { name: 'headphones', services: [] });
    add(radio, clock, new SilentFar(), { name: 'common', services: [COMMON_UART] });
    let listed: (string | undefined)[] = [];
    radio.choice = (devices) => {
      listed = devices.map(({ name }) => name);
      return devices[0];
    };
    await radio.gesture(() => kind.choose());
    expect(listed).toEqual(['ours', 'common']);
  });

  test('a chooser closed without a choice is no failure, and says why a board may be absent from it', async () => {
    const { cause, message } = await choosing((radio) => (radio.choice = () => undefined));
    expect(cause).toBe('none_chosen');
    expect(message).toContain('another program or phone');
  });

  test('a radio switched off since is not taken for a closed chooser', async () => {
    const { cause } = await choosing((radio) => (radio.available = false));
    expect(cause).toBe('switched_off');
  });

  test.each([
    system('NotFoundError', 'User denied the browser permission to scan for Bluetooth devices.'),
    system('NotFoundError', 'Web Bluetooth API globally disabled.'),
    system('SecurityError'),
    system('NotAllowedError'),
  ])('what the person or a policy forbids is not taken for a closed chooser: %s', async (error) => {
    expect((await choosing((radio) => (radio.choice = () => error))).cause).toBe('not_permitted');
  });

  test('anything else is told in the system’s own words', async () => {
    const { cause, message } = await choosing(
      (radio) => (radio.choice = () => system('DataError')),
    );
    expect(cause).toBe('failed');
    expect(message).toContain('As the system says');
  });

  test('the same device chosen twice has one link: the second to open it finds it in use', async () => {
    const { radio, kind, run } = await opened(new SilentFar());
    const again = await radio.gesture(() => kind.choose());
    await expect(run(again.open(new Ear()))).rejects.toMatchObject({ cause: 'in_use' });
  });

  test('two devices have two links', async () => {
    const { radio, kind, clock, run } = await opened(new SilentFar());
    add(radio, clock, new SilentFar());
    radio.choice = ([, second]) => second;
    const other = await radio.gesture(() => kind.choose());
    await run(other.open(new Ear()));
    expect(radio.devices.map(({ gatt }) => gatt.connected)).toEqual([true, true]);
  });

  test('after a reload, a browser that remembers gives the devices back, and one that does not gives none', async () => {
    const { radio, kind, clock } = await picked(new SilentFar(), { name: 'blue tin' });
    expect(await kind.permitted()).toEqual([]);
    const remembering = webBluetooth(radio.asBrowserHasIt({ remembers: true }), clock);
    const [link, ...others] = await remembering.permitted();
    expect(link!.label).toContain('blue tin');
    expect(others).toEqual([]);
    expect((await remembering.permitted())[0]).toBe(link);
  });

  test('the name that a device gives itself cannot steer the words around it', async () => {
    const { link } = await picked(new SilentFar(), {
      name: `\u202eevil\n\u200b${'x'.repeat(300)}`,
    });
    expect(link.label).toMatch(/^Bluetooth board evilx{28}$/);
  });
});

describe('a browser that answers nothing any more, since a connection broke in the midst of a write', () => {
  const deaf = async () => {
    const made = await picked(new SilentFar());
    made.radio.deaf = true;
    return made;
  };

  test('is not waited for when opening, and is told apart from a board out of reach', async () => {
    const { device, link, clock, refusal } = await deaf();
    device.trouble.connect = 'never';
    const { cause, message } = await refusal(link.open(new Ear()));
    expect(cause).toBe('failed');
    expect(message).toContain('reload the page');
    expect(clock.now()).toBeLessThan(5000);
  });

  test('is not waited for when choosing', async () => {
    const { radio, kind, refusal } = await deaf();
    expect((await refusal(radio.gesture(() => kind.choose()))).cause).toBe('failed');
  });

  test('is not waited for when asked whether there is any Bluetooth', async () => {
    const { kind, run } = await deaf();
    expect(await run(kind.missing())).toMatchObject({ cause: 'failed' });
  });

  test('is not taken for one in which a person takes a long time to choose', async () => {
    const { radio, kind, clock, run, link } = await picked(new SilentFar());
    const slow = radio.gesture(() => kind.choose());
    await turn();
    clock.advance(AGES);
    expect(await run(slow)).toBe(link);
  });
});

describe('opening', () => {
  test('connect() that never settles: the time limit ends it, and the board can be opened afterwards', async () => {
    const { device, link, far, run, refusal } = await picked(new SilentFar());
    device.trouble.connect = 'never';
    expect((await refusal(link.open(new Ear()))).cause).toBe('unreachable');
    expect(device.disconnections).toBeGreaterThan(0);
    delete device.trouble.connect;
    await run(link.open(new Ear()));
    expect(far.isConnected).toBe(true);
  });

  test.each(['service', 'characteristic', 'subscribe'] as const)(
    'a step that never settles (%s) leaves no half-open link behind',
    async (step) => {
      const { device, link, far, refusal, run } = await picked(new SilentFar());
      device.trouble[step] = 'never';
      expect((await refusal(link.open(new Ear()))).cause).toBe('unreachable');
      expect(device.gatt.connected).toBe(false);
      device.late.forEach((end) => end());
      delete device.trouble[step];
      await run(link.open(new Ear()));
      expect(far.isConnected).toBe(true);
    },
  );

  test('a connection that comes after its time was up is not left open with nobody to close it', async () => {
    const { device, link, far, refusal } = await picked(new SilentFar());
    device.trouble.connect = 'never';
    await refusal(link.open(new Ear()));
    device.late.forEach((end) => end());
    await turn();
    expect(far.connections).toBe(1);
    expect(device.gatt.connected).toBe(false);
  });

  test('closed while it connects, it is closed, and the connection that still comes is ended', async () => {
    const { device, link, far, run, refusal } = await picked(new SilentFar());
    device.trouble.connect = 'never';
    const opening = link.open(new Ear());
    opening.catch(() => {}); // looked at below
    await turn();
    await run(link.close());
    expect((await refusal(opening)).cause).toBe('closed');
    device.late.forEach((end) => end());
    await turn();
    expect(far.connections).toBe(1);
    expect(device.gatt.connected).toBe(false);
  });

  test('a connection lost while it is opened: not there, rather than gone', async () => {
    const { device, link, far, clock, refusal } = await picked(new SilentFar());
    device.trouble.subscribe = 'never';
    const ear = new Ear();
    const opening = refusal(link.open(ear));
    clock.after(100, () => far.drop());
    expect((await opening).cause).toBe('unreachable');
    expect(clock.now()).toBeLessThan(1000); // told at once, not when the time is up
    expect(ear.endings).toEqual([]);
  });

  test.each([
    ['a board asleep or out of reach', system('NetworkError'), 'unreachable'],
    ['a radio that the browser misses only now', system('NotFoundError'), 'switched_off'],
    ['a browser that says no', system('SecurityError'), 'not_permitted'],
    ['anything else', system('UnknownError'), 'failed'],
  ])('%s', async (_, error, cause) => {
    const { device, link, refusal } = await picked(new SilentFar());
    device.trouble.connect = error;
    expect((await refusal(link.open(new Ear()))).cause).toBe(cause);
    expect(device.gatt.connected).toBe(false);
  });

  test('a radio taken out since is not taken for a board out of reach', async () => {
    const { device, radio, link, refusal } = await picked(new SilentFar());
    device.trouble.connect = system('NetworkError', 'Bluetooth Device is no longer in range.');
    radio.available = false;
    expect((await refusal(link.open(new Ear()))).cause).toBe('switched_off');
  });

  test('nor is one taken out while the link is opened', async () => {
    const { device, radio, link, refusal } = await picked(new SilentFar());
    Object.defineProperty(device.trouble, 'connect', {
      get: () => {
        radio.available = false;
        return system('NetworkError', 'Connection attempt failed.');
      },
    });
    expect((await refusal(link.open(new Ear()))).cause).toBe('switched_off');
  });

  test('characteristics are found again after each connection: those of the last one are no longer valid', async () => {
    const { link, far, run, ear, device, clock } = await opened(new SilentFar());
    for (let round = 2; round <= 4; round++) {
      far.drop();
      clock.advance(100);
      await run(link.open(ear));
      await run(link.write(bytes(round)));
      far.say(bytes(0x30 + round));
    }
    expect(device.writes.map((write) => write.bytes)).toEqual([[2], [3], [4]]);
    expect(ear.text).toBe('234');
  });

  test('a device without a byte link is no board, and is let go', async () => {
    const { link, refusal, device } = await picked(new SilentFar());
    device.options.services = [];
    expect((await refusal(link.open(new Ear()))).cause).toBe('no_board');
    expect(device.gatt.connected).toBe(false);
  });

  test.each<[string, object]>([
    ['that cannot be written', { toBoard: { read: true } }],
    ['that says nothing', { fromBoard: { read: true } }],
    ['without its characteristics', { toBoard: undefined, fromBoard: undefined }],
  ])('nor is one with a service %s', async (_, options) => {
    const { link, refusal, device } = await picked(new SilentFar());
    Object.assign(device.options, options);
    expect((await refusal(link.open(new Ear()))).cause).toBe('no_board');
    expect(device.gatt.connected).toBe(false);
  });

  test('where a device has both services, ours is taken', async () => {
    const { device } = await opened(new SilentFar(), { services: [COMMON_UART, BOARD_UART] });
    expect(device.gatt.notifying!.uuid).toBe(BOARD_UART.fromBoard);
  });
});

describe('what is written', () => {
  test('GATT operation already in progress: each write waits for the one before, and for the subscription', async () => {
    const { link, run, device } = await opened(new SilentFar());
    await run(Promise.all([1, 2, 3, 4, 5].map((value) => link.write(bytes(value, value)))));
    expect(device.writes.map((write) => write.bytes)).toEqual([
      [1, 1],
      [2, 2],
      [3, 3],
      [4, 4],
      [5, 5],
    ]);
  });

  test('what waits to be written is not changed by a caller who uses his array again', async () => {
    const { link, run, device } = await opened(new SilentFar());
    const mine = bytes(1);
    const first = link.write(mine);
    mine[0] = 2;
    const second = link.write(mine);
    mine[0] = 3;
    await run(Promise.all([first, second]));
    expect(device.writes.map((write) => write.bytes)).toEqual([[1], [2]]);
  });

  test.each([
    [{ write: true, writeWithoutResponse: true }, true],
    [{ write: true }, true],
    [{ writeWithoutResponse: true }, false],
  ])(
    'as the characteristic allows, with a response where it can: %o',
    async (toBoard, response) => {
      const { link, run, device } = await opened(new SilentFar(), { toBoard });
      await run(link.write(bytes(7)));
      expect(device.writes).toEqual([{ bytes: [7], response }]);
    },
  );

  test('in a browser too old to write with a response is refused, and keeps nothing else from its turn', async () => {
    const options = { toBoard: { write: true }, old: true };
    const { link, refusal, run } = await opened(new SilentFar(), options);
    expect((await refusal(link.write(bytes(1)))).cause).toBe('failed');
    expect((await refusal(link.write(bytes(2)))).cause).toBe('failed');
    await run(link.close());
    await run(link.open(new Ear()));
  });

  test('a board is never sent more at once than it takes: 20 bytes until hello, then its own chunk', async () => {
    const clock = new VirtualClock();
    const board = new SimulatedBoard(defaultSettings, clock, { build: { chunk: 48 } });
    const { link, run, device } = await picked(board, {}, clock);
    const longest = () => Math.max(...device.writes.splice(0).map((write) => write.bytes.length));
    const linked = await run(
      linkBoard(link, { clock, random: () => 0.5, onReading: () => {}, onLost: () => {} }),
    );
    expect(longest()).toBe(20);
    await run(linked.stage({ model: 'straight', values: Array<number>(26).fill(1) }));
    expect(longest()).toBe(48);
    await run(linked.close());
  });

  test('lost in the midst of a write: it and what waits is refused, and never sent to the board that came back', async () => {
    const { link, far, run, device, ear } = await opened(new SilentFar());
    device.trouble.write = 'never';
    const waiting = [1, 2, 3].map((value) =>
      link.write(bytes(value)).catch(({ cause }: LinkError) => cause),
    );
    await turn();
    far.drop();
    expect(await run(Promise.all(waiting))).toEqual(['gone', 'gone', 'gone']);
    expect(causes(ear)).toEqual(['gone']);
    delete device.trouble.write;
    await run(link.open(ear));
    await run(link.write(bytes(9)));
    expect(device.misuses).toBe(0);
    expect(device.writes.map((write) => write.bytes)).toEqual([[9]]);
  });

  test('a write that never settles ends the link, for the board is not there any more', async () => {
    const { link, device, refusal, ear } = await opened(new SilentFar());
    device.trouble.write = 'never';
    expect((await refusal(link.write(bytes(1)))).cause).toBe('gone');
    expect(causes(ear)).toEqual(['gone']);
    expect(device.gatt.connected).toBe(false);
  });

  test.each([
    [system('NotSupportedError', 'GATT operation not permitted.'), 'failed'],
    [system('SecurityError'), 'not_permitted'],
    [system('InvalidStateError', 'Characteristic is no longer valid.'), 'gone'],
  ])('refused: %s', async (error, cause) => {
    const { link, device, refusal } = await opened(new SilentFar());
    device.trouble.write = error;
    const told = await refusal(link.write(bytes(1)));
    expect(told.cause).toBe(cause);
    if (cause === 'failed') expect(told.message).toContain('GATT operation not permitted');
  });
});

describe('what arrives', () => {
  test('is copied in the handler, and only the part that is meant: the browser uses its memory again', async () => {
    const { far, ear } = await opened(new SilentFar());
    const sent = Uint8Array.from({ length: 130 }, (_, i) => 0x30 + (i % 64));
    far.say(sent);
    expect(ear.text).toBe(new TextDecoder().decode(sent));
  });

  test('nothing empty is passed on', async () => {
    const { device, ear } = await opened(new SilentFar());
    device.gatt.notifying!.dispatchEvent(new Event('characteristicvaluechanged'));
    expect(ear.chunks).toEqual([]);
  });
});

describe('how it ends', () => {
  test('the event of an earlier connection does not end the next', async () => {
    const { link, device, clock, run, ear } = await opened(new SilentFar());
    await run(link.close());
    const again = new Ear();
    await run(link.open(again));
    device.dispatchEvent(new Event('gattserverdisconnected'));
    clock.advance(AGES);
    expect(ear.endings).toEqual([]);
    expect(again.endings).toEqual([]);
    await run(link.write(bytes(1)));
  });

  test('opened again at once, it is not given the connection that is still ending', async () => {
    const { link, far, clock, run, ear } = await opened(new SilentFar());
    await run(link.close());
    await run(link.open(ear));
    expect(far.connections).toBe(2);
    clock.advance(AGES);
    expect(ear.endings).toEqual([]);
  });

  test('closed, the board is let go, for the next program or phone', async () => {
    const { link, far, run, clock } = await opened(new SilentFar());
    await run(link.close());
    clock.advance(AGES);
    expect(far.isConnected).toBe(false);
  });
});

describe('a board that comes back', () => {
  const watched = async () => {
    const made = await opened(new SilentFar(), { watchable: true });
    let returns = 0;
    const stop = made.link.onReturn!(() => returns++);
    const lose = () => {
      made.far.drop();
      made.clock.advance(100);
    };
    return { ...made, returns: () => returns, stop, lose };
  };

  test('cannot be noticed where the browser does not watch', async () => {
    const { link } = await picked(new SilentFar());
    expect(link.onReturn).toBeUndefined();
  });

  test('is noticed once, however often it advertises', async () => {
    const { device, lose, returns } = await watched();
    lose();
    for (let i = 0; i < 5; i++) device.advertise();
    expect(returns()).toBe(1);
  });

  test('is noticed again after it was opened and lost again, and when opening failed', async () => {
    const { device, lose, returns, link, ear, run, refusal } = await watched();
    lose();
    device.advertise();
    await run(link.open(ear));
    lose();
    device.advertise();
    expect(returns()).toBe(2);
    device.trouble.connect = system('NetworkError');
    await refusal(link.open(ear));
    device.advertise();
    expect(returns()).toBe(3);
  });

  test('is not watched for while its link is open, nor when nobody wants to know', async () => {
    const { device, lose, returns, stop } = await watched();
    expect(device.watching).toBe(0);
    lose();
    expect(device.watching).toBe(1);
    stop();
    expect(device.watching).toBe(0);
    device.dispatchEvent(new Event('advertisementreceived'));
    expect(returns()).toBe(0);
  });

  test('where the system cannot watch just now, the link works on, and it is tried again next time', async () => {
    const { device, lose, returns, link, ear, run } = await watched();
    device.watchTrouble = system('InvalidStateError');
    lose();
    await turn();
    await run(link.open(ear));
    device.watchTrouble = undefined;
    lose();
    device.advertise();
    expect(returns()).toBe(1);
  });
});
