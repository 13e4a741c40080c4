import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { BoardIdentity, BoardReading } from '../../src/protocol/board.ts';
import type { CoefficientSet } from '../../src/protocol/coefficient-set.ts';
import { BOARD_CODES, codeInWords, ProtocolError } from '../../src/protocol/errors.ts';
import type { Message } from '../../src/protocol/fields.ts';
import {
  formatAnswer,
  formatEvent,
  formatRequest,
  LINE_LIMIT,
  parseLine,
  type Fields,
  type FieldValues,
} from '../../src/protocol/line.ts';
import { EVENTS, LIMITS, REFUSAL, setCrc, VERBS } from '../../src/protocol/messages.ts';

const decoder = new TextDecoder();

/** Fields after a journey over the wire. */
function carried(fields: FieldValues): Fields {
  const line = parseLine(decoder.decode(formatEvent(1, 'carried', fields)).slice(0, -1));
  if (typeof line === 'string') throw new Error(line);
  return line.fields;
}

function roundTrip<T>(message: Message<T>, value: T): T {
  return message.read(carried(message.write(value)));
}

/** The fault with which a message refuses fields, or a value. */
function faultOf(work: () => unknown): ProtocolError['fault'] {
  try {
    work();
  } catch (error) {
    if (error instanceof ProtocolError) return error.fault;
    throw error;
  }
  throw new Error('was not refused');
}

const decimal = (min: number, max: number, decimals: number) =>
  fc
    .integer({ min: Math.round(min * 10 ** decimals), max: Math.round(max * 10 ** decimals) })
    .map((n) => n / 10 ** decimals);
const three = (of: fc.Arbitrary<number>) => fc.tuple(of, of, of);

const counts = three(decimal(-999_999.99, 999_999.99, 2));
const readings: fc.Arbitrary<BoardReading> = fc.record(
  {
    reading: fc.integer({ min: 1, max: LIMITS.reading }),
    generation: fc.integer({ min: 0, max: LIMITS.generation }),
    acc: counts,
    mag: counts,
    tMs: fc.integer({ min: 0, max: 0xffffffff }),
    accScatter: three(decimal(0, 9_999.99, 2)),
    magScatter: three(decimal(0, 9_999.99, 2)),
    samples: fc.integer({ min: 1, max: 9_999 }),
    temperature: decimal(-99.9, 199.9, 1),
    volt: decimal(0, 99.99, 2),
    azimuth: decimal(0, 359.999, 3),
    inclination: decimal(-90, 90, 3),
    roll: decimal(0, 359.999, 3),
    range: decimal(0, 999.999, 3),
  },
  { requiredKeys: ['reading', 'generation', 'acc', 'mag'] },
);

const mountings = fc.constantFrom('+x+y+z', '-z+y-x', '+y-x+z');
const identities: fc.Arbitrary<BoardIdentity & { host: number }> = fc.record(
  {
    host: fc.integer({ min: 0, max: 0xffffffff }),
    protocol: fc.integer({ min: 1, max: 99 }),
    serial: fc.stringMatching(/^[A-Za-z0-9 ,#=%-]{1,5}$/),
    name: fc.constantFrom('', 'Ünïcode', 'plain name', 'コンパス'),
    hardware: fc.stringMatching(/^[a-z0-9/]{1,3}$/),
    firmware: fc.stringMatching(/^[0-9.]{1,3}$/),
    capabilities: fc.uniqueArray(fc.constantFrom('kept', 'range', 'trigger', 'later_thing')),
    accScale: decimal(0.1, 999_999.9, 1),
    magScale: decimal(0.1, 999_999.9, 1),
    accMounting: mountings,
    magMounting: mountings,
    accNoise: decimal(0.01, 999.99, 2),
    magNoise: decimal(0.01, 999.99, 2),
    chunk: fc.integer({ min: 20, max: 9_999 }),
    captureMs: fc.integer({ min: 1, max: 9_999 }),
    generation: fc.integer({ min: 0, max: LIMITS.generation }),
  },
  {
    requiredKeys: [
      ...(['host', 'protocol', 'serial', 'name', 'hardware', 'firmware', 'capabilities'] as const),
      ...(['accScale', 'magScale', 'accNoise', 'magNoise', 'chunk'] as const),
      ...(['captureMs', 'generation'] as const),
    ],
  },
);

const binary32 = fc.float({ noNaN: true, noDefaultInfinity: true });
const positive = fc.float({ noNaN: true, noDefaultInfinity: true, min: Math.fround(0.1) });
const sets: fc.Arbitrary<CoefficientSet> = fc
  .constantFrom('straight' as const, 'bowed' as const)
  .chain((model) =>
    fc
      .tuple(
        positive,
        positive,
        fc.array(binary32, {
          minLength: model === 'straight' ? 24 : 27,
          maxLength: model === 'straight' ? 24 : 27,
        }),
      )
      .map(([acc, mag, rest]) => ({ model, values: [acc, mag, ...rest] })),
  );

describe('what is written is read back the same', () => {
  test('a reading, in an event and in an answer', () => {
    fc.assert(
      fc.property(readings, (reading) => {
        expect(roundTrip(EVENTS.reading, reading)).toEqual(reading);
        expect(roundTrip(VERBS.recall.answer, reading)).toEqual(reading);
      }),
    );
  });

  test('the answer to hello', () => {
    fc.assert(
      fc.property(identities, (identity) => {
        expect(roundTrip(VERBS.hello.answer, identity)).toEqual(identity);
      }),
    );
  });

  test('a set of coefficients, to the last bit, minus zero and the smallest numbers included', () => {
    fc.assert(
      fc.property(sets, fc.integer({ min: 0, max: LIMITS.generation }), (set, generation) => {
        expect(roundTrip(VERBS.stage.request, set)).toEqual(set);
        const stored = { ...set, generation, crc: setCrc(set) };
        expect(roundTrip(VERBS.coefficients.answer, stored)).toEqual(stored);
      }),
    );
  });

  test('every small request and answer', () => {
    expect(roundTrip(VERBS.hello.request, { host: 0, protocol: 1 })).toEqual({
      host: 0,
      protocol: 1,
    });
    expect(roundTrip(VERBS.mode.request, { set: 'collect' })).toEqual({ set: 'collect' });
    const memory = { first: 3, last: 9, count: 7, room: 0, dropped: 2 };
    expect(roundTrip(VERBS.memory.answer, memory)).toEqual(memory);
    expect(roundTrip(VERBS.erase.request, { through: 9 })).toEqual({ through: 9 });
    expect(roundTrip(VERBS.again.answer, { from: 1, to: 0 })).toEqual({ from: 1, to: 0 });
    const seal = { replaces: 4, crc: '0000002A' };
    expect(roundTrip(VERBS.seal.request, seal)).toEqual(seal);
    const refusal = { code: 'bad_field' as const, field: 'set' };
    expect(roundTrip(REFUSAL, refusal)).toEqual(refusal);
    expect(roundTrip(EVENTS.refused, { code: 'saturated' })).toEqual({ code: 'saturated' });
  });

  test('an azimuth that rounds up to a full turn becomes nought, not a refused 360', () => {
    const turned = { reading: 1, generation: 1, acc: [0, 0, 1], mag: [1, 0, 0] } as const;
    expect(roundTrip(EVENTS.reading, { ...turned, azimuth: 359.9997 }).azimuth).toBe(0);
  });

  test('scatter beyond its range is written as its greatest', () => {
    const shaken: BoardReading = {
      ...{ reading: 1, generation: 0, acc: [0, 0, 1], mag: [1, 0, 0] },
      accScatter: [1e7, 0, 9_999.999],
    };
    expect(roundTrip(EVENTS.reading, shaken).accScatter).toEqual([9_999.99, 0, 9_999.99]);
  });

  test('more decimals than a board need send are understood', () => {
    const fields = { ...EVENTS.reading.write(minimal), acc: ['1.23456', '-0.000', '2'] };
    expect(EVENTS.reading.read(carried(fields)).acc).toEqual([1.23456, 0, 2]);
  });
});

const minimal: BoardReading = { reading: 5, generation: 0, acc: [1, 2, 3], mag: [4, 5, 6] };
const identity = {
  ...{ host: 1, protocol: 1, serial: 's', name: '', hardware: 'h', firmware: 'f' },
  ...{ capabilities: [], accScale: 1, magScale: 1, accNoise: 1, magNoise: 1 },
  ...{ chunk: 20, captureMs: 1, generation: 0 },
} satisfies BoardIdentity & { host: number };
const straight: CoefficientSet = { model: 'straight', values: new Array(26).fill(1) };

describe('a hostile value is refused, and the error names its field', () => {
  test.each([
    ['reading', '0'],
    ['reading', '10000000'],
    ['reading', '1.5'],
    ['reading', '007'],
    ['reading', '1e3'],
    ['reading', ''],
    ['reading', ' 5'],
    ['reading', '0x10'],
    ['generation', '-1'],
    ['acc', ['1', '2']],
    ['acc', ['1', '2', '3', '4']],
    ['acc', ['NaN', '2', '3']],
    ['acc', ['Infinity', '2', '3']],
    ['mag', ['1e308', '2', '3']],
    ['mag', ['1000000', '2', '3']],
    ['mag', ['9'.repeat(200), '2', '3']],
    ['acc_scatter', ['-1', '0', '0']],
    ['samples', '0'],
    ['temp_c', '1000'],
    ['volt', '-3'],
    ['azimuth', '360'],
    ['azimuth', '-1'],
    ['inclination', '90.001'],
    ['roll', ['1', '2']],
    ['range_m', '-0.001'],
  ])('%s=%s in a reading', (name, value) => {
    const fields = carried({ ...EVENTS.reading.write(minimal), [name]: value });
    const fault = faultOf(() => EVENTS.reading.read(fields));
    expect(fault).toMatchObject({ cause: 'nonsense', field: name });
  });

  test.each([
    ['host', 'abcdef01'],
    ['host', '1'],
    ['protocol', '0'],
    ['serial', ''],
    ['serial', 'seventeen letters'],
    ['serial', 'a\nb'],
    ['name', '\u202Edraob'],
    ['name', 'a\u0000b'],
    ['hardware', 'ü'.repeat(7)],
    ['can', 'Kept'],
    ['can', ['kept', '']],
    ['can', 'x'.repeat(35)],
    ['acc_scale', '0'],
    ['acc_mount', '+x+x+z'],
    ['acc_mount', 'xyz'],
    ['mag_mount', '+x+y+z '],
    ['acc_sd', '0'],
    ['chunk', '19'],
    ['chunk', '99999999'],
    ['capture_ms', '600000'],
  ])('%s=%s in the answer to hello', (name, value) => {
    const fields = carried({ ...VERBS.hello.answer.write(identity), [name]: value });
    const fault = faultOf(() => VERBS.hello.answer.read(fields));
    expect(fault).toMatchObject({ cause: 'nonsense', field: name });
  });

  test.each([
    ['words', '3F800000'.repeat(25)],
    ['words', '3F800000'.repeat(29)],
    ['words', `${'3F800000'.repeat(25)}7FC00000`],
    ['words', `${'3F800000'.repeat(25)}FF800000`],
    ['words', `00000000${'3F800000'.repeat(25)}`],
    ['words', '3f800000'.repeat(26)],
    ['words', ''],
    ['model', 'bent'],
  ])('%s=%s in a set of coefficients', (name, value) => {
    const fields = carried({ ...VERBS.stage.request.write(straight), [name]: value });
    const fault = faultOf(() => VERBS.stage.request.read(fields));
    expect(fault).toMatchObject({ cause: 'nonsense', field: name });
  });

  test('a stored set whose CRC is not that of its words', () => {
    const stored = { ...straight, generation: 1, crc: setCrc(straight) };
    const fields = carried({ ...VERBS.coefficients.answer.write(stored), crc: '00000000' });
    expect(faultOf(() => VERBS.coefficients.answer.read(fields))).toMatchObject({
      cause: 'nonsense',
      field: 'crc',
    });
  });

  test.each([
    { first: 0, last: 0, count: 1 },
    { first: 5, last: 4, count: 1 },
    { first: 5, last: 9, count: 6 },
    { first: 5, last: 9, count: 0 },
  ])('a memory that cannot be: %o', (state) => {
    const fields = carried({ ...state, room: 1, dropped: 0 });
    expect(faultOf(() => VERBS.memory.answer.read(fields))).toMatchObject({ field: 'count' });
  });

  test('every field that must be there, when it is missing', () => {
    for (const name of ['reading', 'generation', 'acc', 'mag']) {
      const rest: Record<string, readonly string[]> = { ...carried(EVENTS.reading.write(minimal)) };
      delete rest[name];
      expect(faultOf(() => EVENTS.reading.read(rest))).toMatchObject({
        cause: 'nonsense',
        field: name,
      });
    }
  });

  test('and its text cannot smuggle control characters into the error’s words', () => {
    const fields = { ...carried(EVENTS.reading.write(minimal)), reading: ['\u001b[31m\u202E'] };
    try {
      EVENTS.reading.read(fields);
      expect.unreachable();
    } catch (error) {
      expect((error as Error).message).not.toMatch(/\p{Cc}|\p{Cf}/u);
    }
  });

  test('whatever fields arrive, reading them gives a message or a ProtocolError', () => {
    const names = ['reading', 'generation', 'acc', 'mag', 'can', 'serial', 'words', 'model', 'crc'];
    const junk = fc.dictionary(
      fc.constantFrom(...names),
      fc.array(fc.string({ unit: 'binary', maxLength: 30 }), { minLength: 1, maxLength: 4 }),
    );
    const messages = [
      ...Object.values(VERBS).flatMap(({ request, answer }) => [request, answer]),
      ...Object.values(EVENTS),
      REFUSAL,
    ];
    fc.assert(
      fc.property(junk, fc.constantFrom(...messages), (fields, message) => {
        try {
          message.read(fields);
        } catch (error) {
          expect(error).toBeInstanceOf(ProtocolError);
        }
      }),
    );
  });
});

describe('what may not be sent is not written', () => {
  test.each([NaN, Infinity, -Infinity, 1_000_000])('a count of %d', (count) => {
    const fault = faultOf(() => EVENTS.reading.write({ ...minimal, acc: [0, count, 0] }));
    expect(fault).toMatchObject({ cause: 'unsendable', field: 'acc' });
  });

  test.each([NaN, Infinity, 0.1, 1e39])(
    'a coefficient of %d: no finite binary32 number',
    (value) => {
      const values = [...straight.values.slice(0, 25), value];
      const fault = faultOf(() => VERBS.stage.request.write({ model: 'straight', values }));
      expect(fault).toMatchObject({ cause: 'unsendable', field: 'words' });
    },
  );

  test('a bowed set with a straight set’s length', () => {
    const fault = faultOf(() => VERBS.stage.request.write({ ...straight, model: 'bowed' }));
    expect(fault).toMatchObject({ cause: 'unsendable', field: 'words' });
  });

  test('texts that together would overrun the line', () => {
    const full = { ...identity, name: 'コンパスです' };
    expect(roundTrip(VERBS.hello.answer, full)).toEqual(full);
    const long = { ...full, serial: '#'.repeat(3) };
    expect(faultOf(() => VERBS.hello.answer.write(long))).toMatchObject({ field: 'name' });
  });
});

describe('the CRC of a set', () => {
  /**
   * Bytes by hand: `S`, then 26 times 1.0 as 3F 80 00 00. The expected value is zlib's crc32 of them, from Python:
   * zlib.crc32(b'S' + bytes.fromhex('3F800000') * 26).
   */
  test('is that of the model’s letter and the words, most significant byte first', () => {
    expect(setCrc(straight)).toBe('23C96D30');
    expect(setCrc({ model: 'bowed', values: new Array(29).fill(1) })).toBe('04C18385');
  });
});

describe('the longest lines fit', () => {
  const most = -999_999.99;
  const longest: BoardReading = {
    reading: LIMITS.reading,
    generation: LIMITS.generation,
    tMs: 0xffffffff,
    acc: [most, most, most],
    mag: [most, most, most],
    accScatter: [9_999.99, 9_999.99, 9_999.99],
    magScatter: [9_999.99, 9_999.99, 9_999.99],
    samples: 9_999,
    temperature: 199.9,
    volt: 99.99,
    azimuth: 359.999,
    inclination: -89.999,
    roll: 359.999,
    range: 999.999,
  };
  const bowed: CoefficientSet = { model: 'bowed', values: new Array(29).fill(1.5) };

  test('a reading event is 319 bytes at most, and no reading makes a longer one', () => {
    const length = (reading: BoardReading) =>
      formatEvent(LIMITS.event, 'reading', EVENTS.reading.write(reading)).length;
    expect(length(longest)).toBe(319);
    fc.assert(fc.property(readings, (reading) => length(reading) <= 319));
  });

  test('an answer to hello is 320 bytes at most', () => {
    const full = {
      ...{ host: 0xffffffff, protocol: 99, serial: 's'.repeat(16), name: 'n'.repeat(20) },
      ...{ hardware: 'h'.repeat(12), firmware: 'f'.repeat(12), capabilities: ['c'.repeat(34)] },
      ...{ accScale: 999_999.9, magScale: 999_999.9, accMounting: '+x+y+z', magMounting: '+x+y+z' },
      ...{ accNoise: 999.99, magNoise: 999.99, chunk: 9_999, captureMs: 9_999 },
      generation: LIMITS.generation,
    };
    const length = (whole: BoardIdentity & { host: number }) =>
      formatAnswer(999_999, true, VERBS.hello.answer.write(whole)).length;
    expect(length(full)).toBe(LINE_LIMIT);
    fc.assert(fc.property(identities, (whole) => length(whole) <= LINE_LIMIT));
  });

  test('a stage request and an answer with coefficients fit', () => {
    const stage = formatRequest(999_999, 'stage', VERBS.stage.request.write(bowed));
    expect(stage.length).toBe(271);
    const stored = { ...bowed, generation: LIMITS.generation, crc: setCrc(bowed) };
    const answer = formatAnswer(999_999, true, VERBS.coefficients.answer.write(stored));
    expect(answer.length).toBe(298);
  });

  test('every other answer is far from the limit', () => {
    const memory = { first: 1, last: 9_999_999, count: 9_999_999, room: 9_999_999 };
    const answer = VERBS.memory.answer.write({ ...memory, dropped: 9_999_999 });
    expect(formatAnswer(999_999, true, answer).length).toBeLessThan(LINE_LIMIT / 2);
  });
});

test('every error code has words that say what to do next', () => {
  expect(BOARD_CODES.length).toBe(19);
  for (const code of BOARD_CODES) expect(codeInWords(code)).toMatch(/[.] [A-Z].*[.]$/);
});
