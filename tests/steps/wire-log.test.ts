import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { linkBoard, type Board, type BoardReading } from '../../src/protocol/board.ts';
import type { ByteLink } from '../../src/protocol/link.ts';
import { WIRE_KEPT, WireLog } from '../../src/steps/wire-log.ts';
import { NO_FILTER, WireReader } from '../../src/steps/wire-rows.ts';
import { sendByHand } from '../../src/steps/wire-words.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { playedBack, readRecording } from '../../src/transport/recording.ts';

const NOON = new Date(2031, 4, 1, 12, 0, 0);
const ALL = { until: Infinity, most: WIRE_KEPT };

function fresh() {
  const clock = new VirtualClock();
  const log = new WireLog(clock, NOON);
  const reader = new WireReader(log);
  const rows = (filter = NO_FILTER) => reader.rows(filter, ALL.until, ALL.most).rows;
  return { clock, log, reader, rows };
}

/** Links over a link, with the log listening. */
function linked(link: ByteLink, clock: VirtualClock, log: WireLog) {
  const readings: BoardReading[] = [];
  const linking = linkBoard(link, {
    clock,
    random: () => 0.25,
    onReading: (reading) => readings.push(reading),
    onLost: (error) => log.ended(error.message),
    onWire: (direction, line) => log.line(direction, line, link.label),
  });
  return { linking, readings };
}

/** What a person might do with a board. Gives what it said. */
async function talk(board: Board) {
  await board.mode('collect');
  const numbers = [await board.capture(), await board.capture()];
  await board.mode('idle');
  return { numbers, memory: await board.memory(), inForce: await board.coefficients('in_force') };
}

describe('looks at the sensors in a row', () => {
  const look = (tag: number) => `?${tag} sense #0000`;
  const texts = (log: WireLog) =>
    Array.from({ length: log.last }, (_, i) => log.entry(i + 1)!.text);

  test('are one, the latest, with how many they were', async () => {
    const { clock, log, rows } = fresh();
    const { link } = inProcessBoard(defaultSettings, clock);
    const board = await clock.run(linked(link, clock, log).linking);
    const before = log.last;
    for (let i = 0; i < 5; i++) await clock.run(board.sense());
    expect(log.last).toBe(before + 2);
    expect(rows().at(-2)).toMatchObject({
      mark: '>',
      meaning: 'what do the sensors show? (nothing is stored) (the latest of 5 looks in a row)',
    });
    await clock.run(board.memory());
    await clock.run(board.sense());
    expect(log.last).toBe(before + 6);
    expect(log.entry(log.last)?.times).toBeUndefined();
    const played = readRecording(new TextEncoder().encode(log.recording()));
    expect(played.ok).toBe(true);
  });

  test('are shown one by one where one was refused, got no answer, was typed by hand, or had something between', () => {
    const { log } = fresh();
    const said: ['to_board' | 'from_board', string][] = [
      ['to_board', look(1)],
      ['from_board', '=1 ok x=1'],
      ['to_board', look(2)],
      ['from_board', '=2 error code=busy'],
      ['to_board', look(3)],
      ['from_board', '=3 ok x=1'],
      ['to_board', look(4)],
      ['from_board', '!1 reading'],
      ['from_board', '=4 ok x=2'],
      ['to_board', '?5 sense'],
      ['from_board', '=5 ok x=3'],
    ];
    for (const [way, text] of said) log.line(way, text, 'a link');
    expect(texts(log)).toEqual(said.map(([, text]) => text));
    log.line('to_board', '?1 hello host=00000001', 'a link');
    log.line('to_board', look(2), 'a link');
    log.line('from_board', '=2 ok x=1', 'a link');
    log.line('to_board', look(3), 'a link');
    log.ended('it dropped');
    expect(texts(log).slice(-3)).toEqual(['=2 ok x=1', look(3), 'it dropped']);
  });
});

describe('a wire log', () => {
  test('shows each line with its time, its way and what it says', async () => {
    const { clock, log, rows } = fresh();
    const { link } = inProcessBoard(defaultSettings, clock);
    const board = await clock.run(linked(link, clock, log).linking);
    await clock.run(board.mode('collect'));
    await clock.run(board.capture());
    await clock.run(board.byHand('erase through=1'));
    const shown = rows().map(({ mark, meaning }) => `${mark} ${meaning}`);
    expect(shown).toEqual([
      '+ the link was opened: simulated board',
      '> opens a conversation, in version 1 of the protocol at most',
      expect.stringMatching(/^< it is SIM-[0-9A-F]+, “Simulated board”, and runs generation 0$/),
      '> which readings are in the memory?',
      expect.stringMatching(/^< no readings are in it; room for \d+ more$/),
      '> collect readings from now on',
      '< it collects readings',
      '> take a reading',
      expect.stringMatching(/^< reading 1: raw counts /),
      '< reading 1 was taken',
      '> typed by hand: forget every reading up to 1',
      '< no: The board changes what it keeps only for a line that carries its check.',
    ]);
    expect(rows()[0]!.time).toBe('12:00:00.000');
    const [asked, told] = rows().slice(7, 9);
    expect(asked!.time).toBe('12:00:00.000');
    expect(told!.time).toBe('12:00:00.300'); // how long the simulated board takes for a reading
  });

  test(`keeps the latest ${WIRE_KEPT} entries, and those before them are gone`, () => {
    const { log } = fresh();
    for (let n = 1; n <= WIRE_KEPT + 50; n++) log.line('from_board', `line ${n}`, '');
    expect([log.first, log.last]).toEqual([51, WIRE_KEPT + 50]);
    expect(log.entry(50)).toBeUndefined();
    expect(log.entry(51)?.text).toBe('line 51');
    expect(log.entry(WIRE_KEPT + 50)?.text).toBe(`line ${WIRE_KEPT + 50}`);
    expect(log.entry(WIRE_KEPT + 51)).toBeUndefined();
  });

  test('saves what can be played back as the same board', async () => {
    const { clock, log } = fresh();
    const { link, board: simulated } = inProcessBoard(defaultSettings, clock);
    const first = linked(link, clock, log);
    const board = await clock.run(first.linking);
    const said = await clock.run(talk(board));
    simulated.dropAfter(0);
    await clock.run(Promise.resolve()); // what was passed on before comes first

    const read = readRecording(new TextEncoder().encode(log.recording()));
    if (!read.ok) throw new Error(read.message);
    const later = new VirtualClock();
    const again = linked(playedBack(read.recording, later).link, later, new WireLog(later, NOON));
    expect(await later.run(again.linking.then(talk))).toEqual(said);
    expect(again.readings).toEqual(first.readings);
    expect(read.recording.openings).toMatchObject([{ label: 'simulated board' }]);
    expect(read.recording.openings[0]!.end?.cause).toBe('gone');
  });

  test('saves the conversations that are kept whole, when the beginning of the oldest is gone', () => {
    const { log } = fresh();
    log.line('to_board', '?1 hello host=00000001 protocol=1 #0000', 'first');
    for (let n = 0; n < WIRE_KEPT; n++) log.line('from_board', '!1 power volt=3 #0000', '');
    const cut = log.recording().split('\n');
    expect(cut.slice(0, 3)).toEqual([
      'lodebench-recording 1',
      '0 + link opened earlier',
      '0 < !1 power volt=3 #0000',
    ]);
    log.line('to_board', '?1 hello host=00000002 protocol=1 #0000', 'second');
    log.ended('the cable is \\ gone ');
    expect(log.recording().split('\n')).toEqual([
      'lodebench-recording 1',
      '0 + second',
      '0 > ?1 hello host=00000002 protocol=1 #0000',
      '0 - gone the cable is \\x5C gone\\x20',
      '',
    ]);
  });

  test('shows that bytes came that are no line, among what went wrong', () => {
    const { log, rows } = fresh();
    log.line('from_board', '\\xFE\\x80x\\x00', 'port');
    const [row] = rows({ ...NO_FILTER, kind: 'faults' });
    expect(row?.text).toBe('\\xFE\\x80x\\x00');
    expect(row?.meaning).toMatch(/wrong speed/);
  });

  test('a greeting sent again begins no other conversation', () => {
    const { log, rows } = fresh();
    for (let time = 0; time < 3; time++) {
      log.line('to_board', '?1 hello host=00000001 protocol=1 #0000', 'port');
    }
    expect(rows().map(({ mark }) => mark)).toEqual(['+', '>', '>', '>']);
  });

  test('whatever line comes has a meaning, and what is saved can be read', () => {
    const { log, rows } = fresh();
    const line = fc.oneof(
      fc.stringMatching(/^[\x20-\x7e]{1,60}$/),
      fc
        .tuple(
          fc.constantFrom('?3 ', '=3 ok ', '=3 error ', '!4 reading ', '!4 refused ', '?3 hello '),
          fc.constantFrom(
            'hello',
            'x=1',
            'code=busy',
            'code=%00',
            'acc=1,2,3 mag=1',
            'constructor=1',
          ),
        )
        .map((parts) => parts.join('')),
    );
    log.line('to_board', '?1 hello host=00000001 protocol=1 #0000', 'port');
    fc.assert(
      fc.property(fc.constantFrom('to_board', 'from_board'), line, (direction, text) => {
        log.line(direction, text, 'port');
        expect(rows().at(-1)!.meaning).not.toBe('');
      }),
      { numRuns: 300 },
    );
    expect(readRecording(new TextEncoder().encode(log.recording()))).toMatchObject({ ok: true });
  });
});

test('a line sent by hand is answered in words, whatever comes of it', async () => {
  const { clock, log } = fresh();
  const { link, board: simulated } = inProcessBoard(defaultSettings, clock);
  const board = await clock.run(linked(link, clock, log).linking);
  const said = (line: string) => clock.run(sendByHand(board, line));
  expect(await said('mode set=idle')).toBe('The board answered “it collects none”');
  expect(await said('erase through=0')).toMatch(/^The board answered “no: The board changes what/);
  expect(await said('sense #29B1')).toMatch(/^Not sent: the line holds a #/);
  simulated.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
  expect(await said('memory')).toMatch(/^The board did not answer “memory”\. Nothing/);
});

describe('of a wire log is shown', () => {
  function some() {
    const parts = fresh();
    const { log } = parts;
    log.line('to_board', '?1 hello host=00000001 protocol=1 #B813', 'port');
    log.line('to_board', '?2 sense #ED87', 'port');
    log.line('from_board', '=2 error code=saturated #0000', 'port'); // its check is wrong
    log.line('from_board', 'rubbish', 'port');
    log.line('from_board', '!1 reading reading=1 acc=1,2,3 #0000', 'port');
    log.ended('unplugged');
    return parts;
  }
  const texts = (rows: readonly { text: string }[]) => rows.map(({ text }) => text.slice(0, 8));

  test.each([
    [{ way: 'to_board' }, ['port', '?1 hello', '?2 sense', 'unplugge']],
    [{ way: 'from_board', kind: 'readings' }, ['!1 readi']],
    [{ kind: 'faults' }, ['=2 error', 'rubbish', '!1 readi', 'unplugge']],
    [{ holds: ' SENSE ' }, ['?2 sense']],
    [{ holds: 'nowhere' }, []],
  ] as const)('what is asked for: %o', (wanted, shown) => {
    const { rows } = some();
    expect(texts(rows({ ...NO_FILTER, ...wanted }))).toEqual(shown);
  });

  test('only so much, the newest of it, and none newer than where it was stopped', () => {
    const { reader, log } = some();
    const { rows, more } = reader.rows(NO_FILTER, log.last - 1, 2);
    expect(texts(rows)).toEqual(['rubbish', '!1 readi']);
    expect(more).toBe(true);
    expect(reader.rows(NO_FILTER, log.last, 7).more).toBe(false);
  });
});
