import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { crc16 } from '../../src/protocol/crc.ts';
import {
  formatAnswer,
  formatEvent,
  formatRequest,
  LINE_LIMIT,
  LineReader,
  parseLine,
  type Line,
  type LineFault,
} from '../../src/protocol/line.ts';
import { EVENTS, VERBS } from '../../src/protocol/messages.ts';
import { IDENTITY, reading } from './scripted-board.ts';

const ascii = (text: string): Uint8Array => Uint8Array.from(text, (sign) => sign.charCodeAt(0));
const LF = 0x0a;

/*
 * The grammar once more, slowly: SPEC.md, section 1 rule by rule, as regular expressions made of one another in the
 * order of its ABNF. What src/protocol/line.ts makes of a line must be what this makes of it.
 */

const NUMBER = '(?:0|[1-9][0-9]*)';
const NAME = '[a-z][a-z0-9_]*';
const ITEM = '(?:[\\x21-\\x22]|\\x24|[\\x26-\\x2B]|[\\x2D-\\x3C]|[\\x3E-\\x7E]|%[0-9A-Fa-f]{2})*';
const VALUE = `${ITEM}(?:,${ITEM})*`;
const HEAD_AND_FIELDS = new RegExp(`^([?=!])(${NUMBER}) (${NAME})((?: ${NAME}=${VALUE})*)$`);

const utf8 = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true });

function slowly(text: string): Line | LineFault {
  const check = /^(.*) #([0-9A-F]{4})$/.exec(text);
  const body = check ? check[1]! : text;
  if (check && crc16(ascii(body)) !== parseInt(check[2]!, 16)) return 'bad_check';
  const parts = HEAD_AND_FIELDS.exec(body);
  if (!parts) return 'bad_line';
  const [, mark, digits, word, rest] = parts as unknown as [string, string, string, string, string];
  const number = Number(digits);
  if (number > 999_999 || (number === 0 && mark !== '=')) return 'bad_line';
  const fields: Record<string, string[]> = {};
  for (const field of rest.split(' ').slice(1)) {
    const [name, value] = field.split('=') as [string, string];
    if (Object.hasOwn(fields, name)) return 'bad_line';
    try {
      fields[name] = value.split(',').map((item) => utf8.decode(percentBytes(item)));
    } catch (error) {
      if (error instanceof TypeError) return 'bad_line'; // bytes that are no UTF-8
      throw error;
    }
  }
  const checked = check !== null;
  if (mark === '?') return { kind: 'request', tag: number, verb: word, fields, checked };
  if (mark === '!') return { kind: 'event', number, event: word, fields, checked };
  if (word !== 'ok' && word !== 'error') return 'bad_line';
  return { kind: 'answer', tag: number, ok: word === 'ok', fields, checked };
}

/** Holds the fast reading of a line against the slow one, and gives it. */
function readBoth(text: string): Line | LineFault {
  const line = parseLine(text);
  const seen = typeof line === 'string' ? line : { ...line, fields: { ...line.fields } };
  expect(seen, text).toEqual(slowly(text));
  return line;
}

/** The bytes of an item, its percent-encoding undone. */
function percentBytes(item: string): Uint8Array {
  return ascii(item.replace(/%(..)/g, (_, hex: string) => String.fromCharCode(parseInt(hex, 16))));
}

/** What rules 1 and 2 make of a whole stream: the lines in it, and how many were dropped. What has no LF yet waits. */
function linesOf(stream: Uint8Array): { lines: string[]; dropped: number } {
  const raw = Buffer.from(stream).toString('latin1').split('\n').slice(0, -1);
  const whole = raw.filter((line) => line.length < LINE_LIMIT && /^[\x20-\x7e]*\r?$/.test(line));
  const lines = whole.map((line) => line.replace('\r', '')).filter((line) => line !== '');
  return { lines, dropped: raw.length - whole.length };
}

/* Bytes to be afraid of: noise, pieces of the grammar in any order, whole lines, and lines that are too long. */

const PIECES = [
  ...['?', '=', '!', '0', '1', '999999', '1000000', ' ', '  ', 'hello', 'sense', 'ok', 'error'],
  ...['=', ',', '%', '%41', '%C3%A9', '%FF', '%0', '#', ' #', ' #29B1', ' #29b1', 'a=', ' a=1'],
  ...['b=', ' b=', 'reading', 'A', '_', '__proto__=1', ' constructor=1', '\r', '\r\n', '\x00'],
  ...['=1 ok a=1', '?1 sense', '!1 power volt=3', '=0 error code=bad_line', '\x7f', '\x80'],
  ...['!0 power', '!1000000 power', '?0 sense', '?01 sense', '?1000000 sense', '=1000000 ok'],
].map(ascii);

const WHOLE = [
  formatRequest(1, 'hello', { host: '7F3A09C2', protocol: 1 }),
  formatRequest(999_999, 'sense'),
  formatAnswer(1, true, VERBS.hello.answer.write({ ...IDENTITY, host: 7, name: 'Brücke, 2 %' })),
  formatAnswer(0, false, { code: 'bad_check' }),
  formatEvent(7, 'reading', EVENTS.reading.write(reading(7))),
  formatEvent(8, 'power', { volt: 3.1 }),
];

const LONG = [
  'x'.repeat(LINE_LIMIT - 2),
  `?1 sense${' a=1'.repeat(90)}`,
  'x'.repeat(3 * LINE_LIMIT),
];

const damaged = fc
  .tuple(fc.constantFrom(...WHOLE), fc.nat(), fc.nat(255))
  .map(([line, at, byte]) => line.with(at % line.length, byte));

const piece = fc.oneof(
  { weight: 30, arbitrary: fc.constantFrom(...PIECES) },
  { weight: 20, arbitrary: fc.constant(Uint8Array.of(LF)) },
  { weight: 6, arbitrary: fc.constantFrom(...WHOLE) },
  { weight: 6, arbitrary: damaged },
  { weight: 6, arbitrary: fc.uint8Array({ maxLength: 8 }) },
  { weight: 1, arbitrary: fc.constantFrom(...LONG.map(ascii)) },
);

const stream = fc
  .array(piece, { minLength: 1, maxLength: 2500, size: 'max' })
  .map((pieces) => Uint8Array.from(Buffer.concat(pieces)));

const LINES = 100_000;

describe(`over ${LINES.toLocaleString('en')} lines of arbitrary bytes, cut anywhere,`, () => {
  test('the reader and the grammar never throw, and find what the specification finds', () => {
    let lines = 0;
    let read = 0;
    let whole = 0;
    const look = (bytes: Uint8Array, cut: number): void => {
      const found: string[] = [];
      let dropped = 0;
      const reader = new LineReader(
        (text) => found.push(text),
        () => (dropped += 1),
      );
      for (let at = 0; at < bytes.length; at += cut) reader.push(bytes.subarray(at, at + cut));
      expect({ lines: found, dropped }).toEqual(linesOf(bytes));
      for (const text of found) if (typeof readBoth(text) !== 'string') whole += 1;
      lines += bytes.filter((byte) => byte === LF).length;
      read += found.length;
    };
    fc.assert(fc.property(stream, fc.integer({ min: 1, max: 700 }), look), {
      numRuns: 220,
      seed: 71959338,
    });
    expect(lines).toBeGreaterThan(LINES);
    // Neither all noise nor all good: otherwise one half of the code was never tried.
    expect(read).toBeGreaterThan(LINES / 4);
    expect(whole).toBeGreaterThan(LINES / 20);
    expect(whole).toBeLessThan(read * 0.9);
  }, 60_000);
});

describe('a line as long as may be', () => {
  const printable = PIECES.map((bytes) => Buffer.from(bytes).toString('latin1')).filter((text) =>
    /^[\x20-\x7e]+$/.test(text),
  );
  /** Whatever is repeated, and whatever spoils it at its end. */
  const repeated = fc.tuple(
    fc.constantFrom(...printable),
    fc.constantFrom(...printable),
    fc.constantFrom('?1 sense', '=1 ok', '!1 power', ''),
  );

  test('that almost fits the grammar is refused without trying every way to divide it', () => {
    // If it backtracked, one of these would take longer than the test may.
    fc.assert(
      fc.property(repeated, ([again, end, head]) => {
        const text = (head + again.repeat(LINE_LIMIT)).slice(0, LINE_LIMIT - 1 - end.length) + end;
        readBoth(text);
      }),
      { numRuns: 3000 },
    );
  });
});

test('a stream that never ends a line is not held: of 64 MB not one is left', () => {
  setFlagsFromString('--expose-gc');
  const collect = runInNewContext('gc') as () => void;
  const held = (): number => {
    collect();
    const { heapUsed, arrayBuffers } = process.memoryUsage();
    return heapUsed + arrayBuffers;
  };
  const lines: string[] = [];
  let dropped = 0;
  const reader = new LineReader(
    (text) => lines.push(text),
    () => (dropped += 1),
  );
  const before = held();
  for (let at = 0; at < 64; at++) reader.push(new Uint8Array(1 << 20).fill(0x78));
  expect(held() - before).toBeLessThan(4 << 20); // the last of them may be in use yet
  reader.push(ascii('\n?1 sense\n'));
  expect({ lines, dropped }).toEqual({ lines: ['?1 sense'], dropped: 1 });
});
