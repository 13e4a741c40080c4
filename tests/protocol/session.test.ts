import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { ProtocolError } from '../../src/protocol/errors.ts';
import { formatAnswer, formatEvent, parseLine } from '../../src/protocol/line.ts';
import { LinkError } from '../../src/protocol/link.ts';
import { EVENTS, VERBS } from '../../src/protocol/messages.ts';
import { Session, type BoardEvent } from '../../src/protocol/session.ts';
import { IDENTITY, reading, ScriptedBoard, ScriptedLink } from './scripted-board.ts';
import { settle, VirtualClock } from './virtual-clock.ts';

const HOST = 0x1234abcd;
const MEMORY = { first: 0, last: 0, count: 0, room: 9, dropped: 0 };

function setUp(link: ScriptedLink, signal?: AbortSignal) {
  const clock = new VirtualClock();
  const events: BoardEvent[] = [];
  const troubles: ProtocolError[] = [];
  const endings: ProtocolError[] = [];
  const opening = Session.open(link, {
    clock,
    host: HOST,
    listener: {
      event: (event) => events.push(event),
      trouble: (error) => troubles.push(error),
      ended: (error) => endings.push(error),
    },
    ...(signal && { signal }),
  });
  return { clock, events, troubles, endings, opening };
}

/** A link that answers hello and then does as `script` says. */
async function opened(script: (line: string, link: ScriptedLink) => void) {
  const link = new ScriptedLink();
  link.script = (line) => {
    if (line.includes(' hello ')) link.sayBytes(helloAnswer(line));
    else script(line, link);
  };
  const parts = setUp(link);
  const session = await parts.clock.until(parts.opening);
  link.heard.length = 0;
  return { ...parts, link, session };
}

async function openedBoard(board = new ScriptedBoard()) {
  const parts = setUp(board.link);
  const session = await parts.clock.until(parts.opening);
  await parts.clock.until(session.request('mode', { set: 'collect' }));
  return { ...parts, board, session };
}

function tagOf(line: string): number {
  const parsed = parseLine(line);
  if (typeof parsed === 'string' || parsed.kind !== 'request')
    throw new Error(`no request: ${line}`);
  return parsed.tag;
}

function helloAnswer(line: string, host = HOST): Uint8Array {
  return formatAnswer(tagOf(line), true, VERBS.hello.answer.write({ ...IDENTITY, host }));
}

function memoryAnswer(line: string, room = MEMORY.room): Uint8Array {
  return formatAnswer(tagOf(line), true, { ...MEMORY, room });
}

/** How a promise ended: its value, or the error. */
function outcome<T>(work: Promise<T>): Promise<T | ProtocolError> {
  return work.catch((error: ProtocolError) => error);
}

function numbers(events: readonly BoardEvent[]): number[] {
  return events.map((event) => (event.kind === 'reading' ? event.reading.reading : NaN));
}

function range(from: number, to: number): number[] {
  return Array.from({ length: to - from + 1 }, (_, at) => from + at);
}

describe('opening', () => {
  test('a board that is still starting is greeted every second, with one tag, until it answers', async () => {
    const link = new ScriptedLink();
    link.script = (line) => {
      if (link.heard.length === 4) link.sayBytes(helloAnswer(line));
    };
    const { clock, opening } = setUp(link);
    const session = await clock.until(opening);
    expect(session.identity.serial).toBe('T-1');
    expect(new Set(link.heard).size).toBe(1);
    expect(clock.now()).toBeGreaterThanOrEqual(3000);
    expect(clock.now()).toBeLessThan(3200);
  });

  test('a board that never answers is given up, and the link is closed', async () => {
    const link = new ScriptedLink();
    const { clock, opening, endings } = setUp(link);
    const error = await clock.until(outcome(opening));
    expect(error).toMatchObject({ fault: { cause: 'no_answer', verb: 'hello', may: 'nothing' } });
    expect(link.closings).toBe(1);
    expect(endings).toEqual([]);
  });

  test('an answer to an earlier conversation’s hello is not taken for ours', async () => {
    const link = new ScriptedLink();
    link.script = (line) => {
      link.sayBytes(helloAnswer(line, 1));
      if (link.heard.length === 2) link.sayBytes(helloAnswer(line));
    };
    const { clock, opening } = setUp(link);
    await clock.until(opening);
    expect(link.heard.length).toBe(2);
  });

  test('half a line in the board’s buffer is cleared before hello', async () => {
    const raw: number[] = [];
    const link = new ScriptedLink();
    const write = link.write.bind(link);
    link.write = (bytes) => {
      raw.push(...bytes);
      return write(bytes);
    };
    link.script = (line) => link.sayBytes(helloAnswer(line));
    const { clock, opening } = setUp(link);
    await clock.until(opening);
    expect(raw.slice(0, 2)).toEqual([0x0a, '?'.charCodeAt(0)]);
  });

  test('the answer to half a line in the board’s buffer, which had our tag, is not taken for hello’s', async () => {
    const link = new ScriptedLink();
    link.script = (line) => {
      const first = link.heard.length === 1;
      if (first) link.sayBytes(formatAnswer(tagOf(line), false, { code: 'no_hello' }));
      else link.sayBytes(helloAnswer(line));
    };
    const { clock, opening } = setUp(link);
    const session = await clock.until(opening);
    expect(session.identity.serial).toBe('T-1');
  });

  test('a board that refuses hello again and again is believed', async () => {
    const link = new ScriptedLink();
    link.script = (line) =>
      link.sayBytes(formatAnswer(tagOf(line), false, { code: 'bad_field', field: 'host' }));
    const { clock, opening } = setUp(link);
    const error = await clock.until(outcome(opening));
    expect(error).toMatchObject({ fault: { cause: 'refused', refusal: { code: 'bad_field' } } });
  });

  test('a board that speaks another version is refused by name of the version', async () => {
    const link = new ScriptedLink();
    link.script = (line) =>
      link.sayBytes(
        formatAnswer(
          tagOf(line),
          true,
          VERBS.hello.answer.write({ ...IDENTITY, host: HOST, protocol: 7 }),
        ),
      );
    const { clock, opening } = setUp(link);
    const error = await clock.until(outcome(opening));
    expect(error).toMatchObject({ fault: { cause: 'wrong_version', board: 7 } });
    expect(link.closings).toBe(1);
  });

  test('a link that will not open says why', async () => {
    const link = new ScriptedLink();
    link.open = () => Promise.reject(new Error('port in use'));
    const { opening } = setUp(link);
    expect(await outcome(opening)).toMatchObject({
      fault: { cause: 'link_refused', reason: 'port in use' },
    });
  });

  test('a link that hangs while opening can be given up, and is closed should it open after all', async () => {
    const link = new ScriptedLink();
    let openLate = () => {};
    link.open = () => new Promise((resolve) => (openLate = resolve));
    const stop = new AbortController();
    const { opening } = setUp(link, stop.signal);
    stop.abort();
    expect(await outcome(opening)).toMatchObject({ cause: 'cancelled' });
    const before = link.closings;
    openLate();
    await settle();
    expect(link.closings).toBe(before + 1);
  });

  test('a link that refuses to open after it was given up is no trouble', async () => {
    const link = new ScriptedLink();
    let refuse = (_: Error) => {};
    link.open = () => new Promise((_, reject) => (refuse = reject));
    const stop = new AbortController();
    const { opening, troubles } = setUp(link, stop.signal);
    stop.abort();
    await outcome(opening);
    refuse(new LinkError('none_chosen', 'nobody wants it'));
    await settle();
    expect(troubles).toEqual([]);
  });

  test('a link that does not close either does not hide why the board was not opened', async () => {
    const link = new ScriptedLink();
    link.close = () => Promise.reject(new LinkError('failed', 'the port hangs'));
    const { clock, opening, troubles } = setUp(link);
    expect(await clock.until(outcome(opening))).toMatchObject({ cause: 'no_answer' });
    expect(troubles.map(({ fault }) => fault)).toEqual([
      { cause: 'link_closed', link: 'failed', reason: 'the port hangs' },
    ]);
  });

  test('no write is longer than the board takes, 20 bytes before it said how many', async () => {
    const { link, session, clock } = await opened((line, it) => it.sayBytes(memoryAnswer(line)));
    expect(Math.max(...link.writes)).toBe(20);
    link.writes.length = 0;
    await clock.until(session.request('memory', {}));
    expect(link.writes).toEqual([link.heard[0]!.length + 1]);
  });
});

describe('a request', () => {
  test('that goes unanswered is sent three times, same bytes, and then given up', async () => {
    const { clock, session, link } = await opened(() => {});
    const error = await clock.until(outcome(session.request('erase', { through: 3 })));
    expect(error).toMatchObject({
      fault: { cause: 'no_answer', verb: 'erase', may: 'have_happened' },
    });
    expect(link.heard.length).toBe(3);
    expect(new Set(link.heard).size).toBe(1);
  });

  test('whose first answer is lost gets it by asking again, and is carried out once', async () => {
    const board = new ScriptedBoard();
    const { clock, session, events } = await openedBoard(board);
    let lost = 0;
    board.hurt = (direction, bytes) =>
      direction === 'from_board' && bytes[0] === 0x3d && lost++ === 0 ? new Uint8Array() : bytes;
    expect(await clock.until(session.request('capture', {}))).toEqual({ reading: 1 });
    expect(board.taken).toEqual([1]);
    expect(numbers(events)).toEqual([1]);
    expect(lost).toBeGreaterThan(1);
  });

  test('is not confused by the late answer to one that was given up', async () => {
    let late: Uint8Array | undefined;
    const { clock, session, link } = await opened((line, it) => {
      if (!late && it.heard.length < 3) return;
      if (!late) {
        late = memoryAnswer(line, 1);
        return;
      }
      it.sayBytes(late);
      it.sayBytes(memoryAnswer(line, 2));
    });
    expect(await clock.until(outcome(session.request('memory', {})))).toMatchObject({
      cause: 'no_answer',
    });
    expect(await clock.until(session.request('memory', {}))).toMatchObject({ room: 2 });
    expect(link.heard.length).toBe(4);
  });

  test('answered twice is answered once, and the second answer is not given to the next', async () => {
    let room = 0;
    const { clock, session } = await opened((line, it) => {
      room++;
      it.sayBytes(memoryAnswer(line, room));
      it.sayBytes(memoryAnswer(line, room));
    });
    const both = [session.request('memory', {}), session.request('memory', {})];
    expect(await clock.until(Promise.all(both))).toMatchObject([{ room: 1 }, { room: 2 }]);
  });

  test('ignores an answer with a tag that was never used', async () => {
    const { clock, session, link } = await opened((line, it) => {
      it.sayBytes(formatAnswer(tagOf(line) + 1, true, { ...MEMORY }));
    });
    const error = await clock.until(outcome(session.request('memory', {})));
    expect(error).toMatchObject({ cause: 'no_answer' });
    expect(link.heard.length).toBe(3);
  });

  test('ignores an answer without a check', async () => {
    const { clock, session } = await opened((line, it) =>
      it.sayText(`=${tagOf(line)} ok first=0 last=0 count=0 room=9 dropped=0\n`),
    );
    expect(await clock.until(outcome(session.request('memory', {})))).toMatchObject({
      cause: 'no_answer',
    });
  });

  test('answered with nonsense fails, naming the field', async () => {
    const { clock, session } = await opened((line, it) =>
      it.sayBytes(formatAnswer(tagOf(line), true, { ...MEMORY, room: 'NaN' })),
    );
    expect(await clock.until(outcome(session.request('memory', {})))).toMatchObject({
      fault: { cause: 'nonsense', field: 'room' },
    });
  });

  test('refused by the board fails with the board’s code, and words for it', async () => {
    const { clock, session } = await opened((line, it) =>
      it.sayBytes(formatAnswer(tagOf(line), false, { code: 'memory_full' })),
    );
    const error = await clock.until(outcome(session.request('capture', {})));
    expect(error).toMatchObject({
      fault: { cause: 'refused', verb: 'capture', refusal: { code: 'memory_full' } },
    });
    expect((error as ProtocolError).message).toContain('memory is full');
  });

  test('that finds the board taking a reading is made again when it has, under another tag', async () => {
    const heard: string[] = [];
    const { clock, session } = await opened((line, it) => {
      heard.push(line);
      const busy = heard.length <= 3;
      it.sayBytes(
        busy ? formatAnswer(tagOf(line), false, { code: 'busy' }) : memoryAnswer(line, 5),
      );
    });
    expect(await clock.until(session.request('memory', {}))).toMatchObject({ room: 5 });
    expect(new Set(heard.map(tagOf)).size).toBe(4);
  });

  test('to a board that stays busy is given up after as long as a reading may take', async () => {
    const { clock, session, link } = await opened((line, it) =>
      it.sayBytes(formatAnswer(tagOf(line), false, { code: 'busy' })),
    );
    const before = clock.now();
    expect(await clock.until(outcome(session.request('memory', {})))).toMatchObject({
      fault: { cause: 'refused', refusal: { code: 'busy' } },
    });
    expect(clock.now() - before).toBeGreaterThanOrEqual(IDENTITY.captureMs);
    expect(link.heard.length).toBeLessThan(20);
  });

  test('for lost events that finds the board busy loses none of them', async () => {
    const board = new ScriptedBoard();
    const { clock, session, events, troubles } = await openedBoard(board);
    let busy = 2;
    board.hurt = () => new Uint8Array();
    board.press();
    board.hurt = (_, bytes) => bytes;
    const again = board.link.script;
    board.link.script = (line) => {
      if (line.includes(' again ') && busy-- > 0) {
        board.link.sayBytes(formatAnswer(tagOf(line), false, { code: 'busy' }));
      } else again(line);
    };
    board.press();
    await clock.until(session.catchUp());
    expect(numbers(events)).toEqual([1, 2]);
    expect(troubles).toEqual([]);
  });

  test('refused with a code outside the protocol is nonsense', async () => {
    const { clock, session } = await opened((line, it) =>
      it.sayBytes(formatAnswer(tagOf(line), false, { code: 'on_fire' })),
    );
    expect(await clock.until(outcome(session.request('capture', {})))).toMatchObject({
      fault: { cause: 'nonsense', field: 'code' },
    });
  });

  test('waits for the one before it: one at a time on the wire', async () => {
    const waiting: string[] = [];
    const { clock, session, link } = await opened((line) => waiting.push(line));
    const both = Promise.all([session.request('memory', {}), session.request('sense', {})]);
    await clock.run(100);
    expect(waiting.length).toBe(1);
    link.sayBytes(memoryAnswer(waiting[0]!));
    await clock.run(0);
    expect(waiting.length).toBe(2);
    link.sayBytes(formatAnswer(tagOf(waiting[1]!), true, VERBS.sense.answer.write(reading(1))));
    await clock.until(both);
  });

  test('that came to the board damaged goes out again at once, not when its time is up', async () => {
    const board = new ScriptedBoard();
    const { clock, session } = await openedBoard(board);
    let hurt = 0;
    board.hurt = (direction, bytes) => {
      if (direction === 'to_board' && hurt++ === 0) bytes[4]! ^= 1;
      return bytes;
    };
    const before = clock.now();
    await clock.until(session.request('memory', {}));
    expect(hurt).toBe(2);
    expect(clock.now() - before).toBeLessThan(500);
  });

  test('is not kept waiting for ever by a board that says “damaged” without end', async () => {
    const { clock, session, link } = await opened(() => {});
    const error = outcome(session.request('memory', {}));
    let settled = false;
    void error.then(() => (settled = true));
    for (let at = 0; at < 6000 && !settled; at++) {
      link.sayBytes(formatAnswer(0, false, { code: 'bad_check' }));
      await clock.run(10);
    }
    expect(settled).toBe(true);
    expect(link.heard.length).toBe(3);
  });

  test('that cannot be written is refused here, and nothing is sent', async () => {
    const { session, link } = await opened(() => {});
    expect(await outcome(session.request('recall', { reading: 0.5 }))).toMatchObject({
      fault: { cause: 'unsendable', field: 'reading' },
    });
    expect(link.heard).toEqual([]);
  });
});

describe('cancelling', () => {
  test('before sending takes the request off the queue', async () => {
    const { clock, session, link } = await opened(() => {});
    const first = outcome(session.request('memory', {}));
    const stop = new AbortController();
    const second = outcome(session.request('sense', {}, stop.signal));
    stop.abort();
    expect(await second).toMatchObject({ fault: { cause: 'cancelled', sent: false } });
    await clock.until(first);
    expect(link.heard.some((line) => line.includes(' sense'))).toBe(false);
  });

  test('after sending frees the caller at once, but the wire only with the answer', async () => {
    const heard: string[] = [];
    const { clock, session, link } = await opened((line) => heard.push(line));
    const stop = new AbortController();
    const capture = outcome(session.request('capture', {}, stop.signal));
    await clock.run(10);
    const memory = session.request('memory', {});
    stop.abort();
    expect(await capture).toMatchObject({ fault: { cause: 'cancelled', sent: true } });
    await clock.run(100);
    expect(heard.length).toBe(1);
    link.sayBytes(formatAnswer(tagOf(heard[0]!), true, { reading: 1 }));
    await clock.run(10);
    expect(heard.length).toBe(2);
    link.sayBytes(memoryAnswer(heard[1]!));
    await clock.until(memory);
  });

  test('a request that is never answered frees the wire after one time limit, without repeats', async () => {
    const { clock, session, link } = await opened((line, it) => {
      if (line.includes(' memory')) it.sayBytes(memoryAnswer(line));
    });
    const stop = new AbortController();
    const capture = outcome(session.request('capture', {}, stop.signal));
    await clock.run(10);
    stop.abort();
    await capture;
    await clock.until(session.request('memory', {}));
    expect(link.heard.filter((line) => line.includes(' capture')).length).toBe(1);
  });

  test('with a signal that aborted already sends nothing', async () => {
    const { session, link } = await opened(() => {});
    expect(await outcome(session.request('memory', {}, AbortSignal.abort()))).toMatchObject({
      fault: { cause: 'cancelled', sent: false },
    });
    expect(link.heard).toEqual([]);
  });
});

describe('a link that drops', () => {
  test('in the midst of a request rejects it and all that wait, once, and nothing more is sent', async () => {
    const { clock, session, link, endings } = await opened(() => {});
    const waiting = Promise.all([
      outcome(session.request('capture', {})),
      outcome(session.request('memory', {})),
      outcome(session.catchUp() as Promise<unknown>),
    ]);
    await clock.run(10);
    link.drop('cable pulled');
    for (const error of await waiting) {
      expect(error).toMatchObject({ fault: { cause: 'link_closed', reason: 'cable pulled' } });
    }
    await clock.run(60_000);
    expect(link.heard.length).toBe(1);
    expect(endings.length).toBe(1);
    expect(await outcome(session.request('memory', {}))).toMatchObject({ cause: 'link_closed' });
  });

  test('while writing ends the conversation too', async () => {
    const { clock, session, link, endings } = await opened(() => {});
    link.write = () => Promise.reject(new Error('device lost'));
    expect(await clock.until(outcome(session.request('memory', {})))).toMatchObject({
      fault: { cause: 'link_closed', reason: 'device lost' },
    });
    expect(endings.length).toBe(1);
    expect(link.closings).toBe(1);
  });

  test('closing by hand rejects what waits and reports no ending', async () => {
    const { clock, session, endings } = await opened(() => {});
    const waiting = outcome(session.request('memory', {}));
    await clock.run(10);
    await session.close();
    expect(await waiting).toMatchObject({ cause: 'link_closed' });
    expect(endings).toEqual([]);
  });

  test('a board that restarted ends the conversation, whatever was asked', async () => {
    const board = new ScriptedBoard();
    const { clock, session, endings } = await openedBoard(board);
    board.restart();
    expect(await clock.until(outcome(session.request('capture', {})))).toMatchObject({
      cause: 'board_restarted',
    });
    expect(endings).toMatchObject([{ cause: 'board_restarted' }]);
    expect(board.link.closings).toBe(1);
    expect(board.taken).toEqual([]);
  });
});

describe('events', () => {
  test('pass in order and once, though each is sent twice', async () => {
    const { clock, events, link } = await opened(() => {});
    for (const n of [1, 1, 2, 1, 2, 3]) {
      link.sayBytes(formatEvent(n, 'reading', EVENTS.reading.write(reading(n))));
    }
    await clock.run(10);
    expect(numbers(events)).toEqual([1, 2, 3]);
  });

  test('in the same bytes as the answer to hello are not lost', async () => {
    const link = new ScriptedLink();
    link.script = (line) => {
      const event = formatEvent(1, 'power', { volt: 3.1 });
      link.sayBytes(Uint8Array.from([...helloAnswer(line), ...event]));
    };
    const { clock, opening, events } = setUp(link);
    await clock.until(opening);
    expect(events).toEqual([{ kind: 'power', volt: 3.1 }]);
  });

  test('a lost one is asked for again before anything else, and comes in its place', async () => {
    const board = new ScriptedBoard();
    const { clock, session, events } = await openedBoard(board);
    board.press();
    board.hurt = () => new Uint8Array();
    board.press();
    board.hurt = (_, bytes) => bytes;
    board.link.heard.length = 0;
    board.press();
    await clock.until(session.request('memory', {}));
    expect(numbers(events)).toEqual([1, 2, 3]);
    expect(board.link.heard.map((line) => line.split(' ')[1])).toEqual(['again', 'memory']);
  });

  test('a lost one that is lost again on its way is asked for until it comes, and requests wait', async () => {
    const board = new ScriptedBoard();
    const { clock, session, events } = await openedBoard(board);
    let losses = 3;
    board.hurt = (_, bytes) => (bytes[0] === 0x21 && losses-- > 0 ? new Uint8Array() : bytes);
    board.press();
    board.link.heard.length = 0;
    await clock.until(Promise.all([session.catchUp(), session.request('memory', {})]));
    expect(numbers(events)).toEqual([1]);
    const verbs = board.link.heard.map((line) => line.split(' ')[1]);
    expect(verbs).toEqual(['again', 'again', 'again', 'memory']);
  });

  test('a damaged one is asked for again though no other follows', async () => {
    const board = new ScriptedBoard();
    const { clock, events } = await openedBoard(board);
    board.hurt = (_, bytes) => bytes.with(12, 0x7a);
    board.press();
    board.hurt = (_, bytes) => bytes;
    await clock.run(1000);
    expect(numbers(events)).toEqual([1]);
  });

  test('a damaged one in the same bytes as the answer to “again” is asked for too', async () => {
    const board = new ScriptedBoard();
    const { clock, session, events } = await openedBoard(board);
    let answer: Uint8Array = new Uint8Array();
    board.hurt = (direction, bytes) => {
      if (direction === 'to_board' || bytes[0] !== '='.charCodeAt(0)) return bytes;
      answer = bytes;
      board.hurt = (_, event) => Uint8Array.from([...answer, ...event.with(12, 0x7a)]);
      queueMicrotask(() => (board.hurt = (_, whole) => whole));
      board.press();
      return new Uint8Array();
    };
    await clock.until(session.catchUp());
    expect(numbers(events)).toEqual([1]);
  });

  test('are not asked for without end when noise follows each answer', async () => {
    const { clock, session, link } = await opened((line, it) => {
      const answer = formatAnswer(tagOf(line), true, { from: 1, to: 0 });
      it.sayBytes(Uint8Array.from([...answer, ...new TextEncoder().encode('~~~~\n')]));
    });
    await clock.until(session.catchUp());
    await clock.run(10_000);
    expect(link.heard.length).toBeLessThan(10);
  });

  test('a last one that vanished without a trace is found by catching up', async () => {
    const board = new ScriptedBoard();
    const { clock, session, events } = await openedBoard(board);
    board.hurt = () => new Uint8Array();
    board.press();
    board.hurt = (_, bytes) => bytes;
    await clock.run(10_000);
    expect(events).toEqual([]);
    await clock.until(session.catchUp());
    expect(numbers(events)).toEqual([1]);
  });

  test('that the board no longer keeps are reported by number, and the rest come', async () => {
    const board = new ScriptedBoard();
    board.keptEvents = 4;
    const { clock, session, events, troubles } = await openedBoard(board);
    board.press();
    board.hurt = () => new Uint8Array();
    for (let press = 0; press < 9; press++) board.press();
    board.hurt = (_, bytes) => bytes;
    await clock.until(session.catchUp());
    expect(troubles.map((error) => error.fault)).toEqual([
      { cause: 'events_lost', from: 2, to: 6 },
    ]);
    expect(numbers(events)).toEqual([1, 7, 8, 9, 10]);
  });

  test('a board that promises events and never sends them is not asked for ever', async () => {
    const { clock, session, troubles, link, events } = await opened((line, it) => {
      const from = /from=(\d+)/.exec(line)![1]!;
      it.sayBytes(formatAnswer(tagOf(line), true, { from, to: 3 }));
    });
    await clock.until(session.catchUp());
    expect(troubles.map((error) => error.fault)).toEqual([
      { cause: 'events_lost', from: 1, to: 3 },
    ]);
    expect(link.heard.length).toBeLessThan(10);
    link.sayBytes(formatEvent(4, 'power', { volt: 3 }));
    expect(events).toEqual([{ kind: 'power', volt: 3 }]);
  });

  test('are not said to be all there when the board cannot be asked', async () => {
    const { clock, session } = await opened(() => {});
    expect(await clock.until(outcome(session.catchUp() as Promise<unknown>))).toMatchObject({
      fault: { cause: 'no_answer', verb: 'again' },
    });
  });

  test('beyond a gap are not withheld when the board does not answer “again”', async () => {
    const { clock, events, troubles, link } = await opened(() => {});
    link.sayBytes(formatEvent(3, 'power', { volt: 3 }));
    await clock.run(30_000);
    expect(events).toEqual([{ kind: 'power', volt: 3 }]);
    expect(troubles.map((error) => error.fault)).toEqual([
      { cause: 'events_lost', from: 1, to: 2 },
    ]);
  });

  test('of a kind not known are passed over, and break no sequence', async () => {
    const { clock, events, troubles, link } = await opened(() => {});
    link.sayBytes(formatEvent(1, 'weather', { rain: 1 }));
    link.sayBytes(formatEvent(2, 'power', { volt: 3 }));
    await clock.run(10);
    expect(events).toEqual([{ kind: 'power', volt: 3 }]);
    expect(troubles).toEqual([]);
  });

  test('that make no sense are reported, not passed on, and break no sequence', async () => {
    const { clock, events, troubles, link } = await opened(() => {});
    const bad = { ...EVENTS.reading.write(reading(1)), mag: ['1', '2', '1e9'] };
    link.sayBytes(formatEvent(1, 'reading', bad));
    link.sayBytes(formatEvent(2, 'power', { volt: 3 }));
    await clock.run(10);
    expect(troubles).toMatchObject([{ fault: { cause: 'nonsense', field: 'mag' } }]);
    expect(events.length).toBe(1);
  });

  test('noise without end makes no storm of requests, and does not starve a person’s', async () => {
    const { clock, session, link } = await opened((line, it) => {
      if (line.includes(' memory')) it.sayBytes(memoryAnswer(line));
    });
    let answered = false;
    for (let at = 0; at < 600; at++) {
      link.sayText('~~~~\n');
      if (at === 10) void session.request('memory', {}).then(() => (answered = true));
      await clock.run(100);
    }
    expect(answered).toBe(true);
    expect(link.heard.length).toBeLessThan(15);
  });

  test('lost after the answer to again was given and lost too are asked for when it has come again', async () => {
    const board = new ScriptedBoard();
    const { clock, session, events } = await openedBoard(board);
    const faults = ['damage', 'keep', 'keep', 'lose', 'lose'];
    board.hurt = (_, bytes) => {
      const fault = faults.shift();
      if (fault === 'lose') return new Uint8Array();
      return fault === 'damage' ? bytes.with(bytes.length >> 1, 0x7a) : bytes;
    };
    board.press();
    await clock.run(20);
    board.press();
    await clock.until(session.catchUp());
    expect(numbers(events)).toEqual([1, 2]);
  });

  test('whatever lines are lost or damaged either way, every reading comes once and in order, or is reported', async () => {
    const hurts = fc.array(fc.constantFrom('keep', 'lose', 'damage', 'double'), {
      minLength: 1,
      maxLength: 60,
    });
    const presses = fc.array(fc.boolean(), { minLength: 1, maxLength: 8 });
    await fc.assert(
      fc.asyncProperty(hurts, presses, async (faults, triggers) => {
        const board = new ScriptedBoard();
        const { clock, session, events, troubles } = await openedBoard(board);
        let line = 0;
        board.hurt = (_, bytes) => {
          switch (faults[line++] ?? 'keep') {
            case 'lose':
              return new Uint8Array();
            case 'damage':
              return bytes.with(bytes.length >> 1, 0x7a);
            case 'double':
              return Uint8Array.from([...bytes, ...bytes]);
            default:
              return bytes;
          }
        };
        for (const byTrigger of triggers) {
          if (byTrigger) board.press();
          else await clock.until(outcome(session.request('capture', {})));
          await clock.run(20);
        }
        line = faults.length; // the link is whole again
        await clock.until(session.catchUp());
        const lost = troubles.flatMap(({ fault }) =>
          fault.cause === 'events_lost' ? range(fault.from, fault.to) : [],
        );
        const got = numbers(events);
        expect(got).toEqual([...new Set(got)].sort((a, b) => a - b));
        expect([...got, ...lost].sort((a, b) => a - b)).toEqual(board.taken);
      }),
      { numRuns: 60 },
    );
  });
});

test('every line that crosses the link is shown to a recorder, damaged ones too', async () => {
  const link = new ScriptedLink();
  link.script = (line) => {
    link.sayText('=1 ok half a li\n');
    link.sayBytes(helloAnswer(line));
  };
  const seen: string[] = [];
  const clock = new VirtualClock();
  const listener = {
    event: () => {},
    trouble: () => {},
    ended: () => {},
    wire: (direction: string, line: string) => seen.push(`${direction} ${line.slice(0, 15)}`),
  };
  await clock.until(Session.open(link, { clock, host: HOST, listener }));
  expect(seen).toEqual([
    'to_board ?1 hello host=1',
    'from_board =1 ok half a li',
    'from_board =1 ok host=1234',
  ]);
});

test('bytes that are no line are shown to a recorder as far as they are worth it, at last those that never ended', async () => {
  const link = new ScriptedLink();
  link.script = () => {
    const noise = [0xfe, 0x20, 0x41, 0x5c, 0x00];
    link.sayBytes(Uint8Array.from(link.heard.length < 10 ? [...noise, 0x0a] : noise));
    if (link.heard.length === 1) link.sayText(`${'~'.repeat(400)}\n`);
  };
  const seen: string[] = [];
  const clock = new VirtualClock();
  const wire = (direction: string, line: string) => direction === 'from_board' && seen.push(line);
  const listener = { event: () => {}, trouble: () => {}, ended: () => {}, wire };
  await clock.until(outcome(Session.open(link, { clock, host: HOST, listener })));
  expect(seen.slice(0, 2)).toEqual(['\\xFE A\\x5C\\x00', `${'~'.repeat(64)} (and 336 bytes more)`]);
  expect(seen.slice(2)).toEqual(Array(9).fill('\\xFE A\\x5C\\x00'));
});
