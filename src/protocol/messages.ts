import type { BoardIdentity, BoardReading, MemoryState, StoredSet } from './board.ts';
import { CARE_VERBS } from './care-messages.ts';
import type { CoefficientSet } from './coefficient-set.ts';
import { crc32 } from './crc.ts';
import { BOARD_CODES, type BoardCode, type Refusal } from './errors.ts';
import {
  choice,
  encodedLength,
  field,
  floats,
  hex,
  hexWord,
  int,
  message,
  mounting,
  names,
  oneName,
  optional,
  real,
  text,
  triple,
  turn,
  word,
  type Message,
} from './fields.ts';

/**
 * Every message of the protocol, typed (SPEC.md, sections 3 to 6): what host and board write into a line's fields
 * and read from them. Lengths and ranges are such that every line fits its limit.
 */

/** The version of the protocol spoken here. */
export const PROTOCOL_VERSION = 1;

/** The greatest numbers that the protocol knows. */
export const LIMITS = {
  reading: 9_999_999,
  generation: 99_999,
  event: 999_999,
  /** Characters of serial, name, hardware and firmware together, percent-encoded. */
  identityText: 60,
} as const;

const readingNumber = int(1, LIMITS.reading);
const readingNumberOrNone = int(0, LIMITS.reading);
const generation = int(0, LIMITS.generation);
const eventNumber = int(1, LIMITS.event);

/** A reading as `sense` gives it: taken, but not stored, so that it has no number. */
export type SensedReading = Omit<BoardReading, 'reading' | 'generation'>;

const counts = triple(real(-999_999.99, 999_999.99, 2));
const scatter = triple(real(0, 9_999.99, 2, 9_999.99));

const sensedFields = {
  tMs: optional('t_ms', int(0, 0xffffffff)),
  acc: field('acc', counts),
  mag: field('mag', counts),
  accScatter: optional('acc_scatter', scatter),
  magScatter: optional('mag_scatter', scatter),
  samples: optional('samples', int(1, 9_999)),
  temperature: optional('temp_c', real(-99.9, 199.9, 1)),
  volt: optional('volt', real(0, 99.99, 2)),
  azimuth: optional('azimuth', turn(3)),
  inclination: optional('inclination', real(-90, 90, 3)),
  roll: optional('roll', turn(3)),
  range: optional('range_m', real(0, 999.999, 3)),
};

const sensed: Message<SensedReading> = message(sensedFields);

const reading: Message<BoardReading> = message({
  reading: field('reading', readingNumber),
  generation: field('generation', generation),
  ...sensedFields,
});

const scale = real(0.1, 999_999.9, 1);
const noise = real(0.01, 999.99, 2);

const helloAnswer: Message<BoardIdentity & { host: number }> = message(
  {
    host: field('host', word),
    protocol: field('protocol', int(1, 99)),
    serial: field('serial', text(1, 16)),
    name: field('name', text(0, 20)),
    hardware: field('hardware', text(1, 12)),
    firmware: field('firmware', text(1, 12)),
    capabilities: field('can', names(34)),
    accScale: field('acc_scale', scale),
    magScale: field('mag_scale', scale),
    accMounting: optional('acc_mount', mounting),
    magMounting: optional('mag_mount', mounting),
    accNoise: field('acc_sd', noise),
    magNoise: field('mag_sd', noise),
    chunk: field('chunk', int(20, 9_999)),
    captureMs: field('capture_ms', int(1, 9_999)),
    generation: field('generation', generation),
  },
  ({ serial, name, hardware, firmware }, fail) => {
    const length = [serial, name, hardware, firmware].reduce((sum, x) => sum + encodedLength(x), 0);
    if (length > LIMITS.identityText)
      fail('name', `and the other texts take ${length} characters, not ${LIMITS.identityText}`);
  },
);

const memory: Message<MemoryState> = message(
  {
    first: field('first', readingNumberOrNone),
    last: field('last', readingNumberOrNone),
    count: field('count', int(0, LIMITS.reading)),
    room: field('room', int(0, LIMITS.reading)),
    dropped: field('dropped', int(0, LIMITS.reading)),
  },
  ({ first, last, count }, fail) => {
    const fits = count === 0 ? first === 0 && last === 0 : first >= 1 && count <= last - first + 1;
    if (!fits) fail('count', `is ${count}, which readings ${first} to ${last} cannot be`);
  },
);

const setFields = {
  model: field('model', choice(['straight', 'bowed'])),
  values: field('words', floats([26, 29])),
};

function checkSet(
  { model, values }: CoefficientSet,
  fail: (field: string, why: string) => never,
): void {
  const wanted = model === 'straight' ? 26 : 29;
  if (values.length !== wanted)
    fail('words', `holds ${values.length} words, where a ${model} set has ${wanted}`);
  if (!(values[0]! > 0 && values[1]! > 0))
    fail('words', 'begins with a scale that is not positive');
}

const coefficientSet: Message<CoefficientSet> = message(setFields, checkSet);

const storedSet: Message<StoredSet> = message(
  {
    generation: field('generation', generation),
    ...setFields,
    crc: field('crc', hex),
  },
  (set, fail) => {
    checkSet(set, fail);
    if (set.crc !== setCrc(set)) fail('crc', `is ${set.crc}, but the words give ${setCrc(set)}`);
  },
);

/**
 * CRC-32/ISO-HDLC of a set of coefficients (SPEC.md, section 6.1), as eight upper-case hexadecimal digits.
 *
 * @param set its values are taken as binary32, exactly representable or not
 */
export function setCrc(set: CoefficientSet): string {
  const bytes = new Uint8Array(1 + 4 * set.values.length);
  const view = new DataView(bytes.buffer);
  view.setUint8(0, set.model === 'straight' ? 0x53 : 0x42);
  set.values.forEach((value, at) => view.setFloat32(1 + 4 * at, value));
  return hexWord(crc32(bytes));
}

const empty: Message<Record<never, never>> = message({});
const crcOnly = message({ crc: field('crc', hex) });
const generationOnly = message({ generation: field('generation', generation) });
const readingOnly = message({ reading: field('reading', readingNumber) });
const mode = choice(['idle', 'collect']);

/** The request and the `ok` answer of each verb. */
export const VERBS = {
  hello: {
    request: message({ host: field('host', word), protocol: field('protocol', int(1, 99)) }),
    answer: helloAnswer,
  },
  mode: {
    request: message({ set: field('set', mode) }),
    answer: message({ mode: field('mode', mode) }),
  },
  sense: { request: empty, answer: sensed },
  capture: { request: empty, answer: readingOnly },
  memory: { request: empty, answer: memory },
  recall: { request: readingOnly, answer: reading },
  erase: {
    request: message({ through: field('through', readingNumberOrNone) }),
    answer: message({ erased: field('erased', int(0, LIMITS.reading)) }),
  },
  again: {
    request: message({ from: field('from', eventNumber) }),
    answer: message({ from: field('from', eventNumber), to: field('to', int(0, LIMITS.event)) }),
  },
  coefficients: {
    request: message({ which: field('which', choice(['in_force', 'previous', 'staged'])) }),
    answer: storedSet,
  },
  stage: { request: coefficientSet, answer: crcOnly },
  check: { request: crcOnly, answer: crcOnly },
  seal: {
    request: message({ replaces: field('replaces', generation), crc: field('crc', hex) }),
    answer: generationOnly,
  },
  revert: {
    request: message({ replaces: field('replaces', generation) }),
    answer: generationOnly,
  },
  ...CARE_VERBS,
};

export type Verb = keyof typeof VERBS;
type Carried<M> = M extends Message<infer T> ? T : never;
/** What a request of the verb carries. */
export type RequestOf<V extends Verb> = Carried<(typeof VERBS)[V]['request']>;
/** What its `ok` answer carries. */
export type AnswerOf<V extends Verb> = Carried<(typeof VERBS)[V]['answer']>;

export function isVerb(name: string): name is Verb {
  return Object.hasOwn(VERBS, name);
}

/** What the board's trigger, or a `capture`, can be refused with. */
export const CAPTURE_CODES = [
  'wrong_mode',
  'memory_full',
  'saturated',
  'busy',
  'low_power',
] as const satisfies readonly BoardCode[];

/** What each kind of event carries. */
export const EVENTS = {
  reading,
  refused: message({ code: field('code', choice(CAPTURE_CODES)) }),
  power: message({ volt: field('volt', real(0, 99.99, 2)) }),
};

export type EventKind = keyof typeof EVENTS;
export type EventOf<K extends EventKind> = Carried<(typeof EVENTS)[K]>;

export function isEventKind(name: string): name is EventKind {
  return Object.hasOwn(EVENTS, name);
}

/** What every `error` answer carries. */
export const REFUSAL: Message<Refusal> = message({
  code: field('code', choice(BOARD_CODES)),
  field: optional('field', oneName),
  oldest: optional('oldest', eventNumber),
  generation: optional('generation', generation),
});
