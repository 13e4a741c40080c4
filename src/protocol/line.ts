import { crc16 } from './crc.ts';

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

const HEAD = /^([?=!])(0|[1-9][0-9]{0,5}) ([a-z][a-z0-9_]*)( .*)?$/;
const FIELD = /^([a-z][a-z0-9_]*)=([^=#]*)$/;
const TAG_LIMIT = 999_999;
const encoder = new TextEncoder();

/** Percent-encodes one item of a value. */
export function encodeItem(text: string): string {
  return Array.from(encoder.encode(text), (byte) => {
    const plain = byte > 0x20 && byte < 0x7f && !'#,=%'.includes(String.fromCharCode(byte));
    return plain
      ? String.fromCharCode(byte)
      : `%${byte.toString(16).toUpperCase().padStart(2, '0')}`;
  }).join('');
}

function decodeItem(item: string): string | undefined {
  try {
    return decodeURIComponent(item);
  } catch {
    return undefined; // a stray %, or bytes that are not UTF-8: the line is bad, and the caller says so
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

/** Adds check and LF to a body. */
function seal(body: string): Uint8Array {
  const check = crc16(encoder.encode(body)).toString(16).toUpperCase().padStart(4, '0');
  return encoder.encode(`${body} #${check}\n`);
}

/** Bytes of a request, check and LF included. */
export function formatRequest(tag: number, verb: string, fields: FieldValues = {}): Uint8Array {
  return seal(`?${tag} ${verb}${formatFields(fields)}`);
}

/** Bytes of an answer, check and LF included. */
export function formatAnswer(tag: number, ok: boolean, fields: FieldValues = {}): Uint8Array {
  return seal(`=${tag} ${ok ? 'ok' : 'error'}${formatFields(fields)}`);
}

/** Bytes of an event, check and LF included. */
export function formatEvent(number: number, kind: string, fields: FieldValues = {}): Uint8Array {
  return seal(`!${number} ${kind}${formatFields(fields)}`);
}

/**
 * Reads one line, without its LF.
 *
 * @param text printable ASCII, as {@link LineReader} yields it
 * @returns the line; `checked` tells whether it carried a check. Or why it cannot be read.
 */
export function parseLine(text: string): Line | LineFault {
  const check = / #([0-9A-F]{4})$/.exec(text);
  const body = check ? text.slice(0, check.index) : text;
  if (check && crc16(encoder.encode(body)) !== parseInt(check[1]!, 16)) return 'bad_check';

  const head = HEAD.exec(body);
  if (!head) return 'bad_line';
  const [, mark, digits, word, tail = ''] = head;
  const number = Number(digits);
  const checked = check !== null;

  const fields: Record<string, readonly string[]> = Object.create(null);
  for (const part of tail.split(' ').slice(1)) {
    const field = FIELD.exec(part);
    if (!field || field[1]! in fields) return 'bad_line';
    const items = field[2]!.split(',').map(decodeItem);
    if (!items.every((item) => item !== undefined)) return 'bad_line';
    fields[field[1]!] = items;
  }

  switch (mark) {
    case '?':
      if (number < 1 || number > TAG_LIMIT) return 'bad_line';
      return { kind: 'request', tag: number, verb: word!, fields, checked };
    case '=':
      if (number > TAG_LIMIT || (word !== 'ok' && word !== 'error')) return 'bad_line';
      return { kind: 'answer', tag: number, ok: word === 'ok', fields, checked };
    default:
      return { kind: 'event', number, event: word!, fields, checked };
  }
}

/**
 * Cuts a stream of bytes into lines. It holds at most {@link LINE_LIMIT} bytes, whatever arrives: a line that is
 * too long or holds a byte outside printable ASCII is dropped up to the next LF.
 */
export class LineReader {
  #buffer = '';
  #dropping = false;

  /**
   * @param onLine gets each whole line, without LF (and without a CR before it)
   * @param onDropped gets told, once, of each line that was dropped
   */
  constructor(
    private readonly onLine: (text: string) => void,
    private readonly onDropped: () => void = () => {},
  ) {}

  push(bytes: Uint8Array): void {
    for (const byte of bytes) {
      if (byte === 0x0a) {
        const text = this.#buffer.endsWith('\r') ? this.#buffer.slice(0, -1) : this.#buffer;
        const dropped = this.#dropping || text.includes('\r');
        this.#buffer = '';
        this.#dropping = false;
        if (dropped) this.onDropped();
        else if (text !== '') this.onLine(text);
      } else if (this.#dropping) {
        continue;
      } else if (
        this.#buffer.length >= LINE_LIMIT - 1 ||
        ((byte < 0x20 || byte > 0x7e) && byte !== 0x0d)
      ) {
        this.#buffer = '';
        this.#dropping = true;
      } else {
        this.#buffer += String.fromCharCode(byte);
      }
    }
  }
}
