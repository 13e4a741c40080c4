import * as fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import type { BoardOptions, Quirks, SimulatedBoard } from '../../firmware-sim/board.ts';
import { CONDUCT } from '../../firmware-sim/image-slots.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { rescueOutcome } from '../../src/cli/rescue.ts';
import { sendImage } from '../../src/protocol/board-care.ts';
import { linkBoard, type Board } from '../../src/protocol/board.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import { formatAnswer, parseLine } from '../../src/protocol/line.ts';
import { LinkError, type ByteLink } from '../../src/protocol/link.ts';
import type { SimulatorSettings } from '../../src/protocol/simulator.ts';
import {
  examine,
  examineAtSpeeds,
  RESCUE_CAUSES,
  type KnownCoefficients,
  type RescueFinding,
} from '../../src/steps/rescue.ts';
import { rescueWords } from '../../src/steps/rescue-words.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { plainSet } from '../firmware-sim/terminal.ts';

/** A simulated board on a virtual clock, and whoever examines it. */
function patient(settings: Partial<SimulatorSettings> = {}, options: BoardOptions = {}) {
  const clock = new VirtualClock();
  const { link, board } = inProcessBoard({ ...defaultSettings, ...settings }, clock, options);
  const how = (known?: KnownCoefficients) => ({
    ...{ clock, random: Math.random, signal: new AbortController().signal },
    ...(known && { known }),
  });
  const found = (over: ByteLink = link, known?: KnownCoefficients) =>
    clock.run(examine(over, how(known)));
  const using = <T>(task: (board: Board) => Promise<T>): Promise<T> =>
    clock.run(
      (async () => {
        const ears = { onReading: () => {}, onLost: () => {} };
        const linked = await linkBoard(link, { clock, random: Math.random, ...ears });
        const value = await task(linked);
        await linked.close();
        return value;
      })(),
    );
  const speeds = (linkAt: (speed: number) => ByteLink, given: number) =>
    clock.run(examineAtSpeeds(linkAt, given, how()));
  return { clock, link, board, found, using, speeds };
}

/** A link of which what the board says is changed on the way, line by line. */
function changed(link: ByteLink, change: (line: string) => string | Uint8Array): ByteLink {
  let pending = '';
  return {
    label: link.label,
    open: ({ bytes, closed }) =>
      link.open({
        closed,
        bytes: (chunk) => {
          const lines = (pending + Buffer.from(chunk).toString('latin1')).split('\n');
          pending = lines.pop()!;
          for (const line of lines) {
            const to = change(line);
            bytes(typeof to === 'string' ? Buffer.from(`${to}\n`, 'latin1') : to);
          }
        },
      }),
    write: (bytes) => link.write(bytes),
    close: () => link.close(),
  };
}

/** Changes fields of the answer to hello, with a check that is right again. */
const hello = (fields: Record<string, string>) => (text: string) => {
  const line = parseLine(text);
  if (typeof line === 'string' || line.kind !== 'answer' || !('protocol' in line.fields)) return text; // prettier-ignore
  return formatAnswer(line.tag, line.ok, { ...line.fields, ...fields });
};

const nothing = (): ByteLink => ({
  label: 'a wire with nothing on it',
  open: async () => {},
  write: async () => {},
  close: async () => {},
});

/** Something that says the same thing again and again, whatever it is told. */
function talker(clock: VirtualClock, words: string): ByteLink {
  let stop = () => {};
  return {
    label: 'talker',
    open: async ({ bytes }) => {
      const say = () => {
        bytes(Buffer.from(words));
        stop = clock.after(500, say);
      };
      stop = clock.after(100, say);
    },
    write: async () => {},
    close: async () => stop(),
  };
}

/** A link that stays when the board starts again, as a cable behind an adapter does. */
function adapter(link: ByteLink): ByteLink {
  let isOpen = false;
  return {
    label: link.label,
    open: async (listener) => {
      isOpen = true;
      const open = (): Promise<void> =>
        link.open({
          bytes: (chunk) => listener.bytes(chunk),
          closed: () => void (isOpen && Promise.resolve().then(open)),
        });
      await open();
    },
    write: async (bytes) => {
      try {
        await link.write(bytes);
      } catch (error) {
        if (!(error instanceof LinkError)) throw error; // lost while the board starts
      }
    },
    close: async () => {
      isOpen = false;
      await link.close();
    },
  };
}

async function sealed(on: ReturnType<typeof patient>): Promise<string> {
  return on.using(async (board) => {
    await board.seal(0, await board.stage(plainSet({ 2: 0.01 })));
    return board.identity.serial;
  });
}

describe('a board in trouble is told apart', () => {
  test('well: it answers, goes on answering, and has coefficients', async () => {
    const on = patient();
    await sealed(on);
    const finding = await on.found();
    expect(finding).toMatchObject({ cause: 'well', volt: 3.9, heard: { endings: 0, broken: 0 } });
    expect(finding.runningMs).toBeGreaterThan(10_000);
  });

  test('silent: not one byte comes', async () => {
    const on = patient({}, { quirks: { manners: { silent: true, lateMs: 0, twice: false } } });
    expect(await on.found()).toMatchObject({ cause: 'silent', heard: { bytes: 0 } });
    expect(await on.found(nothing())).toMatchObject({ cause: 'silent' });
  });

  test('garbage: bytes come that are no text', async () => {
    const on = patient({}, { quirks: { garbled: true } });
    const finding = await on.found();
    expect(finding.cause).toBe('garbage');
    expect(finding.heard.bytes).toBeGreaterThan(1000);
    expect(finding.heard.lines).toBe(0);
  });

  test('other talk: text comes that is not this protocol, or what was sent comes back', async () => {
    const on = patient();
    const boots = talker(on.clock, 'loader 2.1, waiting for an image\r\n');
    const finding = await on.found(boots);
    expect(finding.cause).toBe('other_talk');
    expect(finding.heard.sample).toContain('loader 2.1');
    let say = (_: Uint8Array) => {};
    const loop: ByteLink = {
      ...nothing(),
      open: async ({ bytes }) => void (say = bytes),
      write: async (bytes) => void on.clock.after(1, () => say(bytes)),
    };
    const echo = await on.found(loop);
    expect(echo.cause).toBe('other_talk');
    expect(echo.detail).toContain('comes back');
  });

  test('damaged: whole lines come, but hello does not get through', async () => {
    const on = patient();
    const deaf = { ...on.link, label: '', open: on.link.open.bind(on.link), close: on.link.close.bind(on.link) }; // prettier-ignore
    deaf.write = (bytes) => on.link.write(bytes.map((byte) => (byte === 0x6c ? 0x6d : byte)));
    expect(await on.found(deaf)).toMatchObject({ cause: 'damaged' });
  });

  test.each([130, 700, 4000])(
    'restarting: it starts again every %i ms, whether the link drops with it or stays',
    async (restartsEveryMs) => {
      const drops = patient({}, { quirks: { restartsEveryMs } });
      expect(await drops.found()).toMatchObject({ cause: 'restarting', heard: { endings: 3 } });
      const stays = patient({}, { quirks: { restartsEveryMs } });
      expect(await stays.found(adapter(stays.link))).toMatchObject({ cause: 'restarting' });
    },
  );

  test('not restarting, when it started again once and then goes on', async () => {
    const on = patient();
    await sealed(on);
    on.clock.after(3000, () => on.board.restart());
    expect(await on.found()).toMatchObject({ cause: 'well', heard: { endings: 1 } });
  });

  test('other version: it answers hello with a version that is not spoken here', async () => {
    const on = patient();
    const two = changed(on.link, hello({ protocol: '2' }));
    expect(await on.found(two)).toMatchObject({ cause: 'other_version', version: '2' });
    const other = changed(on.link, hello({ protocol: '3', acc_scale: 'none' }));
    expect(await on.found(other)).toMatchObject({ cause: 'other_version', version: '3' });
  });

  test('makes no sense: hello is answered as no board may answer it', async () => {
    const on = patient();
    const finding = await on.found(changed(on.link, hello({ acc_scale: 'none' })));
    expect(finding.cause).toBe('makes_no_sense');
    expect(finding.detail).toContain('acc_scale');
  });

  test('refuses: hello is answered with an error', async () => {
    const on = patient();
    const no = changed(on.link, (text) => {
      const line = parseLine(text);
      const isAnswer = typeof line !== 'string' && line.kind === 'answer';
      return isAnswer ? formatAnswer(line.tag, false, { code: 'low_power' }) : text;
    });
    const finding = await on.found(no);
    expect(finding.cause).toBe('refuses');
    expect(finding.detail).toContain('supply is too low');
  });

  test('on trial: firmware runs that nobody has confirmed', async () => {
    const on = patient();
    await putOnTrial(on);
    const finding = await on.found();
    expect(finding).toMatchObject({ cause: 'on_trial', trial: { version: '1.1', seconds: 120 } });
    on.clock.advance(120_000);
    expect((await on.found()).cause).toBe('no_coefficients');
  });

  test('coefficients lost: none in force, or older ones, where more is known of that very board', async () => {
    const on = patient();
    const empty = await on.found();
    expect(empty.cause).toBe('no_coefficients');
    const { serial } = empty.identity!;
    const known = (generation: number, of = serial) => ({ serial: of, generation });
    expect((await on.found(on.link, known(2))).cause).toBe('coefficients_lost');
    expect((await on.found(on.link, known(2, 'another'))).cause).toBe('no_coefficients');
    await sealed(on);
    const older = await on.found(on.link, known(2));
    expect(older.cause).toBe('coefficients_lost');
    expect(older.detail).toContain('runs generation 1, and generation 2 was saved');
    expect((await on.found(on.link, known(1))).cause).toBe('well');
  });

  test('coefficients lost: what it gives for them is damaged', async () => {
    const on = patient();
    await sealed(on);
    const damaged = changed(on.link, (text) => {
      const line = parseLine(text);
      if (typeof line === 'string' || line.kind !== 'answer' || !('words' in line.fields)) return text; // prettier-ignore
      return formatAnswer(line.tag, true, { ...line.fields, crc: '00000000' });
    });
    const finding = await on.found(damaged);
    expect(finding.cause).toBe('coefficients_lost');
    expect(finding.detail).toContain('crc');
  });

  test('no link: it cannot be opened, or is gone while it is examined', async () => {
    const on = patient();
    const refuse = () => Promise.reject(new LinkError('unreachable', 'there is no such port'));
    expect(await on.found({ ...nothing(), open: refuse })).toMatchObject({
      ...{ cause: 'no_link', link: 'unreachable', detail: 'there is no such port' },
    });
    on.clock.after(4000, () => on.board.cutPower());
    const gone = { ...on.link, label: '', write: on.link.write.bind(on.link), close: on.link.close.bind(on.link) }; // prettier-ignore
    gone.open = (listener) => (on.board.hasPower ? on.link.open(listener) : refuse());
    expect(await on.found(gone)).toMatchObject({ cause: 'no_link', link: 'unreachable' });
  });
});

describe('on a serial port', () => {
  /** What is said at another speed than the board's is noise both ways. */
  const portOf = (on: ReturnType<typeof patient>, own: number) => (speed: number) => {
    if (speed === own) return on.link;
    const noisy = changed(on.link, () => Uint8Array.of(0xf8, 0x00, 0x80, 0xff, 0x1c));
    noisy.write = (bytes) => on.link.write(bytes.map((byte) => (byte * 37) & 0xff));
    return noisy;
  };

  test('the speed is found at which the board answers, and what else is the matter', async () => {
    const on = patient();
    const finding = await on.speeds(portOf(on, 38_400), 115_200);
    expect(finding).toMatchObject({ cause: 'wrong_speed', speed: 38_400 });
    expect(finding.then?.cause).toBe('no_coefficients');
    const { code, out } = rescueOutcome(finding, { port: '/dev/ttyUSB0', json: false });
    expect(code).toBe(1);
    expect(out).toContain('--baud 38400');
    expect(out).toContain('The board has no coefficients');
  });

  test('a board that answers at the given speed is tried at no other', async () => {
    const on = patient();
    const tried: number[] = [];
    const finding = await on.speeds((speed) => {
      tried.push(speed);
      return on.link;
    }, 9600);
    expect(finding.cause).toBe('no_coefficients');
    expect(tried).toEqual([9600]);
  });

  test('what is silent at every speed is silent', async () => {
    const on = patient({}, { quirks: { manners: { silent: true, lateMs: 0, twice: false } } });
    expect((await on.speeds(() => on.link, 115_200)).cause).toBe('silent');
  });
});

test('whatever ails a board, examining it writes nothing to what it keeps', async () => {
  const quirks = fc.record<Partial<Quirks>>({
    garbled: fc.boolean(),
    restartsEveryMs: fc.constantFrom(0, 150, 900, 5000),
    volt: fc.constantFrom(3.9, 3.2),
    manners: fc.record({
      silent: fc.boolean(),
      lateMs: fc.constantFrom(0, 700, 2500),
      twice: fc.boolean(),
    }),
  });
  const rate = fc.constantFrom(0, 0.001, 0.02);
  const faults = fc.record({ lose: rate, double: rate, flip: rate, delayMs: fc.constant(0) });
  const one = fc.asyncProperty(
    fc.record({ quirks, faults, trial: fc.boolean(), sealed: fc.boolean() }),
    async (given) => {
      const on = patient();
      if (given.sealed) await sealed(on);
      await keepSomething(on);
      if (given.trial) await putOnTrial(on);
      const before = stateOf(on.board);
      on.board.quirk(given.quirks);
      await on.board.adjust({ faults: given.faults });
      const sent: string[] = [];
      const heard: ByteLink = {
        label: on.link.label,
        open: (listener) => on.link.open(listener),
        write: (bytes) => {
          sent.push(Buffer.from(bytes).toString('latin1'));
          return on.link.write(bytes);
        },
        close: () => on.link.close(),
      };
      const finding = await on.found(heard);
      expect(RESCUE_CAUSES).toContain(finding.cause);
      const verbs = [...sent.join('').matchAll(/\?\d+ ([a-z]+)/g)].map(([, verb]) => verb);
      const harmless = ['hello', 'memory', 'sense', 'image', 'coefficients', 'again', 'recall'];
      expect(verbs.filter((verb) => !harmless.includes(verb!))).toEqual([]);
      // a trial that ended by a restart of its own is the board's doing
      if (!given.trial) expect(stateOf(on.board)).toEqual(before);
    },
  );
  await fc.assert(one, { numRuns: 25 });
});

test('every finding has its words: what happened, what is safe, what can be done', async () => {
  const { identity } = await patient().found();
  const heard = { bytes: 40, printable: 4, lines: 2, broken: 3, sample: '\\xF8', endings: 3 };
  for (const cause of RESCUE_CAUSES) {
    const finding: RescueFinding = {
      ...{ cause, heard, detail: 'why it is so', version: '2', speed: 9600, runningMs: 4000 },
      trial: { version: '1.1', seconds: 120 },
      ...(identity && { identity }),
    };
    const { heading, happened, safe, next } = rescueWords(finding);
    expect(happened).toMatch(/\. Why it is so\.$/);
    expect(safe).toContain('Nothing that the board keeps was changed');
    expect(next.length).toBeGreaterThan(0);
    expect([heading, happened, ...next].join(' ')).not.toMatch(/undefined|NaN|terminal/);
    const { code, err = '' } = rescueOutcome(finding, { port: 'PORT', json: false });
    expect(code === 0).toBe(err === '');
  }
});

const stateOf = (board: SimulatedBoard) => Buffer.from(board.memoryImage()).toString('base64');

/** A reading, a name and a setting of its own. */
const keepSomething = (on: ReturnType<typeof patient>) =>
  on.using(async (board) => {
    await board.mode('collect');
    await board.capture();
    await board.mode('idle');
    await board.ask('rename', { to: 'kept' });
    await board.ask('change', { name: 'sleep', value: '25' });
    await board.ask('adopt', { replaces: 0 });
  });

/** Firmware that is healthy and that nobody confirms. */
async function putOnTrial(on: ReturnType<typeof patient>): Promise<void> {
  const program = Uint8Array.of(CONDUCT.healthy, 1, 2);
  const file = formatImage({ hardware: 'simulated 1', version: '1.1', program });
  await on.using(async (board) => {
    for await (const _ of sendImage(board, file));
    const { crc } = await board.ask('image', {});
    await board.ask('swap', { crc: crc! });
  });
  on.clock.advance(1000);
}
