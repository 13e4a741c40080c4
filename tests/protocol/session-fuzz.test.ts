import fc from 'fast-check';
import { expect, test } from 'vitest';
import { ProtocolError } from '../../src/protocol/errors.ts';
import {
  formatAnswer,
  formatEvent,
  LINE_LIMIT,
  parseLine,
  type FieldValues,
} from '../../src/protocol/line.ts';
import { EVENTS, VERBS } from '../../src/protocol/messages.ts';
import { Session, type BoardEvent } from '../../src/protocol/session.ts';
import { IDENTITY, reading, ScriptedLink } from './scripted-board.ts';
import { VirtualClock } from './virtual-clock.ts';

/** What a board does with a request, fit or not. */
const REPLIES = [
  'right',
  'right',
  'silence',
  'damaged',
  'twice',
  'another tag',
  'nonsense',
  'refusal',
  'bad_line',
  'no check',
] as const;

/** What befalls the session, one thing after the other. */
type Deed =
  | { does: 'noise'; bytes: Uint8Array }
  | { does: 'event'; number: number; fields: FieldValues; kind: string }
  | { does: 'answer'; tag: number; fields: FieldValues }
  | { does: 'request'; verb: 'memory' | 'capture' | 'sense'; patience?: number }
  | { does: 'catch up' }
  | { does: 'wait'; ms: number };

const odd: fc.Arbitrary<FieldValues> = fc.dictionary(
  fc.constantFrom('reading', 'from', 'to', 'code', 'host', 'acc', 'first', 'constructor'),
  fc.oneof(fc.string({ maxLength: 12 }), fc.integer(), fc.constant('9'.repeat(40))),
  { maxKeys: 4 },
);
const deed: fc.Arbitrary<Deed> = fc.oneof(
  fc.record({ does: fc.constant('noise' as const), bytes: fc.uint8Array({ maxLength: 400 }) }),
  fc.record({
    does: fc.constant('event' as const),
    number: fc.oneof(fc.integer({ min: 1, max: 25 }), fc.integer({ min: 1, max: 999_999 })),
    kind: fc.constantFrom('reading', 'reading', 'power', 'refused', 'tomorrow'),
    fields: odd,
  }),
  fc.record({
    does: fc.constant('answer' as const),
    tag: fc.integer({ min: 0, max: 12 }),
    fields: odd,
  }),
  fc.record(
    {
      does: fc.constant('request' as const),
      verb: fc.constantFrom('memory', 'capture', 'sense'),
      patience: fc.integer({ min: 0, max: 4000 }),
    },
    { requiredKeys: ['does', 'verb'] },
  ),
  fc.record({ does: fc.constant('catch up' as const) }),
  fc.record({ does: fc.constant('wait' as const), ms: fc.integer({ min: 0, max: 5000 }) }),
);

const RIGHT: Partial<Record<string, () => FieldValues>> = {
  memory: () => ({ first: 0, last: 0, count: 0, room: 9, dropped: 0 }),
  sense: () => VERBS.sense.answer.write(reading(1)),
  capture: () => ({ reading: 3 }),
};

/** Answers a line as told, or not at all. */
function reply(link: ScriptedLink, text: string, how: (typeof REPLIES)[number]): void {
  const line = parseLine(text);
  if (typeof line === 'string' || line.kind !== 'request') throw new Error(`no request: ${text}`);
  const { tag, verb, fields } = line;
  const from = Number(fields['from']?.[0]);
  const values = verb === 'again' ? { from, to: from - 1 } : RIGHT[verb]!();
  const right = formatAnswer(tag, true, values);
  switch (how) {
    case 'right':
      return link.sayBytes(right);
    case 'silence':
      return;
    case 'damaged':
      return link.sayBytes(right.with(3, 0x7e));
    case 'twice':
      link.sayBytes(right);
      return link.sayBytes(right);
    case 'another tag':
      return link.sayBytes(formatAnswer(tag + 1, true, values));
    case 'nonsense':
      return link.sayBytes(formatAnswer(tag, true, { from: 'x', reading: -1 }));
    case 'refusal':
      return link.sayBytes(formatAnswer(tag, false, { code: 'busy' }));
    case 'bad_line':
      return link.sayBytes(formatAnswer(0, false, { code: 'bad_line' }));
    case 'no check':
      return link.sayText(`=${tag} ok\n`);
  }
}

test('whatever a board says, nothing throws, all that waits is told, events come in order, and no storm of lines answers', async () => {
  let lines = 0;
  const live = async (deeds: readonly Deed[], replies: readonly (typeof REPLIES)[number][]) => {
    const clock = new VirtualClock();
    const link = new ScriptedLink();
    const passed: number[] = [];
    link.script = () => {
      const hello = VERBS.hello.answer.write({ ...IDENTITY, host: 7 });
      link.sayBytes(formatAnswer(1, true, hello));
    };
    const session = await clock.until(
      Session.open(link, {
        clock,
        host: 7,
        listener: {
          event: (event: BoardEvent) => {
            if (event.kind === 'reading') passed.push(event.reading.reading);
          },
          trouble: (error) => expect(error).toBeInstanceOf(ProtocolError),
          ended: (error) => expect(error).toBeInstanceOf(ProtocolError),
          wire: (direction) => {
            if (direction === 'from_board') lines += 1;
          },
        },
      }),
    );
    let turn = 0;
    link.script = (line) => {
      const how = replies[turn++ % replies.length]!;
      clock.after(turn % 7, () => reply(link, line, how));
    };
    const waiting: Promise<unknown>[] = [];
    const told = (work: Promise<unknown>): void => {
      waiting.push(work.catch((error: unknown) => expect(error).toBeInstanceOf(ProtocolError)));
    };
    for (const each of deeds) {
      switch (each.does) {
        case 'noise':
          link.sayBytes(each.bytes);
          break;
        case 'event': {
          // An event's own number in its reading, so that what is passed on tells its place.
          const good = each.number % 3 !== 0 && each.kind === 'reading';
          const fields = good ? EVENTS.reading.write(reading(each.number)) : each.fields;
          link.sayBytes(formatEvent(each.number, each.kind, fields));
          break;
        }
        case 'answer':
          link.sayBytes(formatAnswer(each.tag, each.tag % 2 === 0, each.fields));
          break;
        case 'request': {
          const stop = new AbortController();
          told(session.request(each.verb, {}, stop.signal));
          if (each.patience !== undefined) clock.after(each.patience, () => stop.abort());
          break;
        }
        case 'catch up':
          told(session.catchUp());
          break;
        case 'wait':
          await clock.run(each.ms);
      }
    }
    // An hour is far beyond every time limit; `until` fails after it.
    await clock.until(Promise.all(waiting));
    expect(passed).toEqual([...new Set(passed)].sort((a, b) => a - b));
    // A request is sent three times at most; what one deed makes doubtful is asked for a few times over.
    expect(link.heard.length).toBeLessThanOrEqual(20 * (deeds.length + 1));
  };
  await fc.assert(
    fc.asyncProperty(
      fc.array(deed, { maxLength: 30, size: 'max' }),
      fc.array(fc.constantFrom(...REPLIES), { minLength: 1, maxLength: 20 }),
      live,
    ),
    { numRuns: 250 },
  );
  expect(lines).toBeGreaterThan(1000);
}, 60_000);

test('of a flood of events beyond a gap sixty-four are held, and no more', async () => {
  const clock = new VirtualClock();
  const link = new ScriptedLink();
  const passed: number[] = [];
  link.script = () => {
    const hello = VERBS.hello.answer.write({ ...IDENTITY, host: 7 });
    link.sayBytes(formatAnswer(1, true, hello));
  };
  await clock.until(
    Session.open(link, {
      clock,
      host: 7,
      listener: {
        event: (event) => passed.push((event as { reading: { reading: number } }).reading.reading),
        trouble: (error) => expect.fail(error.message),
        ended: (error) => expect.fail(error.message),
      },
    }),
  );
  link.script = () => {};
  const say = (number: number): void =>
    link.sayBytes(formatEvent(number, 'reading', EVENTS.reading.write(reading(number))));
  const FLOOD = 5000;
  for (let number = 2; number <= FLOOD; number++) say(number);
  say(1);
  expect(passed).toEqual(Array.from({ length: 65 }, (_, at) => at + 1));
  expect(link.heard.every((line) => line.length < LINE_LIMIT)).toBe(true);
});
