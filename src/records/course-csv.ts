import type { CourseLeg } from './course-notes.ts';
import {
  CsvFound,
  decode,
  quoted,
  readNumber,
  rowsOf,
  type CsvCause,
  type CsvFault,
} from './csv-faults.ts';
import { joinCsv, type Row } from './rfc4180.ts';

/** Shots of a check course, and its legs, as CSV files (docs/files.md): reading them, trusting nothing, and writing them. */

/** The most rows that a file may hold; an afternoon with eight instruments has some two hundred shots. */
export const MOST_SHOTS = 20_000;

export const MOST_LEGS = 200;

/** One shot as it stands in a file. Degrees; azimuth from magnetic north, as the instrument showed it. */
export interface FileShot {
  /** Where its row begins, counted from 1. */
  line: number;
  /** Serial number of a board, or name of another instrument. */
  instrument: string;
  /** Station that it was shot from, and the one that was aimed at. */
  from: string;
  to: string;
  azimuth?: number;
  inclination?: number;
  /** A time in UTC. */
  taken?: string;
  /** Why it is left out. */
  setAside?: string;
}

/**
 * Beside what can be wrong with any such file:
 *
 * - `empty`: nothing in it but blank lines and comments, or a header alone
 * - `too_many`: more than {@link MOST_SHOTS} rows
 * - `separator`: fields separated by something other than a comma
 * - `missing_column`, `duplicate_column`: the header lacks a column, or has one twice
 * - `unknown_column`: a column of no known name, where one that is missing may be meant
 * - `ragged_row`: a row with more or fewer fields than the header
 * - `no_angle`: neither azimuth nor inclination, where one must stand
 * - `same_station`: from a station to itself
 * - `duplicate_leg`: a leg that an earlier row has, either way
 * - `not_a_time`: no time of a day that there is, or one with no zone
 * - `not_a_north`: none of the three norths
 * - `too_long`: a name or a reason that is too long
 */
export type CourseCsvCause =
  | CsvCause
  | 'empty'
  | 'too_many'
  | 'separator'
  | 'missing_column'
  | 'duplicate_column'
  | 'unknown_column'
  | 'ragged_row'
  | 'no_angle'
  | 'same_station'
  | 'duplicate_leg'
  | 'not_a_time'
  | 'not_a_north'
  | 'too_long';

export type CourseCsvFault = CsvFault<CourseCsvCause>;

class Found extends CsvFound<CourseCsvCause> {}

const AZIMUTH = [-360, 360] as const;
const INCLINATION = [-90, 90] as const;
const SIGMA = [0, 45] as const;
const MOST_LETTERS = 100;

const SHOT_COLUMNS = ['instrument', 'from', 'to', 'azimuth', 'inclination', 'time', 'set_aside'];
const LEG_COLUMNS = [
  ...['from', 'to', 'azimuth', 'azimuth_sigma', 'north', 'inclination', 'inclination_sigma'],
];

/**
 * Reads a file of shots from its bytes, whole or not at all. `passedOver`: its columns that have no known name. A file that
 * has such a column and lacks an angle is refused: the one may be the other, misspelt, and all shots would be without it.
 */
export const readShots = (
  bytes: Uint8Array,
): { ok: true; shots: readonly FileShot[]; passedOver: readonly string[] } | CourseCsvFault =>
  whole(() => {
    const { header, unknown, rows } = table(
      bytes,
      ['instrument', 'from', 'to'],
      SHOT_COLUMNS,
      'shot',
    );
    checkAngles(header, unknown);
    return { ok: true, shots: rows.map(shotIn), passedOver: unknown };
  });

/** Reads a file of legs and what is known of them from its bytes, whole or not at all; `passedOver` as of shots. */
export const readLegs = (
  bytes: Uint8Array,
): { ok: true; legs: readonly CourseLeg[]; passedOver: readonly string[] } | CourseCsvFault =>
  whole(() => {
    const { unknown, rows } = table(bytes, ['from', 'to'], LEG_COLUMNS, 'leg');
    return { ok: true, legs: legsIn(rows), passedOver: unknown };
  });

/** The same from lines that a person typed, with no header: the columns in their order, those at the end left out. */
export const readLegLines = (
  text: string,
): { ok: true; legs: readonly CourseLeg[] } | CourseCsvFault =>
  whole(() => {
    const { rows } = rowsOf(text);
    if (rows.length > MOST_LEGS) {
      throw new Found(
        'too_many',
        { line: rows[MOST_LEGS]!.line },
        `there are more than ${MOST_LEGS} legs, which is the most one course may have.`,
      );
    }
    const lines = rows.map((row) => {
      if (row.fields.length > LEG_COLUMNS.length) throw ragged(row, LEG_COLUMNS);
      const text = (name: string) => row.fields[LEG_COLUMNS.indexOf(name)]?.trim() ?? '';
      return { line: row.line, text };
    });
    return { ok: true, legs: legsIn(lines) };
  });

/** Writes a file of shots that {@link readShots} reads as the same. */
export const writeShots = (shots: readonly Omit<FileShot, 'line'>[]): string =>
  joinCsv([
    SHOT_COLUMNS,
    ...shots.map(({ instrument, from, to, azimuth, inclination, taken, setAside }) => [
      ...[instrument, from, to, azimuth, inclination, taken, setAside].map((cell) =>
        cell === undefined ? '' : String(cell),
      ),
    ]),
  ]);

/** Writes a file of legs that {@link readLegs} reads as the same. */
export const writeLegs = (legs: readonly CourseLeg[]): string =>
  joinCsv([
    LEG_COLUMNS,
    ...legs.map(({ from, to, azimuth, inclination }) =>
      [
        ...[from, to, azimuth?.degrees, azimuth?.sigma, azimuth?.north],
        ...[inclination?.degrees, inclination?.sigma],
      ].map((cell) => (cell === undefined ? '' : String(cell))),
    ),
  ]);

function whole<T>(read: () => T): T | CourseCsvFault {
  try {
    return read();
  } catch (error) {
    if (error instanceof CsvFound) return error.fault as CourseCsvFault; // nothing else is thrown in here
    throw error;
  }
}

/** A row by the names of its columns. */
interface Cells {
  line: number;
  /** What stands there, blanks around it left out; empty where there is no such column. */
  text(name: string): string;
}

interface Table {
  header: Row;
  /** Names of columns that are not known. */
  unknown: readonly string[];
  rows: readonly Cells[];
}

function table(
  bytes: Uint8Array,
  required: readonly string[],
  known: readonly string[],
  what: 'shot' | 'leg',
): Table {
  const { rows } = rowsOf(decode(bytes));
  const [header, ...others] = rows;
  if (!header || others.length === 0) {
    throw new Found(
      'empty',
      header ? { line: header.line } : {},
      `there is no ${what} in the file. Give a header line with at least ${required.join(',')}, then one line for each ${what}.`,
    );
  }
  if (others.length > MOST_SHOTS) {
    throw new Found(
      'too_many',
      { line: others[MOST_SHOTS]!.line },
      `there are more than ${MOST_SHOTS.toLocaleString('en')} rows, which is the most one file may hold.`,
    );
  }
  const names = header.fields.map((name) => name.trim());
  checkHeader(header, names, required);
  const cells = others.map((row) => {
    if (row.fields.length !== names.length) throw ragged(row, names);
    const text = (name: string) => row.fields[names.indexOf(name)]?.trim() ?? '';
    return { line: row.line, text };
  });
  return {
    header: { ...header, fields: names },
    unknown: names.filter((name) => name !== '' && !known.includes(name)),
    rows: cells,
  };
}

/** Each angle may be left out, but not for a slip in its name. */
function checkAngles({ line, fields }: Row, unknown: readonly string[]): void {
  const missing = ['azimuth', 'inclination'].filter((angle) => !fields.includes(angle));
  const [first] = unknown;
  if (first !== undefined && missing.length > 0) {
    const [one] = missing;
    throw new Found(
      'unknown_column',
      { line, field: first },
      `${quoted(first)} is no column that is known here, and the header lacks ${missing.join(' and ')}. If it is ${missing.length === 1 ? 'that' : 'one of them'}, name it so; if not, take it out, or add an empty column ${one}.`,
    );
  }
  if (missing.length === 2) {
    throw new Found(
      'missing_column',
      { line, field: 'azimuth' },
      'the header lacks azimuth and inclination. Give at least one of them.',
    );
  }
}

/** Says that columns were passed over, and what that may mean. */
export const passedOverWords = (columns: readonly string[]): string =>
  columns.length === 1
    ? `The column ${quoted(columns[0]!)} is not known here and was passed over: where its name has a slip, what stands in it is missing.`
    : `The columns ${columns.map(quoted).join(', ')} are not known here and were passed over: where a name has a slip, what stands there is missing.`;

function checkHeader(
  { line, fields }: Row,
  names: readonly string[],
  required: readonly string[],
): void {
  const missing = required.filter((name) => !names.includes(name));
  const other = [';', '\t'].find((mark) =>
    fields
      .join(',')
      .split(mark)
      .some((part, _, parts) => parts.length > 1 && part.trim() === missing[0]),
  );
  if (other !== undefined) {
    throw new Found(
      'separator',
      { line, field: missing[0]! },
      `the fields are separated by ${other === ';' ? 'semicolons' : 'tabs'}. Separate them by commas, and write numbers with a decimal point.`,
    );
  }
  if (missing.length > 0) {
    throw new Found(
      'missing_column',
      { line, field: missing[0]! },
      `the header lacks ${missing.join(', ')}. The first line that is no comment must name the columns, at least ${required.join(',')}.`,
    );
  }
  const twice = names.find((name, i) => name !== '' && names.indexOf(name) !== i);
  if (twice !== undefined) {
    throw new Found(
      'duplicate_column',
      { line, field: twice },
      `the column ${quoted(twice)} stands twice in the header. Rename one or take it out.`,
    );
  }
}

function ragged({ line, fields }: Row, names: readonly string[]): Found {
  return new Found(
    'ragged_row',
    { line, field: names[Math.min(fields.length, names.length - 1)]! },
    `the row has ${fields.length} fields where the header has ${names.length}. Give every row as many fields as the header, numbers with a decimal point, and a field that holds a comma in quotes.`,
  );
}

function shotIn(cells: Cells): FileShot {
  const { line, text } = cells;
  const time = text('time');
  const setAside = short(cells, 'set_aside', 1000);
  const azimuth = numberIn(cells, 'azimuth', AZIMUTH);
  const inclination = numberIn(cells, 'inclination', INCLINATION);
  if (azimuth === undefined && inclination === undefined) {
    throw new Found(
      'no_angle',
      { line, field: 'azimuth' },
      'the shot has neither azimuth nor inclination. Fill one in, or take the row out.',
    );
  }
  return {
    line,
    instrument: name(cells, 'instrument'),
    ...ends(cells),
    ...(azimuth !== undefined && { azimuth: around(azimuth) }),
    ...(inclination !== undefined && { inclination }),
    ...(time !== '' && { taken: timeIn(time, line) }),
    ...(setAside !== '' && { setAside }),
  };
}

const NORTHS = ['magnetic', 'true', 'grid'] as const;

function legIn(cells: Cells): CourseLeg {
  const { line, text } = cells;
  const azimuth = numberIn(cells, 'azimuth', AZIMUTH);
  const inclination = numberIn(cells, 'inclination', INCLINATION);
  const said = text('north') === '' && azimuth === undefined ? 'magnetic' : text('north');
  const north = NORTHS.find((each) => each === said);
  if (!north) {
    throw new Found(
      'not_a_north',
      { line, field: 'north' },
      `${quoted(said)} is no north. Write magnetic, true or grid beside each azimuth.`,
    );
  }
  /** What is known must come with how well. */
  const sigma = (column: string) => readNumber(text(column), { line, field: column }, SIGMA);
  return {
    ...ends(cells),
    ...(azimuth !== undefined && {
      azimuth: { degrees: around(azimuth), sigma: sigma('azimuth_sigma'), north },
    }),
    ...(inclination !== undefined && {
      inclination: { degrees: inclination, sigma: sigma('inclination_sigma') },
    }),
  };
}

function legsIn(rows: readonly Cells[]): CourseLeg[] {
  const lines = new Map<string, number>();
  return rows.map((cells) => {
    const leg = legIn(cells);
    const key = JSON.stringify([leg.from, leg.to].sort());
    const earlier = lines.get(key);
    if (earlier !== undefined) {
      throw new Found(
        'duplicate_leg',
        { line: cells.line, field: 'to' },
        `this leg stands on line ${earlier} too. Give each leg once, whichever way.`,
      );
    }
    lines.set(key, cells.line);
    return leg;
  });
}

function ends(cells: Cells): { from: string; to: string } {
  const [from, to] = [name(cells, 'from'), name(cells, 'to')];
  if (from !== to) return { from, to };
  throw new Found(
    'same_station',
    { line: cells.line, field: 'to' },
    `from ${quoted(from)} to itself there is nothing to aim at. Name the station that was aimed at.`,
  );
}

function name(cells: Cells, column: string): string {
  const text = short(cells, column, MOST_LETTERS);
  if (text !== '') return text;
  throw new Found(
    'blank',
    { line: cells.line, field: column },
    'nothing stands here. Fill it in, or take the row out.',
  );
}

function short({ line, text }: Cells, column: string, most: number): string {
  const given = text(column);
  if (given.length <= most) return given;
  throw new Found(
    'too_long',
    { line, field: column },
    `${quoted(given)} is longer than ${most} characters. Shorten it.`,
  );
}

function numberIn(
  { line, text }: Cells,
  column: string,
  range: readonly [number, number],
): number | undefined {
  const given = text(column);
  return given === '' ? undefined : readNumber(given, { line, field: column }, range);
}

/** In [0, 360); one that is there already keeps its last digit. */
const around = (azimuth: number): number =>
  azimuth >= 0 && azimuth < 360 ? azimuth : ((azimuth % 360) + 360) % 360;

const ISO = /^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d{1,9})?)?(Z|[+-]\d\d:\d\d)$/;

function timeIn(text: string, line: number): string {
  const moment = new Date(ISO.test(text) ? text.replace(' ', 'T') : NaN);
  const day = text.slice(0, '2031-05-12'.length);
  // 30 February is taken for 2 March otherwise
  const isDay = !Number.isNaN(moment.getTime()) && new Date(day).toISOString().startsWith(day);
  if (isDay) return moment.toISOString();
  throw new Found(
    'not_a_time',
    { line, field: 'time' },
    `${quoted(text)} is no time. Write it as 2031-05-12T14:30:00Z, or with the zone as +02:00 in place of Z.`,
  );
}
