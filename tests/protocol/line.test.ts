import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  formatAnswer,
  formatEvent,
  formatRequest,
  LINE_LIMIT,
  LineReader,
  parseLine,
} from '../../src/protocol/line.ts';

const encoder = new TextEncoder();
const decoder = new TextDecoder();

const name = fc.stringMatching(/^[a-z][a-z0-9_]{0,8}$/);
const fields = fc.dictionary(
  name,
  fc.array(fc.string({ unit: 'binary', maxLength: 6 }), { minLength: 1, maxLength: 4 }),
  { maxKeys: 4 },
);
const number = fc.integer({ min: 1, max: 999_999 });

function withoutEnd(bytes: Uint8Array): string {
  const text = decoder.decode(bytes);
  expect(text.endsWith('\n')).toBe(true);
  return text.slice(0, -1);
}

/** What a reader makes of bytes: its lines, and how many it dropped. */
function read(chunks: Iterable<Uint8Array>): { lines: string[]; dropped: number } {
  const lines: string[] = [];
  let dropped = 0;
  const reader = new LineReader(
    (text) => lines.push(text),
    () => dropped++,
  );
  for (const chunk of chunks) reader.push(chunk);
  return { lines, dropped };
}

describe('a line that is written', () => {
  test('is read back as it was, whatever text its fields hold', () => {
    fc.assert(
      fc.property(number, name, fields, (tag, word, values) => {
        const request = parseLine(withoutEnd(formatRequest(tag, word, values)));
        expect(request).toMatchObject({ kind: 'request', tag, verb: word, checked: true });
        const event = parseLine(withoutEnd(formatEvent(tag, word, values)));
        expect(event).toMatchObject({ kind: 'event', number: tag, event: word, checked: true });
        for (const ok of [true, false]) {
          const answer = parseLine(withoutEnd(formatAnswer(tag, ok, values)));
          expect(answer).toMatchObject({ kind: 'answer', tag, ok, checked: true });
          expect({ ...(answer as { fields: object }).fields }).toEqual(values);
        }
      }),
    );
  });

  test('is printable ASCII alone', () => {
    fc.assert(
      fc.property(name, fields, (verb, values) => {
        expect(withoutEnd(formatRequest(1, verb, values))).toMatch(/^[\x20-\x7e]+$/);
      }),
    );
  });

  test('is refused when any one of its bits is flipped', () => {
    const text = withoutEnd(formatEvent(12, 'reading', { acc: ['1', '-2', '3.25'] }));
    for (let at = 0; at < text.length; at++) {
      for (let bit = 0; bit < 7; bit++) {
        const bytes = encoder.encode(text);
        bytes[at]! ^= 1 << bit;
        const line = parseLine(decoder.decode(bytes));
        // Where the flip hits the check's own mark, the rest is no line, or one without a check.
        expect(typeof line === 'string' || !line.checked).toBe(true);
      }
    }
  });
});

describe('a line typed by hand', () => {
  test('may leave the check out, and is known for it', () => {
    expect(parseLine('?2 sense')).toMatchObject({ kind: 'request', checked: false });
  });

  test.each([
    '',
    '?',
    '?0 sense',
    '?01 sense',
    '?1000000 sense',
    '?1  sense',
    '?1 Sense',
    '? 1 sense',
    '?1 sense ',
    '?1 sense x',
    '?1 sense x=1 x=2',
    '?1 sense x=%',
    '?1 sense x=%FF',
    '?1 sense x=a=b',
    '?1 sense x=#',
    '=1 maybe',
    '!1000000 power',
    '-1 sense',
  ])('“%s” is no line', (text) => {
    expect(parseLine(text)).toBe('bad_line');
  });

  test('a field called like a part of every object is a field like any other', () => {
    const line = parseLine('?1 sense constructor=1');
    expect(line).toMatchObject({ fields: { constructor: ['1'] } });
    expect(parseLine('?1 sense tag=2')).toMatchObject({ tag: 1 });
  });
});

describe('the reader', () => {
  test('never throws and never yields more than a line may hold, whatever bytes arrive', () => {
    const bytes = fc.uint8Array({ maxLength: 2000 });
    const printable = fc.uint8Array({ min: 0x20, max: 0x7e, maxLength: 2000 });
    fc.assert(
      fc.property(fc.array(fc.oneof(bytes, printable), { maxLength: 4 }), (chunks) => {
        for (const line of read(chunks).lines) {
          expect(line.length).toBeLessThan(LINE_LIMIT);
          expect(line).toMatch(/^[\x20-\x7e]+$/);
          parseLine(line);
        }
      }),
    );
  });

  test('finds its feet at the next LF after any noise', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 1000 }), (noise) => {
        const good = formatRequest(7, 'sense');
        const { lines } = read([noise, Uint8Array.of(0x0a), good]);
        expect(lines.at(-1)).toBe(withoutEnd(good));
      }),
    );
  });

  test('makes the same of a stream however it is cut', () => {
    const stream = Uint8Array.from([
      ...formatRequest(1, 'sense'),
      ...encoder.encode('\r\n\n?2 sense\r\n\x01broken\n'),
      ...encoder.encode(`${'x'.repeat(LINE_LIMIT)}\n`),
      ...formatEvent(3, 'power', { volt: 3 }),
    ]);
    const whole = read([stream]);
    expect(whole.lines.length).toBe(3);
    expect(whole.dropped).toBe(2);
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 0, max: stream.length })), (cuts) => {
        const at = [0, ...cuts.sort((a, b) => a - b), stream.length];
        const chunks = at.slice(1).map((end, i) => stream.subarray(at[i], end));
        expect(read(chunks)).toEqual(whole);
      }),
    );
  });

  test('takes the longest line there may be, and drops one byte more', () => {
    const longest = `${'x'.repeat(LINE_LIMIT - 1)}\n`;
    expect(read([encoder.encode(longest)]).lines.length).toBe(1);
    expect(read([encoder.encode(`x${longest}`)])).toEqual({ lines: [], dropped: 1 });
  });

  test('drops a line with a CR anywhere but at its end', () => {
    expect(read([encoder.encode('?1 se\rnse\n')])).toEqual({ lines: [], dropped: 1 });
  });
});
