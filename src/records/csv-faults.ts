import { splitCsv, type Comment, type Row } from './rfc4180.ts';

/** What all files of comma-separated values share: bytes taken for text, numbers, and what is wrong said by line and field. */

const [LF, CR] = [0x0a, 0x0d];
const SEPARATORS: ReadonlyMap<number, string> = new Map([
  [0x2c, ','],
  [LF, '\n'],
  [CR, '\r'],
]);

/** A decimal number with a point. */
export const DECIMAL = /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/;

/**
 * What is wrong with any such file:
 *
 * - `not_text`: a binary file
 * - `encoding`: text, but not UTF-8
 * - `quote`: a quoted field that never ends, or a quote where none may stand
 * - `blank`: nothing where something must stand
 * - `decimal_comma`: a number with a comma for a point
 * - `not_a_number`: text, NaN or an infinity where a number must stand
 * - `out_of_range`: a number that cannot be
 */
export type CsvCause =
  'not_text' | 'encoding' | 'quote' | 'blank' | 'decimal_comma' | 'not_a_number' | 'out_of_range';

export interface CsvFault<Cause extends string> {
  ok: false;
  cause: Cause;
  /** Counted from 1; absent where the whole file is meant. */
  line?: number;
  /** Name of the column, or its number where it has no name yet. */
  field?: string;
  /** Where, what is wrong, and what to do, in words. */
  message: string;
}

/** Carries a fault out of the depths of reading to whoever reads a whole file, who alone catches it. */
export class CsvFound<Cause extends string> extends Error {
  readonly fault: CsvFault<Cause>;
  constructor(cause: Cause, where: { line?: number; field?: string }, what: string) {
    super(what);
    const place = [
      where.line === undefined ? '' : `line ${where.line}`,
      where.field === undefined ? '' : `field ${where.field}`,
    ].filter((part) => part !== '');
    const message = `${place.length > 0 ? `${place.join(', ')}: ` : ''}${what} Nothing was changed.`;
    this.fault = { ok: false, cause, ...where, message };
  }
}

/** Text from a file, fit to stand in a message: short, on one line, and without control characters. */
export function quoted(text: string): string {
  const short = text.length > 40 ? `${text.slice(0, 40)}…` : text;
  return `“${short.replace(/\p{C}/gu, '·')}”`;
}

/** The text of a file. @throws CsvFound where it is none, or not in UTF-8 */
export function decode(bytes: Uint8Array): string {
  const name = utf16(bytes);
  if (name) {
    throw new CsvFound<CsvCause>(
      'encoding',
      { line: 1, field: '1' },
      `the text is ${name}. Save it as UTF-8.`,
    );
  }
  if (bytes.some(isControl)) {
    throw new CsvFound<CsvCause>(
      'not_text',
      placeOf(bytes, (field) => field.some(isControl)),
      'this is not a text file (a spreadsheet or a picture, perhaps). Export it as CSV in UTF-8.',
    );
  }
  if (!isUtf8(bytes)) {
    throw new CsvFound<CsvCause>(
      'encoding',
      placeOf(bytes, (field) => !isUtf8(field)),
      'the text is not UTF-8 (an older encoding, perhaps). Save it as UTF-8.',
    );
  }
  return new TextDecoder('utf-8').decode(bytes);
}

/** A byte that text has no use for. */
function isControl(byte: number): boolean {
  return byte < 0x09 || (byte > 0x0d && byte < 0x20);
}

/** Names UTF-16 by its byte order mark, or by every second byte of plain text being zero. */
function utf16(bytes: Uint8Array): string | undefined {
  const [first, second] = bytes;
  if (first === 0xff && second === 0xfe) return 'UTF-16 (little-endian)';
  if (first === 0xfe && second === 0xff) return 'UTF-16 (big-endian)';
  const start = bytes.subarray(0, 200);
  const pairs = Math.floor(start.length / 2);
  const zeros = (from: number) =>
    start.filter((byte, i) => i % 2 === from && i < 2 * pairs && byte === 0).length;
  if (pairs < 4) return undefined;
  if (zeros(1) > 0.9 * pairs && zeros(0) === 0) return 'UTF-16 (little-endian)';
  if (zeros(0) > 0.9 * pairs && zeros(1) === 0) return 'UTF-16 (big-endian)';
  return undefined;
}

/**
 * Line and field (by number) of the first field whose bytes are bad, commas and line ends taken as plain: those bytes
 * mean nothing else in UTF-8.
 */
function placeOf(bytes: Uint8Array, bad: (field: Uint8Array) => boolean) {
  let [line, field, start] = [1, 1, 0];
  for (let i = 0; i < bytes.length; i++) {
    const separator = SEPARATORS.get(bytes[i]);
    if (!separator) continue;
    if (bad(bytes.subarray(start, i))) break;
    start = i + 1;
    if (separator === ',') field++;
    else if (separator === '\n' || bytes[start] !== LF) [line, field] = [line + 1, 1];
  }
  return { line, field: String(field) };
}

function isUtf8(bytes: Uint8Array): boolean {
  try {
    new TextDecoder('utf-8', { fatal: true }).decode(bytes);
    return true;
  } catch (error) {
    if (error instanceof TypeError) return false; // the one thing a fatal decoder throws
    throw error;
  }
}

/** Rows and comments of a text. @throws CsvFound where a quote stands wrong */
export function rowsOf(text: string): { rows: Row[]; comments: Comment[] } {
  const split = splitCsv(text);
  if (split.ok) return split;
  const { line, field, problem } = split;
  throw new CsvFound<CsvCause>(
    'quote',
    { line, field: String(field) },
    problem === 'open_quote'
      ? 'a quoted field begins here and never ends. Close the quote.'
      : 'a quote stands where none may. Put the whole field in quotes, and double the quotes inside it.',
  );
}

/** The number in a field. @throws CsvFound where there is none, or it is not in the range */
export function readNumber(
  text: string,
  where: { line: number; field: string },
  [least, most]: readonly [number, number],
): number {
  const trimmed = text.trim();
  if (trimmed === '') {
    throw new CsvFound<CsvCause>(
      'blank',
      where,
      'a number is missing. Fill it in, or take the row out.',
    );
  }
  if (/^[+-]?\d+,\d+$/.test(trimmed)) {
    throw new CsvFound<CsvCause>(
      'decimal_comma',
      where,
      `${quoted(trimmed)} has a decimal comma. Write numbers with a decimal point.`,
    );
  }
  if (!DECIMAL.test(trimmed)) {
    throw new CsvFound<CsvCause>(
      'not_a_number',
      where,
      `${quoted(trimmed)} is not a number. Correct it, or take the row out.`,
    );
  }
  const value = Number(trimmed);
  if (!(value >= least && value <= most)) {
    throw new CsvFound<CsvCause>(
      'out_of_range',
      where,
      `${quoted(trimmed)} is out of range (${least} to ${most}). Correct it, or take the row out.`,
    );
  }
  return value;
}
