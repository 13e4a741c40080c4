import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { VirtualClock as SimulatorClock } from '../../firmware-sim/clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { lineByHand } from '../../src/protocol/by-hand.ts';
import { linkBoard } from '../../src/protocol/board.ts';
import { LINE_LIMIT, parseLine } from '../../src/protocol/line.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';

/** A linked simulated board, and every line that crosses. */
async function linked() {
  const clock = new SimulatorClock();
  const { link, board: simulated } = inProcessBoard(defaultSettings, clock);
  const wire: string[] = [];
  const readings: number[] = [];
  const board = await clock.run(
    linkBoard(link, {
      clock,
      random: () => 0.5,
      onReading: ({ reading }) => readings.push(reading),
      onLost: () => expect.fail('the link was lost'),
      onWire: (direction, line) => wire.push(`${direction === 'to_board' ? '>' : '<'} ${line}`),
    }),
  );
  return { clock, simulated, board, wire, readings };
}

describe('a line typed by hand', () => {
  test('goes out as it stands, without a check, and its answer is given', async () => {
    const { clock, board, wire } = await linked();
    const answer = await clock.run(board.byHand('?700 memory'));
    expect(answer).toMatchObject({ tag: 700, ok: true, fields: { count: ['0'] } });
    expect(wire).toContain('> ?700 memory');
  });

  test('without a tag gets the next one', async () => {
    const { clock, board, wire } = await linked();
    await clock.run(board.byHand(' coefficients which=in_force '));
    expect(wire.at(-2)).toMatch(/^> \?\d+ coefficients which=in_force$/);
  });

  test.each(['seal replaces=0 crc=00000000', 'erase through=0', 'revert replaces=0'])(
    'cannot change what the board keeps: “%s”',
    async (text) => {
      const { clock, board } = await linked();
      const answer = await clock.run(board.byHand(text));
      expect(answer).toMatchObject({ ok: false, fields: { code: ['check_needed'] } });
    },
  );

  test('that is no request is sent too, and what the board says to it is its answer', async () => {
    const { clock, board } = await linked();
    expect(await clock.run(board.byHand('=1 ok'))).toMatchObject({ tag: 0, ok: false });
    expect(await clock.run(board.byHand('Good morning'))).toMatchObject({ tag: 0, ok: false });
  });

  test('waits its turn, and a tag it uses up is not given to the next request', async () => {
    const { clock, board, wire } = await linked();
    const next = Number(/^> \?(\d+)/.exec(wire.findLast((line) => line.startsWith('>'))!)![1]) + 1;
    await clock.run(
      Promise.all([
        board.byHand(`?${next + 1} sense`),
        board.mode('collect'),
        board.memory(),
        board.capture(),
      ]),
    );
    const sent = wire.filter((line) => line.startsWith('> ')).slice(-4);
    expect(sent.map((line) => line.split(' ').slice(1, 3).join(' '))).toEqual([
      `?${next + 1} sense`,
      `?${next} mode`,
      `?${next + 2} memory`,
      `?${next + 3} capture`,
    ]);
    // One at a time: each request has its answer before the next goes out.
    const marks = wire.slice(wire.indexOf(sent[0]!)).map((line) => line[0] + line[2]!);
    expect(marks.join(' ')).toBe('>? <= >? <= >? <= >? <! <=');
  });

  test('that asks for events once more brings none twice', async () => {
    const { clock, board, readings } = await linked();
    await clock.run(board.mode('collect'));
    await clock.run(board.capture());
    await clock.run(board.byHand('again from=1'));
    expect(readings).toEqual([1]);
  });

  test('to a board that does not answer is given up after one attempt', async () => {
    const { clock, board, simulated, wire } = await linked();
    simulated.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
    const before = wire.length;
    await expect(clock.run(board.byHand('sense'))).rejects.toMatchObject({
      fault: { cause: 'no_answer', verb: 'sense' },
    });
    expect(wire.length).toBe(before + 1);
  });
});

describe('is not sent:', () => {
  test.each([
    ['', 'is empty'],
    ['?5 seal replaces=0 crc=00000000 #29B1', 'without a check'],
    ['hello host=00000001 protocol=1', 'link the board again'],
    ['name set=Brücke', 'printable ASCII'],
    [`sense ${'x'.repeat(320)}`, '320 bytes'],
  ])('“%s”', async (text, why) => {
    const { clock, board, wire } = await linked();
    const before = wire.length;
    await expect(clock.run(board.byHand(text))).rejects.toMatchObject({
      fault: { cause: 'unsendable', why: expect.stringContaining(why) },
    });
    expect(wire.length).toBe(before);
  });

  test('anything that would arrive as a line with a check, or be no line at all', () => {
    const text = fc.oneof(
      fc.string({ maxLength: 330 }),
      fc.string({ unit: 'binary', maxLength: 40 }),
      fc
        .tuple(
          fc.constantFrom('?1 sense', 'erase through=1', ''),
          fc.stringMatching(/^[ #0-9A-F]*$/),
        )
        .map((parts) => parts.join(' #')),
    );
    fc.assert(
      fc.property(text, fc.integer({ min: 1, max: 999_999 }), (typed, tag) => {
        const made = lineByHand(typed);
        if (!made.ok) return;
        const line = made.line(tag);
        expect(line.length).toBeLessThan(LINE_LIMIT);
        expect(line).toMatch(/^[\x20-\x7e]+$/);
        const parsed = parseLine(line);
        expect(typeof parsed === 'string' || !parsed.checked).toBe(true);
      }),
      { numRuns: 2000 },
    );
  });
});
