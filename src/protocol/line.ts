import { crc16OfText } from './crc.ts';

/** Lines of the protocol (SPEC.md, section 1): what one is, how it is written, how it is read. */

/** The most bytes a line may have, its LF included. */
export const LINE_LIMIT = 320;

/** A field's value is a list of texts, most often of one. */
export type Fields = Readonly<Record<string, readonly string[]>>;

export type Line =
  | { kind: 'request'; tag: number; verb: string; fields: Fields; checked: boolean }
  | { kind: 'answer'; tag: number; ok: boolean; fields: Fields; checked: boolean }
  | { kind: 'event'; number: number; event: string; fields: Fields; checked: boolean };

/** Why a line could not be read. */
export type LineFault = 'bad_check' | 'bad_line';

/** A body, as the grammar of SPEC.md, section 1.4 has it; what stands after a `%` is looked at when it is decoded. */
const BODY = /^[?=!](?:0|[1-9][0-9]{0,5}) [a-z][a-z0-9_]*(?: [a-z][a-z0-9_]*=[!"$-<>-~]*)*$/;
const CHECK = /^[0-9A-F]{4}$/;
/** Characters that the check takes at the end of a line, with the space before it. */
const CHECK_LENGTH = 6;
const PRINTABLE = /^[\x20-\x7e]*$/;
/** The greatest tag, and the greatest number of an event. */
export const TAG_LIMIT = 999_999;
const encoder = new TextEncoder();
const decoder = new TextDecoder('utf-8', { ignoreBOM: true });

/** Percent-encodes one item of a value. */
export function encodeItem(text: string): string {
  return Array.from(encoder.encode(text), (byte) => {
    const plain = byte > 0x20 && byte < 0x7f && !'#,=%'.includes(String.fromCharCode(byte));
    return plain
      ? String.fromCharCode(byte)
      : `%${byte.toString(16).toUpperCase().padStart(2, '0')}`;
  }).join('');
}

/**
 * The items of the value that stands in `body` from `start` to `end`, cut at the commas and decoded; undefined for a
 * stray % or for bytes that are not UTF-8. (It searches by hand: `split` takes twice as long on texts this short.)
 */
function itemsOf(body: string, start: number, end: number): readonly string[] | undefined {
  const items: string[] = [];
  let from = start;
  for (;;) {
    const comma = body.indexOf(',', from);
    if (comma < 0 || comma >= end) break;
    items.push(body.slice(from, comma));
    from = comma + 1;
  }
  items.push(body.slice(from, end));
  if (!items.some((item) => item.includes('%'))) return items;
  try {
    return items.map(decodeURIComponent);
  } catch {
    return undefined; // the line is bad, and the caller says so
  }
}

/** Fields for {@link formatLine}: a text, a number or a list of them; `undefined` leaves the field out. */
export type FieldValues = Readonly<
  Record<string, string | number | readonly (string | number)[] | undefined>
>;

function formatFields(fields: FieldValues): string {
  return Object.entries(fields)
    .filter(([, value]) => value !== undefined)
    .map(([name, value]) => {
      const items = Array.isArray(value) ? value : [value];
      return ` ${name}=${items.map((item) => encodeItem(String(item))).join(',')}`;
    })
    .join('');
}

/** Bytes of any body with its check and LF added, whether or not it is a line of the protocol. */
export function withCheck(body: string): Uint8Array {
  return encoder.encode(`${body} #${checkOf(body)}\n`);
}

/** The check of a body in ASCII (SPEC.md, section 1.3). */
export function checkOf(body: string): string {
  return crc16OfText(body).toString(16).toUpperCase().padStart(4, '0');
}

/** Bytes of a request, check and LF included. */
export function formatRequest(tag: number, verb: string, fields: FieldValues = {}): Uint8Array {
  return withCheck(`?${tag} ${verb}${formatFields(fields)}`);
}

/** Bytes of an answer, check and LF included. */
export function formatAnswer(tag: number, ok: boolean, fields: FieldValues = {}): Uint8Array {
  return withCheck(`=${tag} ${ok ? 'ok' : 'error'}${formatFields(fields)}`);
}

/** Bytes of an event, check and LF included. */
export function formatEvent(number: number, kind: string, fields: FieldValues = {}): Uint8Array {
  return withCheck(`!${number} ${kind}${formatFields(fields)}`);
}

/**
 * Reads one line, without its LF.
 *
 * @param text printable ASCII, as {@link LineReader} yields it
 * @returns the line; `checked` tells whether it carried a check. Or why it cannot be read.
 */
export function parseLine(text: string): Line | LineFault {
  const checked = hasCheck(text);
  const body = checked ? text.slice(0, -CHECK_LENGTH) : text;
  if (checked && crc16OfText(body) !== parseInt(text.slice(-4), 16)) return 'bad_check';
  if (!BODY.test(body)) return 'bad_line';

  const headEnd = body.indexOf(' ');
  const wordEnd = endOfPart(body, headEnd + 1);
  const number = Number(body.slice(1, headEnd));
  const word = body.slice(headEnd + 1, wordEnd);
  // An ordinary object, which is a seventh faster than one without a prototype: what it inherits is asked for by nobody.
  const fields: Record<string, readonly string[]> = {};
  for (let end = wordEnd; end < body.length;) {
    const start = end + 1;
    end = endOfPart(body, start);
    const equals = body.indexOf('=', start);
    const name = body.slice(start, equals);
    const items = itemsOf(body, equals + 1, end);
    if (Object.hasOwn(fields, name) || !items) return 'bad_line'; // named twice, or not to be decoded
    fields[name] = items;
  }

  switch (body[0]) {
    case '?':
      if (number < 1 || number > TAG_LIMIT) return 'bad_line';
      return { kind: 'request', tag: number, verb: word, fields, checked };
    case '=':
      if (number > TAG_LIMIT || (word !== 'ok' && word !== 'error')) return 'bad_line';
      return { kind: 'answer', tag: number, ok: word === 'ok', fields, checked };
    default:
      if (number < 1) return 'bad_line';
      return { kind: 'event', number, event: word, fields, checked };
  }
}

function hasCheck(text: string): boolean {
  return text.startsWith(' #', text.length - CHECK_LENGTH) && CHECK.test(text.slice(-4));
}

/** Where the part of a body that begins at `start` ends: at the next space, or with the body. */
function endOfPart(body: string, start: number): number {
  const space = body.indexOf(' ', start);
  return space < 0 ? body.length : space;
}

/**
 * Cuts a stream of bytes into lines. It holds at most {@link LINE_LIMIT} bytes, whatever arrives: a line that is
 * too long or holds a byte outside printable ASCII is dropped up to the next LF.
 */
export class LineReader {
  readonly #held = new Uint8Array(LINE_LIMIT - 1);
  /** How many bytes came since the last LF; those beyond what is held are counted alone. */
  #length = 0;

  /**
   * @param onLine gets each whole line, without LF (and without a CR before it)
   * @param onDropped gets told, once, of each line that was dropped: its bytes without LF, as far as they are held,
   *   copied; and how many there were
   */
  constructor(
    private readonly onLine: (text: string) => void,
    private readonly onDropped: (held: Uint8Array, length: number) => void = () => {},
  ) {}

  push(bytes: Uint8Array): void {
    for (let from = 0; from < bytes.length;) {
      const lf = bytes.indexOf(0x0a, from);
      const end = lf < 0 ? bytes.length : lf;
      this.#hold(bytes.subarray(from, end));
      if (lf >= 0) this.#endLine();
      from = end + 1;
    }
  }

  /** Drops what came since the last LF, if anything did. */
  drop(): void {
    const length = this.#length;
    this.#length = 0;
    if (length > 0) this.onDropped(this.#held.slice(0, length), length);
  }

  #hold(piece: Uint8Array): void {
    const room = this.#held.length - this.#length;
    if (room > 0) this.#held.set(piece.subarray(0, room), this.#length);
    this.#length += piece.length;
  }

  #endLine(): void {
    const whole = decoder.decode(this.#held.subarray(0, this.#length));
    const text = whole.endsWith('\r') ? whole.slice(0, -1) : whole;
    if (this.#length > this.#held.length || !PRINTABLE.test(text)) {
      this.drop();
      return;
    }
    this.#length = 0;
    if (text !== '') this.onLine(text);
  }
}
