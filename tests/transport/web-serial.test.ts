import { describe, expect, test } from 'vitest';
import { SimulatedBoard } from '../../firmware-sim/board.ts';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { LineReader } from '../../src/protocol/line.ts';
import type { LinkError } from '../../src/protocol/link.ts';
import {
  webSerial,
  type SerialLink,
  type WebSerialOptions,
} from '../../src/transport/web-serial.ts';
import { byteLinkContract, Ear } from './contract.ts';
import { BOARD, FakeSerial, notOpened } from './fake-serial.ts';
import { PROBE } from './probe.ts';

const clock = new VirtualClock();
const settle = async () => {
  await clock.run(new Promise((resolve) => clock.after(1000, () => setImmediate(resolve))));
};
const run = <T>(work: Promise<T>) => clock.run(work);

/** A browser with one board plugged in, of a kind of link with these options. */
function bench(options: Partial<WebSerialOptions> = {}) {
  const serial = new FakeSerial();
  const kind = webSerial({ serial, clock, ...options });
  const board = new SimulatedBoard(defaultSettings, clock);
  return { serial, kind, board, port: serial.plug(board) };
}

/** The same, with the board chosen and its link open. */
async function linked(options: Partial<WebSerialOptions> = {}) {
  const { serial, kind, board, port } = bench(options);
  serial.choice = port;
  const link = await serial.gesture(() => kind.choose());
  const ear = new Ear();
  await run(link.open(ear));
  return { serial, kind, board, port, link, ear };
}

async function answers(link: SerialLink, ear: Ear): Promise<boolean> {
  const before = ear.text.length;
  await run(link.write(PROBE.send));
  await settle();
  return ear.text.slice(before).includes(PROBE.answer);
}

const causeOf = (work: Promise<unknown>) =>
  run(
    work.then(
      () => 'nothing went wrong',
      ({ cause }: LinkError) => cause,
    ),
  );

describe('serial ports beside one another', () => {
  const serial = new FakeSerial();
  const kind = webSerial({ serial, clock });
  let plugged = 0;

  // All boards of the contract are of one make, in one browser.
  byteLinkContract('a serial port', async () => {
    const board = new SimulatedBoard({ ...defaultSettings, seed: ++plugged }, clock);
    let port = serial.plug(board);
    serial.choice = port;
    return {
      link: await serial.gesture(() => kind.choose()),
      probe: PROBE,
      drop: async () => {
        serial.unplug(port);
        port = serial.plug(board);
      },
      run,
      settle,
      end: () => serial.unplug(port),
    };
  });
});

describe('opening a serial port', () => {
  test('the chooser opens in the gesture itself: a page that awaits first has lost it', async () => {
    const { serial, kind, port } = bench();
    serial.choice = port;
    await expect(serial.gesture(() => kind.choose())).resolves.toHaveProperty('label', 'USB cable');
    await expect(kind.choose()).rejects.toMatchObject({ cause: 'not_permitted' });
  });

  test('a chooser closed without a choice is no failure of anything', async () => {
    const { serial, kind } = bench();
    await expect(serial.gesture(() => kind.choose())).rejects.toMatchObject({
      cause: 'none_chosen',
    });
  });

  test('a browser without serial ports says so before anybody asks, and whoever asks', async () => {
    const kind = webSerial({ serial: undefined, clock });
    expect(await kind.missing()).toMatchObject({ name: 'LinkError', cause: 'unsupported' });
    await expect(kind.choose()).rejects.toMatchObject({ cause: 'unsupported' });
    await expect(kind.permitted()).rejects.toMatchObject({ cause: 'unsupported' });
    expect(await bench().kind.missing()).toBeUndefined();
  });

  test('a page that is refused its ports by a policy says so', async () => {
    const { serial, kind } = bench();
    serial.getPorts = () => Promise.reject(new DOMException('Blocked by policy.', 'SecurityError'));
    await expect(kind.permitted()).rejects.toMatchObject({
      cause: 'not_permitted',
      message: expect.stringContaining('Blocked by policy'),
    });
  });

  test('what was permitted before needs no chooser, and one port is one link', async () => {
    const { serial, kind, port } = bench();
    const [link, ...more] = await kind.permitted();
    expect(more).toEqual([]);
    const ear = new Ear();
    await run(link!.open(ear));
    expect(await answers(link!, ear)).toBe(true);
    const again = await kind.permitted();
    expect(again).toHaveLength(1);
    expect(again[0]).toBe(link);
    serial.choice = port;
    expect(await serial.gesture(() => kind.choose())).toBe(link);
    await run(link!.close());
  });

  test('given up while the system takes its time: told at once, nothing is heard, and the next waits its turn', async () => {
    const { kind, port } = bench();
    const [link] = await kind.permitted();
    const open = port.open.bind(port);
    let release = () => {};
    const held = new Promise<void>((resolve) => (release = resolve));
    port.open = async (options) => {
      await held;
      await open(options);
    };
    const early = new Ear();
    const first = causeOf(link!.open(early));
    await settle();
    await run(link!.close());
    expect(await first).toBe('closed');
    expect(await causeOf(link!.write(PROBE.send))).toBe('closed');

    const ear = new Ear();
    const second = link!.open(ear);
    release();
    for (let turn = 0; turn < 3; turn++) await new Promise((resolve) => setImmediate(resolve));
    expect(await causeOf(link!.open(new Ear()))).toBe('in_use');
    await run(second);
    expect(port.attempts).toBe(2);
    expect(await answers(link!, ear)).toBe(true);
    expect([early.chunks, early.endings]).toEqual([[], []]);
    await run(link!.close());
    expect(port.openedWith).toBeUndefined();
  });

  test('lost in the moment it opens, it is lost, and let go of', async () => {
    const { kind, port } = bench();
    const open = port.open.bind(port);
    port.open = async (options) => {
      await open(options);
      port.fail();
    };
    const [link] = await kind.permitted();
    const ear = new Ear();
    await run(link!.open(ear));
    await settle();
    expect(ear.endings).toMatchObject([{ cause: 'gone' }]);
    expect(port.openedWith).toBeUndefined();
  });

  test('a port that is not on USB is called a serial port', async () => {
    const { serial, kind, board } = bench();
    serial.choice = serial.plug(board, {});
    expect((await serial.gesture(() => kind.choose())).label).toBe('serial port');
  });

  test('a port just freed by another program opens at a later attempt', async () => {
    const { port, link, ear } = await linked();
    await run(link.close());
    port.refusals = [notOpened(), notOpened(), notOpened()];
    port.attempts = 0;
    const began = clock.now();
    await run(link.open(ear));
    expect(port.attempts).toBe(4);
    expect(clock.now() - began).toBeGreaterThanOrEqual(250 + 500 + 750);
    expect(await answers(link, ear)).toBe(true);
  });

  test('on Linux the first refusal may be one of rights; after it once opened, somebody else has it', async () => {
    const { port, link, ear } = await linked({ needsRights: true });
    const refuse = () => (port.refusals = Array.from({ length: 4 }, notOpened));
    await run(link.close());
    refuse();
    expect(await causeOf(link.open(ear))).toBe('in_use');

    const first = bench({ needsRights: true });
    first.port.refusals = Array.from({ length: 4 }, notOpened);
    const [untried] = await first.kind.permitted();
    expect(await causeOf(untried!.open(ear))).toBe('no_rights');
    first.port.refusals = Array.from({ length: 4 }, notOpened);
    await expect(run(untried!.open(ear))).rejects.toThrow('dialout');
  });

  test('elsewhere a port that does not open is in use', async () => {
    const { port, kind } = bench();
    port.refusals = Array.from({ length: 4 }, notOpened);
    const [link] = await kind.permitted();
    expect(await causeOf(link!.open(new Ear()))).toBe('in_use');
  });

  test('a port that something else in the page has is in use, and is left to it', async () => {
    const { port, kind } = bench();
    await port.open({ baudRate: 9600 });
    const [link] = await kind.permitted();
    expect(await causeOf(link!.open(new Ear()))).toBe('in_use');
    expect(port.openedWith).toEqual({ baudRate: 9600 });
  });

  test('a failure nobody knows is told in the system’s words', async () => {
    const { port, kind } = bench();
    port.refusals = Array.from({ length: 4 }, () => new DOMException('It is Tuesday.', 'OddError'));
    const [link] = await kind.permitted();
    await expect(run(link!.open(new Ear()))).rejects.toMatchObject({
      cause: 'failed',
      message: 'It is Tuesday',
    });
  });

  test('a busy page loses nothing: the buffer holds far more than the browser’s own 255 bytes', async () => {
    const { port } = await linked();
    expect(port.openedWith!.bufferSize).toBeGreaterThanOrEqual(8192);
  });

  test('speed is as told', async () => {
    expect((await linked()).port.openedWith!.baudRate).toBe(115_200);
    expect((await linked({ baudRate: 9600 })).port.openedWith!.baudRate).toBe(9600);
  });
});

describe('DTR and RTS', () => {
  const cleared = { dataTerminalReady: false, requestToSend: false };
  const raised = { dataTerminalReady: true, requestToSend: false };

  test('are cleared, so that opening does not hold a board in reset', async () => {
    const { port, link, ear } = await linked();
    expect(port.signals).toEqual([cleared]);
    expect(await answers(link, ear)).toBe(true);
    await settle();
    clock.advance(60_000);
    expect(port.signals).toEqual([cleared]);
  });

  test('DTR is raised for a board that needs it, known by its make', async () => {
    const needsDtr = ({ usbVendorId }: SerialPortInfo) => usbVendorId === BOARD.usbVendorId;
    const { board, port, link } = await linked({ needsDtr });
    board.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
    await run(link.write(PROBE.send));
    clock.advance(60_000);
    expect(port.signals).toEqual([raised]);
  });

  test('DTR is raised for a board that stays silent without it, once', async () => {
    const { board, port, link } = await linked();
    board.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
    clock.advance(60_000);
    expect(port.signals).toEqual([cleared]); // nobody has asked it anything
    await run(link.write(PROBE.send));
    await run(link.write(PROBE.send));
    clock.advance(60_000);
    expect(port.signals).toEqual([cleared, raised]);
  });

  test('are left alone once the link is closed, however silent the board', async () => {
    const { board, port, link, ear } = await linked();
    board.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
    await run(link.write(PROBE.send));
    await run(link.close());
    await run(link.open(ear));
    clock.advance(60_000);
    expect(port.signals).toEqual([cleared, cleared]);
  });

  test('a system that cannot set them is no hindrance, but it is noted', async () => {
    const { serial, kind, port } = bench();
    delete port.signals;
    serial.choice = port;
    const link = await serial.gesture(() => kind.choose());
    const ear = new Ear();
    await run(link.open(ear));
    expect(link.signalsRefused).toBe(true);
    expect(await answers(link, ear)).toBe(true);
    expect((await linked()).link.signalsRefused).toBe(false);
  });
});

describe('bytes lost on the way in', () => {
  test.each(['BufferOverrunError', 'FramingError', 'ParityError', 'BreakError'])(
    'after a %s the link lives on, the gap is counted, and no line is made of two halves',
    async (name) => {
      const { port, link, ear } = await linked();
      port.stumble(name);
      await settle();
      expect(link.gaps).toBe(1);
      expect(ear.chunks).toEqual([Uint8Array.of(0)]);
      const whole: string[] = [];
      let damaged = 0;
      const reader = new LineReader(
        (line) => whole.push(line),
        () => damaged++,
      );
      for (const text of ['=1 ok serial=SIM', ear.text, '-0042 #1234\n', '=2 ok\n'])
        reader.push(new TextEncoder().encode(text));
      expect([whole, damaged]).toEqual([['=2 ok'], 1]);

      expect(await answers(link, ear)).toBe(true);
      expect(ear.endings).toEqual([]);
      await run(link.close());
      expect(port.openedWith).toBeUndefined();
    },
  );

  test('a line that stumbles over and over is counted each time', async () => {
    const { port, link, ear } = await linked();
    for (let i = 0; i < 5; i++) {
      port.stumble('FramingError');
      await settle();
    }
    expect(link.gaps).toBe(5);
    expect(await answers(link, ear)).toBe(true);
  });
});

describe('a serial port that is lost', () => {
  test.each(['both', 'system', 'stream'] as const)(
    'is lost once and for both directions, seen by %s',
    async (seenBy) => {
      const { serial, port, link, ear } = await linked();
      serial.unplug(port, seenBy);
      await settle();
      expect(ear.endings).toMatchObject([{ cause: 'gone' }]);
      // A write on a dead port may resolve: nothing must be sent into the void.
      expect(await causeOf(link.write(PROBE.send))).toBe('closed');
      expect(port.openedWith).toBeUndefined(); // and it is let go of, so that it can be opened again
      await run(link.close());
      expect(ear.endings).toHaveLength(1);
    },
  );

  test('opened again in the moment it is told of, it waits until the port is free', async () => {
    const { port, link, ear } = await linked();
    port.attempts = 0;
    let again: Promise<void> | undefined;
    ear.closed = () => {
      port.revive();
      again = link.open(new Ear());
    };
    port.fail();
    await settle();
    await run(again!);
    expect(port.attempts).toBe(1);
  });

  test('in the midst of a write rejects it, and all that wait behind it', async () => {
    const { serial, port, link, ear } = await linked();
    port.stuck = true;
    const writes = [link.write(PROBE.send), link.write(PROBE.send)].map(causeOf);
    await settle();
    serial.unplug(port, 'system');
    expect(await Promise.all(writes)).toEqual(['gone', 'gone']);
    expect(ear.endings).toHaveLength(1);
  });

  test('closed in the moment something arrives, or is lost, it says nothing more', async () => {
    for (const arrives of ['bytes', 'a gap']) {
      const { port, link, ear } = await linked();
      if (arrives === 'bytes') port.say(Uint8Array.of(0x41));
      else port.stumble('BreakError');
      await run(link.close());
      await settle();
      expect([ear.chunks, ear.endings], arrives).toEqual([[], []]);
    }
  });

  test('closed in the midst of a write that will never end, it is closed', async () => {
    const { port, link } = await linked();
    port.stuck = true;
    const write = causeOf(link.write(PROBE.send));
    await run(link.close());
    expect(await write).toBe('closed');
    expect(port.openedWith).toBeUndefined();
  });

  test('a write that fails ends the link, though it could still be read: what went out nobody knows', async () => {
    const { port, link, ear } = await linked();
    port.writeError = new DOMException('It did not go out.', 'UnknownError');
    expect(await causeOf(link.write(PROBE.send))).toBe('gone');
    expect(ear.endings).toMatchObject([
      { cause: 'gone', message: expect.stringContaining('It did not go out') },
    ]);
    await settle();
    expect(port.openedWith).toBeUndefined();
  });

  test('a port that stops sending without a word is lost too', async () => {
    const { port, ear, link } = await linked();
    port.end();
    await settle();
    expect(ear.endings).toMatchObject([{ cause: 'gone' }]);
    await run(link.close());
  });

  test('one that never says that it is closed holds nobody up', async () => {
    const { serial, board, port, link } = await linked();
    port.close = () => new Promise(() => {});
    serial.unplug(port);
    await settle();
    serial.plug(board);
    const ear = new Ear();
    await run(link.open(ear));
    expect(await answers(link, ear)).toBe(true);

    const living = await linked();
    living.port.close = () => new Promise(() => {});
    expect(await causeOf(living.link.close())).toBe('failed');
  });

  test('one that cannot be closed says so to whoever closes it', async () => {
    const { port, link } = await linked();
    port.close = () => Promise.reject(new DOMException('It clings.', 'NetworkError'));
    await expect(run(link.close())).rejects.toMatchObject({ cause: 'failed' });
    await run(link.close());
  });
});

describe('a board that comes back', () => {
  /** A link whose board was unplugged, or has restarted by itself. */
  const lostLink = async () => {
    const all = await linked();
    all.serial.unplug(all.port);
    await settle();
    return all;
  };

  test('is another port, and is found by its make', async () => {
    const { serial, board, link, port } = await lostLink();
    const again = serial.plug(board);
    const ear = new Ear();
    await run(link.open(ear));
    expect(await answers(link, ear)).toBe(true);
    expect(again.openedWith).toBeDefined();
    expect(port.openedWith).toBeUndefined();
    await run(link.close());
  });

  test('is waited for while it restarts', async () => {
    const { serial, board, link } = await lostLink();
    clock.after(1400, () => serial.plug(board));
    const ear = new Ear();
    await run(link.open(ear));
    expect(await answers(link, ear)).toBe(true);
    await run(link.close());
  });

  test('not plugged in, it is out of reach', async () => {
    const { link } = await lostLink();
    expect(await causeOf(link.open(new Ear()))).toBe('unreachable');
  });

  test('is told of, once for each time it is plugged in, to whoever still listens', async () => {
    const { serial, board, link } = await lostLink();
    let told = 0;
    const stop = link.onReturn!(() => told++);
    const again = serial.plug(board);
    expect(told).toBe(1);
    await run(link.open(new Ear()));
    serial.unplug(again);
    await settle();
    serial.plug(board);
    expect(told).toBe(2);
    stop();
    serial.plug(board);
    expect(told).toBe(2);
  });

  test('as the very port it was, it is told of to its own link alone', async () => {
    const { serial, kind, link, board, port } = await linked();
    serial.choice = serial.plug(board);
    const beside = await serial.gesture(() => kind.choose());
    const told: string[] = [];
    link.onReturn!(() => told.push('the one'));
    beside.onReturn!(() => told.push('the other'));
    serial.unplug(port);
    await settle();
    serial.replug(port);
    expect(told).toEqual(['the one']);
    const ear = new Ear();
    await run(link.open(ear));
    expect(await answers(link, ear)).toBe(true);
  });

  test('a port that is not on USB is never taken for another', async () => {
    const { serial, kind, board } = bench();
    serial.choice = serial.plug(board, {});
    const link = await serial.gesture(() => kind.choose());
    serial.unplug(serial.choice);
    serial.plug(board, {});
    expect(await causeOf(link.open(new Ear()))).toBe('unreachable');
  });

  test('a board of another make, or one plugged in beside an open link, is no return', async () => {
    const { serial, board, link } = await lostLink();
    let told = 0;
    link.onReturn!(() => told++);
    serial.plug(board, { usbVendorId: 0x1209, usbProductId: 2 });
    serial.plug(board, {});
    expect(told).toBe(0);
    expect(await causeOf(link.open(new Ear()))).toBe('unreachable');

    const open = await linked();
    open.link.onReturn!(() => told++);
    open.serial.plug(board);
    expect(told).toBe(0);
  });

  test('the port of another link is not taken for it, though its board be of the same make', async () => {
    const { serial, kind, port, link } = await linked();
    const other = new SimulatedBoard({ ...defaultSettings, seed: 2 }, clock);
    serial.choice = serial.plug(other);
    const beside = await serial.gesture(() => kind.choose());
    expect(beside).not.toBe(link);
    serial.unplug(port);
    await settle();
    expect(await causeOf(link.open(new Ear()))).toBe('unreachable');
    const ear = new Ear();
    await run(beside.open(ear));
    expect(await answers(beside, ear)).toBe(true);
  });

  /** Two links whose boards, of one make, were unplugged. */
  const twoLost = async () => {
    const { serial, kind, board, port, link } = await linked();
    const other = new SimulatedBoard({ ...defaultSettings, seed: 2 }, clock);
    const otherPort = serial.plug(other);
    serial.choice = otherPort;
    const beside = await serial.gesture(() => kind.choose());
    await run(beside.open(new Ear()));
    serial.unplug(port);
    serial.unplug(otherPort);
    await settle();
    return { serial, kind, board, other, link, beside };
  };

  test('behind a port that another link tried first, it is left to its own link, and not tried again', async () => {
    const { serial, other, board, link, beside } = await twoLost();
    const again = serial.plug(other);
    await run(link.open(new Ear()));
    expect(again.openedWith).toBeDefined();
    link.confirm!(false);
    await run(link.close());
    const ear = new Ear();
    await run(beside.open(ear));
    beside.confirm!(true);
    expect(await answers(beside, ear)).toBe(true);
    expect(await causeOf(link.open(new Ear()))).toBe('unreachable');
    await run(beside.close());
    expect(await causeOf(link.open(new Ear()))).toBe('unreachable');
    serial.plug(board);
    const own = new Ear();
    await run(link.open(own));
    expect(await answers(link, own)).toBe(true);
    await run(link.close());
  });

  test('that never said which it is does not keep the port from the other link', async () => {
    const { serial, other, link, beside } = await twoLost();
    serial.plug(other);
    await run(link.open(new Ear()));
    await run(link.close());
    const ear = new Ear();
    await run(beside.open(ear));
    expect(await answers(beside, ear)).toBe(true);
    await run(beside.close());
  });

  test('known to be another one behind a port, it is not told of when that port is there again', async () => {
    const { serial, other, link } = await twoLost();
    const again = serial.plug(other);
    await run(link.open(new Ear()));
    link.confirm!(false);
    await run(link.close());
    let told = 0;
    const stop = link.onReturn!(() => told++);
    serial.unplug(again);
    serial.replug(again);
    expect(told).toBe(0);
    serial.plug(other);
    expect(told).toBe(1);
    stop();
  });

  test('once confirmed, the port is its own also while it is closed', async () => {
    const { serial, other, link, beside } = await twoLost();
    serial.plug(other);
    await run(beside.open(new Ear()));
    beside.confirm!(true);
    await run(beside.close());
    expect(await causeOf(link.open(new Ear()))).toBe('unreachable');
  });

  test('asked for what is permitted, it is the link it was', async () => {
    const { serial, kind, board, link } = await lostLink();
    serial.plug(board);
    serial.plug(board);
    const [one, other, ...more] = await kind.permitted();
    expect(one).toBe(link);
    expect(other).not.toBe(link);
    expect(more).toEqual([]);
    const ear = new Ear();
    await run(one!.open(ear));
    expect(await answers(one!, ear)).toBe(true);
  });
});
