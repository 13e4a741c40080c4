import { ProtocolError } from './errors.ts';
import { encodeItem, type Fields, type FieldValues } from './line.ts';

/**
 * How single values are written into fields and read back (SPEC.md, section 1.5), and how a message is made of
 * them. Reading trusts nothing: every value has its range and its longest length.
 */

/** Ends the reading or writing of a field, saying why its value will not do. */
type Fail = (why: string) => never;

/** One kind of value. */
export interface Value<T> {
  write(value: T, fail: Fail): readonly string[];
  read(items: readonly string[], fail: Fail): T;
}

/** A message: an object written as fields, and read back. Both throw `ProtocolError` naming the field. */
export interface Message<T> {
  /** @throws ProtocolError `unsendable` */
  write(value: T): FieldValues;
  /** @throws ProtocolError `nonsense` */
  read(fields: Fields): T;
}

interface Field<T, Optional extends boolean> {
  readonly wire: string;
  readonly value: Value<T>;
  readonly optional: Optional;
}

/* eslint-disable-next-line @typescript-eslint/no-explicit-any -- a shape mixes fields of any types; Shaped recovers each */
type Shape = Readonly<Record<string, Field<any, boolean>>>;
type Names<S extends Shape, Optional extends boolean> = {
  [K in keyof S]: S[K]['optional'] extends Optional ? K : never;
}[keyof S];
type Held<F> = F extends Field<infer T, boolean> ? T : never;
type Shaped<S extends Shape> = { [K in Names<S, false>]: Held<S[K]> } & {
  [K in Names<S, true>]?: Held<S[K]>;
};

export function field<T>(wire: string, value: Value<T>): Field<T, false> {
  return { wire, value, optional: false };
}

export function optional<T>(wire: string, value: Value<T>): Field<T, true> {
  return { wire, value, optional: true };
}

/**
 * Makes a message of its fields. Fields it does not know are ignored, as SPEC.md, section 1.4 wants.
 *
 * @param shape which property goes into which field
 * @param check what must hold between the fields; it calls its second argument with a field's name and the reason
 */
export function message<S extends Shape>(
  shape: S,
  check: (value: Shaped<S>, fail: (field: string, why: string) => never) => void = () => {},
): Message<Shaped<S>> {
  const failWith =
    (cause: 'nonsense' | 'unsendable') =>
    (field: string, why: string): never => {
      throw new ProtocolError({ cause, field, why });
    };
  const parts = Object.entries(shape);
  return {
    write(value) {
      const fail = failWith('unsendable');
      check(value, fail);
      const fields: Record<string, readonly string[]> = {};
      for (const [property, part] of parts) {
        const held = (value as Record<string, unknown>)[property];
        if (held !== undefined) {
          fields[part.wire] = part.value.write(held, (why) => fail(part.wire, why));
        } else if (!part.optional) {
          fail(part.wire, 'is missing');
        }
      }
      return fields;
    },
    read(fields) {
      const fail = failWith('nonsense');
      const value: Record<string, unknown> = {};
      for (const [property, part] of parts) {
        const items = fields[part.wire];
        if (items !== undefined) {
          value[property] = part.value.read(items, (why) => fail(part.wire, why));
        } else if (!part.optional) {
          fail(part.wire, 'is missing');
        }
      }
      check(value as Shaped<S>, fail);
      return value as Shaped<S>;
    },
  };
}

/** The single item of a value that is no list. */
function single(items: readonly string[], fail: Fail): string {
  return items.length === 1 ? items[0]! : fail('is a list where one value belongs');
}

/** A quotation of untrusted text that is safe and short enough to show. */
function quote(text: string): string {
  const short = text.length > 24 ? `${text.slice(0, 24)}…` : text;
  return `“${short.replace(/[^\x20-\x7e…]/g, '?')}”`;
}

const INT = /^-?(0|[1-9][0-9]{0,11})$/;
const REAL = /^-?(0|[1-9][0-9]{0,11})(\.[0-9]{1,12})?$/;

function within(value: number, min: number, max: number, fail: Fail): number {
  if (!(value >= min && value <= max)) fail(`is ${value}, outside ${min} to ${max}`);
  return value + 0; // minus zero becomes zero
}

/** A whole number. */
export function int(min: number, max: number): Value<number> {
  return {
    write(value, fail) {
      if (!Number.isInteger(value)) fail(`is ${value}, not a whole number`);
      return [String(within(value, min, max, fail))];
    },
    read(items, fail) {
      const item = single(items, fail);
      if (!INT.test(item)) fail(`is ${quote(item)}, not a whole number`);
      return within(Number(item), min, max, fail);
    },
  };
}

/**
 * A decimal number, written with at most `decimals` decimals; more are understood.
 *
 * @param most what to write instead of any greater number; without it, greater than `max` cannot be sent
 */
export function real(min: number, max: number, decimals: number, most?: number): Value<number> {
  return {
    write(value, fail) {
      const held = most === undefined ? value : Math.min(value, most);
      const rounded = Number(held.toFixed(decimals));
      return [String(within(rounded, min, max, fail))];
    },
    read(items, fail) {
      const item = single(items, fail);
      if (!REAL.test(item)) fail(`is ${quote(item)}, not a number`);
      return within(Number(item), min, max, fail);
    },
  };
}

/** An angle in [0, 360) degrees, written with `decimals` decimals; what rounds up to 360 is written 0. */
export function turn(decimals: number): Value<number> {
  const below = real(0, 360 - 1e-9, decimals);
  return {
    write(value, fail) {
      const rounded = Number(value.toFixed(decimals));
      return below.write(rounded === 360 && value < 360 ? 0 : rounded, fail);
    },
    read: below.read,
  };
}

type Triple = readonly [number, number, number];

/** Three values with commas between. */
export function triple(of: Value<number>): Value<Triple> {
  return {
    write: (value, fail) => value.flatMap((each) => of.write(each, fail)),
    read(items, fail) {
      if (items.length !== 3) fail(`has ${items.length} values, not 3`);
      return items.map((item) => of.read([item], fail)) as unknown as Triple;
    },
  };
}

/** Eight hexadecimal digits, as an unsigned number. */
export const word: Value<number> = {
  write(value, fail) {
    if (!Number.isInteger(value)) fail(`is ${value}, not a whole number`);
    return [hexWord(within(value, 0, 0xffffffff, fail))];
  },
  read(items, fail) {
    const item = single(items, fail);
    if (!/^[0-9A-F]{8}$/.test(item)) fail(`is ${quote(item)}, not eight hexadecimal digits`);
    return parseInt(item, 16);
  },
};

/** Eight hexadecimal digits, as they stand. */
export const hex: Value<string> = {
  write: (value, fail) => [hexWord(word.read([value], fail))],
  read: (items, fail) => hexWord(word.read(items, fail)),
};

/** A 32-bit number as eight upper-case hexadecimal digits. */
export function hexWord(value: number): string {
  return value.toString(16).toUpperCase().padStart(8, '0');
}

/** Numbers as binary32, eight hexadecimal digits each, one after another; `counts` are the lengths allowed. */
export function floats(counts: readonly number[]): Value<readonly number[]> {
  const view = new DataView(new ArrayBuffer(4));
  const check = (count: number, fail: Fail) => {
    if (!counts.includes(count)) fail(`holds ${count} words, not ${counts.join(' or ')}`);
  };
  return {
    write(values, fail) {
      check(values.length, fail);
      const words = values.map((value, at) => {
        if (!Number.isFinite(value) || Math.fround(value) !== value)
          fail(`holds ${value} at place ${at + 1}, which is no finite binary32 number`);
        view.setFloat32(0, value);
        return hexWord(view.getUint32(0));
      });
      return [words.join('')];
    },
    read(items, fail) {
      const digits = single(items, fail);
      if (!/^[0-9A-F]*$/.test(digits) || digits.length % 8 !== 0)
        fail('is not made of words of eight hexadecimal digits');
      check(digits.length / 8, fail);
      return Array.from({ length: digits.length / 8 }, (_, at) => {
        view.setUint32(0, parseInt(digits.slice(8 * at, 8 * at + 8), 16));
        const value = view.getFloat32(0);
        return Number.isFinite(value)
          ? value
          : fail(`holds ${value} at place ${at + 1}, which is no number`);
      });
    },
  };
}

/** One of a closed set of words. */
export function choice<const T extends string>(choices: readonly T[]): Value<T> {
  const read = (items: readonly string[], fail: Fail): T => {
    const item = single(items, fail);
    const found = choices.find((each) => each === item);
    return found ?? fail(`is ${quote(item)}, not one of ${choices.join(', ')}`);
  };
  return { write: (value, fail) => [read([value], fail)], read };
}

const encoder = new TextEncoder();

/** Text of `min` to `max` bytes of UTF-8, without characters that control how text is shown. */
export function text(min: number, max: number): Value<string> {
  const read = (items: readonly string[], fail: Fail): string => {
    const item = single(items, fail);
    const length = encoder.encode(item).length;
    if (length < min || length > max) fail(`is ${length} bytes long, not ${min} to ${max}`);
    if (/[\p{Cc}\p{Cf}\p{Cs}\p{Zl}\p{Zp}]/u.test(item)) fail('holds control characters');
    return item;
  };
  return { write: (value, fail) => [read([value], fail)], read };
}

/** A list of names, perhaps empty, of at most `max` characters with its commas. */
export function names(max: number): Value<readonly string[]> {
  const read = (items: readonly string[], fail: Fail): readonly string[] => {
    if (items.length === 1 && items[0] === '') return [];
    if (items.join(',').length > max) fail(`is longer than ${max} characters`);
    for (const item of items) {
      if (!/^[a-z][a-z0-9_]*$/.test(item)) fail(`holds ${quote(item)}, which is no name`);
    }
    return items;
  };
  return { write: (value, fail) => (value.length === 0 ? [''] : read(value, fail)), read };
}

/** A single name. */
export const oneName: Value<string> = {
  write: (value, fail) => names(32).write([value], fail),
  read: (items, fail) => names(32).read([single(items, fail) || '?'], fail)[0]!,
};

/** Yes or no. */
export const yesNo: Value<boolean> = {
  write: (value) => [value ? 'yes' : 'no'],
  read: (items, fail) => choice(['yes', 'no']).read(items, fail) === 'yes',
};

/** One to `max` bytes, two upper-case hexadecimal digits each. */
export function bytes(max: number): Value<Uint8Array> {
  const check = (count: number, fail: Fail) => {
    if (count < 1 || count > max) fail(`holds ${count} bytes, not 1 to ${max}`);
  };
  return {
    write(value, fail) {
      check(value.length, fail);
      return [
        Array.from(value, (byte) => byte.toString(16).padStart(2, '0'))
          .join('')
          .toUpperCase(),
      ];
    },
    read(items, fail) {
      const digits = single(items, fail);
      if (!/^([0-9A-F]{2})*$/.test(digits)) fail('is not made of pairs of hexadecimal digits');
      check(digits.length / 2, fail);
      return Uint8Array.from({ length: digits.length / 2 }, (_, at) =>
        parseInt(digits.slice(2 * at, 2 * at + 2), 16),
      );
    },
  };
}

/** Which chip axis lies along body x, y, z, with its sign, as `+y-x+z`: each axis once. */
export const mounting: Value<string> = {
  write: (value, fail) => [readMounting([value], fail)],
  read: readMounting,
};

function readMounting(items: readonly string[], fail: Fail): string {
  const item = single(items, fail);
  const axes = /^[+-]([xyz])[+-]([xyz])[+-]([xyz])$/.exec(item)?.slice(1);
  if (axes === undefined || new Set(axes).size !== 3)
    fail(`is ${quote(item)}, not three signed axes such as +y-x+z`);
  return item;
}

/** How many characters a text takes on the wire. */
export function encodedLength(value: string): number {
  return encodeItem(value).length;
}
