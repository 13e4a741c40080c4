import type { ReadingsCause } from '../../src/records/readings-csv.ts';

/** One way for a readings file to be bad, and what must be said of it. */
export interface BadFile {
  name: string;
  bytes: Uint8Array;
  cause: ReadingsCause;
  line?: number;
  field?: string;
}

const HEADER = 'id,ax,ay,az,mx,my,mz';
const GOOD = '1,0.1,0.2,-1,0.2,-0.3,-0.4';
const utf8 = (text: string) => new TextEncoder().encode(text);
const lines = (...rows: string[]) => utf8(rows.map((row) => `${row}\n`).join(''));
const bytes = (text: string) => Uint8Array.from(text, (character) => character.charCodeAt(0));

function utf16(text: string, littleEndian: boolean, mark: boolean): Uint8Array {
  const view = new DataView(new ArrayBuffer(2 * (text.length + (mark ? 1 : 0))));
  [...(mark ? '\ufeff' : ''), ...text].forEach((character, i) =>
    view.setUint16(2 * i, character.charCodeAt(0), littleEndian),
  );
  return new Uint8Array(view.buffer);
}

/** A good file whose second reading has this in one place. */
function withValue(field: string, value: string): Uint8Array {
  const header = `${HEADER},temp_c,plan_azimuth,plan_inclination,plan_roll`;
  const row = '2,0.1,0.2,-1,0.2,-0.3,-0.4,20,90,45,0'.split(',');
  row[header.split(',').indexOf(field)] = value;
  return lines(header, '1,0.1,0.2,-1,0.2,-0.3,-0.4,20,90,45,0', row.join(','));
}

const wrongNumbers: [string, string, ReadingsCause][] = [
  ['az', 'NaN', 'not_a_number'],
  ['mx', 'Infinity', 'not_a_number'],
  ['mx', '-inf', 'not_a_number'],
  ['my', '', 'blank'],
  ['my', ' ', 'blank'],
  ['ax', 'about one', 'not_a_number'],
  ['ax', '0x10', 'not_a_number'],
  ['ax', '1 000', 'not_a_number'],
  ['ay', '"0,2"', 'decimal_comma'],
  ['ay', '1e400', 'out_of_range'],
  ['temp_c', 'warm', 'not_a_number'],
  ['plan_azimuth', 'north', 'not_a_number'],
  ['plan_inclination', '95', 'out_of_range'],
  ['plan_roll', 'NaN', 'not_a_number'],
];

export const BAD_FILES: readonly BadFile[] = [
  {
    name: 'binary (the beginning of a packed spreadsheet)',
    bytes: bytes('PK\x03\x04\x14\x00\x06\x00\x08\x00\x00\x00!\x00b\xee\x9dh^\x01\x00\x00'),
    cause: 'not_text',
    line: 1,
  },
  { name: 'empty', bytes: new Uint8Array(), cause: 'empty' },
  { name: 'blank lines and comments only', bytes: lines('', '# hello', ''), cause: 'empty' },
  { name: 'a header only', bytes: lines('# hello', HEADER), cause: 'no_readings', line: 2 },
  {
    name: 'a million rows',
    bytes: utf8(`${HEADER}\n${`${GOOD}\n`.repeat(1_000_000)}`),
    cause: 'too_many',
    line: 101_001,
  },
  {
    name: 'a million rows ended by CR alone',
    bytes: utf8(`${HEADER}\r${`${GOOD}\r`.repeat(1_000_000)}`),
    cause: 'too_many',
    line: 101_001,
  },
  {
    name: 'one reading too many',
    bytes: utf8(`${HEADER}\n${`${GOOD}\n`.repeat(100_001)}`),
    cause: 'too_many',
    line: 100_002,
  },
  {
    name: 'Latin-1 with a degree sign',
    bytes: bytes(`${HEADER},note\n${GOOD},fine\n2,1,2,3,4,5,6,20\xb0\n`),
    cause: 'encoding',
    line: 3,
    field: '8',
  },
  {
    name: 'UTF-16, little-endian',
    bytes: utf16(`${HEADER}\n${GOOD}\n`, true, true),
    cause: 'encoding',
    line: 1,
  },
  {
    name: 'UTF-16, big-endian',
    bytes: utf16(`${HEADER}\n${GOOD}\n`, false, true),
    cause: 'encoding',
    line: 1,
  },
  {
    name: 'UTF-16 without its mark',
    bytes: utf16(`${HEADER}\n${GOOD}\n`, true, false),
    cause: 'encoding',
    line: 1,
  },
  {
    name: 'separated by semicolons, with decimal commas',
    bytes: lines(HEADER, GOOD).map((byte) => (byte === 0x2c ? 0x3b : byte === 0x2e ? 0x2c : byte)),
    cause: 'semicolons',
    line: 1,
    field: 'id',
  },
  {
    name: 'separated by tabs',
    bytes: lines(HEADER, GOOD).map((byte) => (byte === 0x2c ? 0x09 : byte)),
    cause: 'tabs',
    line: 1,
    field: 'id',
  },
  {
    name: 'decimal commas between commas',
    bytes: lines(HEADER, '1,0,1,0,2,-1,0,0,2,-0,3,-0,4'),
    cause: 'decimal_comma',
    line: 2,
    field: 'ax',
  },
  {
    name: 'the same id twice',
    bytes: lines(HEADER, GOOD, '', GOOD),
    cause: 'duplicate_id',
    line: 4,
    field: 'id',
  },
  { name: 'no id', bytes: lines(HEADER, GOOD.slice(1)), cause: 'blank', line: 2, field: 'id' },
  {
    name: 'a column missing',
    bytes: lines('id,ax,ay,az,mx,mz', '1,2,3,4,5,6'),
    cause: 'missing_column',
    line: 1,
    field: 'my',
  },
  { name: 'no header', bytes: lines(GOOD), cause: 'missing_column', line: 1, field: 'id' },
  {
    name: 'a column twice',
    bytes: lines(`${HEADER},mx`, `${GOOD},1`),
    cause: 'duplicate_column',
    line: 1,
    field: 'mx',
  },
  {
    name: 'a short row',
    bytes: lines(HEADER, GOOD, '2,0.1,0.2,-1,0.2,-0.3'),
    cause: 'ragged_row',
    line: 3,
    field: 'mz',
  },
  { name: 'a long row', bytes: lines(HEADER, `${GOOD},5`), cause: 'ragged_row', line: 2 },
  {
    name: 'a quote that never ends',
    bytes: lines(HEADER, '"1,0.1,0.2,-1,0.2,-0.3,-0.4', GOOD),
    cause: 'quote',
    line: 2,
    field: '1',
  },
  {
    name: 'a quote inside a field',
    bytes: lines(HEADER, '1"2,0.1,0.2,-1,0.2,-0.3,-0.4'),
    cause: 'quote',
    line: 2,
    field: '1',
  },
  {
    name: 'a scale that is none',
    bytes: lines('# scale_acc=big', '# scale_mag=1', HEADER, GOOD),
    cause: 'scale',
    line: 1,
    field: 'scale_acc',
  },
  {
    name: 'a scale given twice',
    bytes: lines('# scale_acc=1', '# scale_acc=2', HEADER, GOOD),
    cause: 'scale',
    line: 2,
    field: 'scale_acc',
  },
  {
    name: 'a scale without its fellow',
    bytes: lines('# scale_acc=1', HEADER, GOOD),
    cause: 'scale',
    line: 1,
    field: 'scale_mag',
  },
  ...wrongNumbers.map(([field, value, cause]) => ({
    name: `${JSON.stringify(value)} for ${field}`,
    bytes: withValue(field, value),
    cause,
    line: 3,
    field,
  })),
];
