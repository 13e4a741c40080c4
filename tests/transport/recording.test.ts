import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { linkBoard, type Board, type BoardReading } from '../../src/protocol/board.ts';
import { formatAnswer, formatEvent, formatRequest } from '../../src/protocol/line.ts';
import type { ByteLink } from '../../src/protocol/link.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import {
  playedBack,
  readRecording,
  recordedLink,
  type Recording,
} from '../../src/transport/recording.ts';
import { byteLinkContract } from './contract.ts';
import { PROBE } from './probe.ts';

const encode = (text: string) => new TextEncoder().encode(text);

function recordingOf(lines: readonly string[]): Recording {
  const read = readRecording(encode(`${lines.join('\n')}\n`));
  if (!read.ok) throw new Error(read.message);
  return read.recording;
}

/** Some conversations with a simulated board, as they were written down. */
async function recorded(
  talk: (
    link: ByteLink,
    clock: VirtualClock,
    board: ReturnType<typeof inProcessBoard>,
  ) => Promise<void>,
): Promise<string[]> {
  const clock = new VirtualClock();
  const made = inProcessBoard(defaultSettings, clock);
  const lines: string[] = [];
  await talk(
    recordedLink(made.link, clock, (line) => lines.push(line)),
    clock,
    made,
  );
  return lines;
}

const deaf = { bytes: () => {}, closed: () => {} };

/** Says hello three times in each of four openings. */
const probes = await recorded(async (link, clock) => {
  for (let opening = 0; opening < 4; opening++) {
    await clock.run(link.open(deaf));
    for (let hello = 0; hello < 3; hello++) {
      await clock.run(link.write(PROBE.send));
      clock.advance(1000);
    }
    await clock.run(link.close());
  }
});

byteLinkContract('a recording played back', () => {
  const clock = new VirtualClock();
  const { link, stop } = playedBack(recordingOf(probes), clock);
  return {
    link,
    probe: PROBE,
    drop: async () => stop(),
    run: (work) => clock.run(work),
    settle: async () => clock.advance(1000),
    end: () => {},
  };
});

byteLinkContract('a link that is written down', () => {
  const clock = new VirtualClock();
  const { link, board } = inProcessBoard(defaultSettings, clock);
  return {
    link: recordedLink(link, clock, () => {}),
    probe: PROBE,
    drop: async () => board.dropAfter(0),
    run: (work) => clock.run(work),
    settle: async () => clock.advance(1000),
    end: () => {},
  };
});

/** Links, takes two readings by request and one by the trigger, and ends. */
async function conversation(
  link: ByteLink,
  clock: VirtualClock,
  random: () => number,
  press: () => Promise<void>,
): Promise<{ readings: BoardReading[]; serial: string }> {
  const readings: BoardReading[] = [];
  let board!: Board;
  const lost: string[] = [];
  await clock.run(
    (async () => {
      board = await linkBoard(link, {
        clock,
        random,
        onReading: (reading) => readings.push(reading),
        onLost: (error) => lost.push(error.message),
      });
      await board.mode('collect');
      await board.capture();
      await press();
      await new Promise<void>((resolve) => void clock.after(3000, resolve));
      await board.capture();
      await board.mode('idle');
      await board.close();
    })(),
  );
  expect(lost).toEqual([]);
  return { readings, serial: board.identity.serial };
}

describe('a recording', () => {
  test('of a whole conversation plays the same readings to a host with other numbers', async () => {
    let first!: Awaited<ReturnType<typeof conversation>>;
    const lines = await recorded(async (link, clock, { control }) => {
      first = await conversation(
        link,
        clock,
        () => 0.25,
        () => control.press(),
      );
    });
    expect(first.readings.map(({ reading }) => reading)).toEqual([1, 2, 3]);

    const clock = new VirtualClock();
    const { link } = playedBack(recordingOf(lines), clock);
    const again = await conversation(
      link,
      clock,
      () => 0.75,
      async () => {},
    );
    expect(again).toEqual(first);
  });

  test('plays to a host that is quicker than it was: what the board had said comes first, at once', async () => {
    const clock = new VirtualClock();
    const { link } = playedBack(
      recordingOf([
        'lodebench-recording 1',
        '0 + board',
        '10 > one',
        '20 < answer to one',
        '9000 < said much later',
        '9500 > two',
        '9600 < answer to two',
      ]),
      clock,
    );
    const heard: string[] = [];
    await link.open({
      bytes: (chunk) => heard.push(new TextDecoder().decode(chunk).trim()),
      closed: () => {},
    });
    await link.write(encode('one\n'));
    clock.advance(10);
    expect(heard).toEqual(['answer to one']);
    await link.write(encode('two\n'));
    expect(heard).toEqual(['answer to one']);
    clock.advance(0);
    expect(heard).toEqual(['answer to one', 'said much later']);
    clock.advance(99);
    expect(heard).toHaveLength(2);
    clock.advance(1);
    expect(heard).toEqual(['answer to one', 'said much later', 'answer to two']);
  });

  test('rewrites tag, host number and check of an answer, and leaves any other line as it was', async () => {
    const clock = new VirtualClock();
    const text = (bytes: Uint8Array) => new TextDecoder().decode(bytes).trim();
    const hello = (tag: number, host: string) =>
      text(formatRequest(tag, 'hello', { host, protocol: 1 }));
    const answer = (tag: number, host: string) =>
      text(formatAnswer(tag, true, { host, serial: 'A' }));
    const event = text(formatEvent(1, 'power', { volt: 3 }));
    const damaged = answer(7, '7F3A09C2').replace('serial=A', 'serial=B');
    const { link } = playedBack(
      recordingOf([
        'lodebench-recording 1',
        '0 + board',
        `0 > ${hello(7, '7F3A09C2')}`,
        `1 < ${answer(7, '7F3A09C2')}`,
        `2 < ${event}`,
        `3 < ${damaged}`,
      ]),
      clock,
    );
    let heard = '';
    await link.open({
      bytes: (chunk) => (heard += new TextDecoder().decode(chunk)),
      closed: () => {},
    });
    await link.write(encode(`${hello(12, '00000001')}\n`));
    clock.advance(10);
    expect(heard.split('\n')).toEqual([answer(12, '00000001'), event, damaged, '']);
  });

  test('ends when the board did, for the same reason', async () => {
    const lines = await recorded(async (link, clock, { board }) => {
      await clock.run(link.open(deaf));
      await clock.run(link.write(PROBE.send));
      clock.advance(700);
      board.dropAfter(0);
    });
    const clock = new VirtualClock();
    const { link } = playedBack(recordingOf(lines), clock);
    const endings: [number, string, string][] = [];
    await clock.run(
      link.open({
        bytes: () => {},
        closed: ({ cause, message }) => endings.push([clock.now(), cause, message]),
      }),
    );
    clock.advance(5000);
    expect(endings).toEqual([]);
    await clock.run(link.write(PROBE.send));
    clock.advance(5000);
    expect(endings).toEqual([[5700, 'gone', 'the link to the simulated board dropped']]);
    await expect(clock.run(link.open(deaf))).rejects.toMatchObject({ cause: 'unreachable' });
  });

  test('says where the host departs from it, and what each says', async () => {
    const clock = new VirtualClock();
    const { link } = playedBack(recordingOf(probes), clock);
    const endings: unknown[] = [];
    await link.open({ bytes: () => {}, closed: (end) => endings.push(end) });
    await link.write(encode('?1 memory #2A2A\n?2 sense\n'));
    expect(endings).toEqual([
      expect.objectContaining({
        cause: 'failed',
        message:
          'the host departed from the recording: the host said “?1 memory #2A2A”, where the recording, line 3, has “?1 hello host=0000ABCD protocol=1 #C0C9”',
      }),
    ]);
    await link.open({ bytes: () => {}, closed: (end) => endings.push(end) });
    for (let hello = 0; hello < 4; hello++) {
      await link.write(PROBE.send); // the fourth is said again, as a host does that waits
      clock.advance(1000);
    }
    expect(endings).toHaveLength(1);
    await link.write(encode('?2 sense\n'));
    expect(endings[1]).toMatchObject({
      message: expect.stringContaining('nothing more from the host'),
    });
  });
});

describe('a recording is written', () => {
  test('so that a person can read it', () => {
    expect(probes.slice(0, 5).map((line) => line.slice(0, 44))).toEqual([
      'lodebench-recording 1',
      '0 + simulated board',
      '0 > ?1 hello host=0000ABCD protocol=1 #C0C9',
      '0 < =1 ok host=0000ABCD protocol=1 serial=SI',
      '1000 > ?1 hello host=0000ABCD protocol=1 #C0C9'.slice(0, 44),
    ]);
  });

  test('and read again with every byte that crossed the link, whatever it was and however it was cut', async () => {
    const bytes = fc.array(
      fc.oneof(fc.integer({ min: 0, max: 255 }), fc.constantFrom(0x0a, 0x0d, 0x20, 0x5c)),
      { maxLength: 80 },
    );
    const chunks = fc.array(fc.record({ toBoard: fc.boolean(), bytes }), { maxLength: 8 });
    await fc.assert(
      fc.asyncProperty(chunks, async (pieces) => {
        const lines: string[] = [];
        let say!: (chunk: Uint8Array) => void;
        const link: ByteLink = {
          label: 'a link of bytes',
          open: async (listener) => void (say = (chunk) => listener.bytes(chunk)),
          write: async () => {},
          close: async () => {},
        };
        const written = recordedLink(link, new VirtualClock(), (line) => lines.push(line));
        await written.open(deaf);
        for (const piece of pieces) {
          if (piece.toBoard) await written.write(Uint8Array.from(piece.bytes));
          else say(Uint8Array.from(piece.bytes));
        }
        await written.close();
        for (const line of lines) expect(line).toMatch(/^[ -~]*$/);
        const [opening] = recordingOf(lines).openings;
        const board = [...opening!.before, ...opening!.exchanges.flatMap((each) => each.board)];
        expect(board.flatMap((each) => [...each.bytes])).toEqual(
          pieces.filter((piece) => !piece.toBoard).flatMap((piece) => piece.bytes),
        );
      }),
      { numRuns: 300 },
    );
  });
});

describe('a file that is no recording is refused, and the line named:', () => {
  const head = 'lodebench-recording 1';
  test.each([
    ['an empty file', [''], 'wrong_type', 1],
    ['another file', ['id,ax,ay,az'], 'wrong_type', 1],
    ['one of a later version', ['lodebench-recording 2', '0 + a'], 'newer_version', 1],
    ['one without a link', [head, ''], 'empty', undefined],
    ['a time that is none', [head, '0 + a', 'now > hello'], 'bad_line', 3],
    ['a mark that is none', [head, '0 + a', '', '0 ? hello'], 'bad_line', 4],
    ['a letter outside ASCII', [head, '0 + a', '0 > grüße'], 'bad_line', 3],
    ['half an escape', [head, '0 + a', '0 > \\x4'], 'bad_line', 3],
    ['an end of no known cause', [head, '0 + a', '0 - tired of it'], 'bad_line', 3],
    ['time that goes back', [head, '5 + a', '4 > hello'], 'out_of_order', 3],
    ['words before any link', [head, '0 > hello'], 'out_of_order', 2],
    ['words after the end', [head, '0 + a', '1 -', '2 < hello'], 'out_of_order', 4],
    ['a link within a link', [head, '0 + a', '1 + b'], 'out_of_order', 3],
  ] as const)('%s', (_, lines, cause, line) => {
    const read = readRecording(encode(lines.join('\n')));
    expect(read).toMatchObject({ ok: false, cause, ...(line !== undefined && { line }) });
    if (!read.ok && line !== undefined) expect(read.message).toContain(`line ${line}`);
  });

  test('whatever bytes it is made of, and without an exception', () => {
    fc.assert(
      fc.property(
        fc.array(fc.oneof(fc.constantFrom('0 + a', '1 > x', '2 < y', '3 -'), fc.string())),
        (lines) => {
          const read = readRecording(encode([head, ...lines].join('\n')));
          if (!read.ok) expect(read.message).toContain('Nothing was changed.');
        },
      ),
      { numRuns: 300 },
    );
  });
});
