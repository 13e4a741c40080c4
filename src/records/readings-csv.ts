import type { Aim, Reading, Vec3 } from '../calib/reading.ts';
import type { AimDegrees } from './entries.ts';
import {
  CsvFound,
  DECIMAL,
  decode,
  quoted,
  readNumber,
  rowsOf,
  type CsvCause,
  type CsvFault,
} from './csv-faults.ts';
import { joinCsv, type Comment, type Row } from './rfc4180.ts';

/** Readings as a CSV file (docs/files.md): reading one, trusting nothing, and writing one. */

/** The most readings a file may hold; a calibration has some tens. */
export const MOST_READINGS = 100_000;

const [LF, CR] = [0x0a, 0x0d];

const SENSORS = ['ax', 'ay', 'az', 'mx', 'my', 'mz'] as const;
const PLAN = ['plan_azimuth', 'plan_inclination', 'plan_roll'] as const;
const NUMBERS = [...SENSORS, 'temp_c', ...PLAN] as const;
const REQUIRED = ['id', ...SENSORS] as const;
const KNOWN: readonly string[] = ['id', 'sighting', ...NUMBERS];
type NumberColumn = (typeof NUMBERS)[number];

/** What a number may be: counts of any real sensor are far inside, and squares of them still finite. */
const RANGES: Record<NumberColumn, readonly [number, number]> = {
  ...(Object.fromEntries(SENSORS.map((name) => [name, [-1e12, 1e12]])) as Record<
    (typeof SENSORS)[number],
    [number, number]
  >),
  temp_c: [-273.15, 1000],
  plan_azimuth: [-360, 360],
  plan_inclination: [-90, 90],
  plan_roll: [-360, 360],
};

/** One reading as it stands in a file. Raw counts; degrees. */
export interface FileReading {
  id: string;
  /** Absent for a free attitude. */
  sighting?: string;
  acc: Vec3;
  mag: Vec3;
  /** Degrees Celsius. */
  temperature?: number;
  /** The aim the plan asked for, absent where nothing of it is known. */
  aim?: AimDegrees;
  /** Values of the columns in `ReadingsFile.otherColumns`, in that order. */
  others: readonly string[];
}

export interface ReadingsFile {
  /** Counts that make a sensor's reading of order one, where the file says so. */
  scales?: { acc: number; mag: number };
  /** What stands after the `#` of every other comment line. */
  comments: readonly string[];
  /** Columns whose meaning is not ours; they are kept as they are. */
  otherColumns: readonly string[];
  readings: readonly FileReading[];
}

/**
 * Beside what can be wrong with any such file:
 *
 * - `empty`: nothing in it but blank lines and comments
 * - `no_readings`: a header and no reading
 * - `too_many`: more than {@link MOST_READINGS} lines
 * - `semicolons`, `tabs`: fields separated by something other than a comma
 * - `missing_column`, `duplicate_column`: the header lacks a column, or has one twice
 * - `ragged_row`: a row with more or fewer fields than the header
 * - `duplicate_id`: an id that an earlier reading has
 * - `scale`: a scale comment that is no positive number, stands twice, or lacks its fellow
 */
export type ReadingsCause =
  | CsvCause
  | 'empty'
  | 'no_readings'
  | 'too_many'
  | 'semicolons'
  | 'tabs'
  | 'missing_column'
  | 'duplicate_column'
  | 'ragged_row'
  | 'duplicate_id'
  | 'scale';

export type ReadingsFault = CsvFault<ReadingsCause>;

/** All that is thrown in here. */
class Found extends CsvFound<ReadingsCause> {}

/** Reads a readings file from its bytes, whole or not at all. */
export function readReadings(bytes: Uint8Array): ({ ok: true } & ReadingsFile) | ReadingsFault {
  try {
    refuseTooMany(bytes);
    return { ok: true, ...parse(decode(bytes)) };
  } catch (error) {
    if (error instanceof CsvFound) return error.fault as ReadingsFault; // nothing else is thrown here
    throw error;
  }
}

/** Counts lines before anything costly is done. */
function refuseTooMany(bytes: Uint8Array): void {
  // Header, comments and blank lines are let through here; the readings themselves are counted later.
  const most = MOST_READINGS + 1000;
  let lines = 0;
  for (let i = 0; i < bytes.length; i++) {
    if (bytes[i] === LF || (bytes[i] === CR && bytes[i + 1] !== LF)) lines++;
    if (lines > most) throw tooMany(lines);
  }
}

function tooMany(line: number): Found {
  return new Found(
    'too_many',
    { line },
    `there are more than ${MOST_READINGS.toLocaleString('en')} readings, which is the most one file may hold. A calibration has some tens: give fewer, for example means over each capture.`,
  );
}

function parse(text: string): ReadingsFile {
  const split = rowsOf(text);
  const [header, ...rows] = split.rows;
  if (!header) {
    throw new Found(
      'empty',
      {},
      `the file is empty. A readings file has a header line with at least ${REQUIRED.join(',')}, then one line for each reading.`,
    );
  }
  const columns = readHeader(header);
  if (rows.length === 0) {
    throw new Found(
      'no_readings',
      { line: header.line },
      'there is a header and no reading after it. Give at least one reading.',
    );
  }
  if (rows.length > MOST_READINGS) throw tooMany(rows[MOST_READINGS].line);

  const others = columns.names
    .map((name, place) => ({ name, place }))
    .filter(({ name }) => !KNOWN.includes(name));
  const lines = new Map<string, number>();
  const readings = rows.map((row) => {
    const reading = readRow(row, columns, others);
    const earlier = lines.get(reading.id);
    if (earlier !== undefined) {
      throw new Found(
        'duplicate_id',
        { line: row.line, field: 'id' },
        `the id ${quoted(reading.id)} stands on line ${earlier} too. Give each reading an id of its own.`,
      );
    }
    lines.set(reading.id, row.line);
    return reading;
  });
  return {
    ...readComments(split.comments),
    otherColumns: others.map(({ name }) => name),
    readings,
  };
}

interface Columns {
  names: readonly string[];
  /** Where a known column stands; absent where there is none. */
  place: ReadonlyMap<string, number>;
}

function readHeader({ line, fields }: Row): Columns {
  // Blanks around a name we know are forgiven; other names are kept as they are.
  const names = fields.map((field) => (KNOWN.includes(field.trim()) ? field.trim() : field));
  for (const [separator, cause, word] of [
    [';', 'semicolons', 'semicolons'],
    ['\t', 'tabs', 'tabs'],
  ] as const) {
    const parts = fields.join(',').split(separator).map((part) => part.trim()); // prettier-ignore
    if (parts.length > 1 && parts.includes('id') && !names.includes('id')) {
      throw new Found(
        cause,
        { line, field: 'id' },
        `the fields are separated by ${word}. Separate them by commas, and write numbers with a decimal point.`,
      );
    }
  }
  const missing = REQUIRED.filter((name) => !names.includes(name));
  if (missing.length > 0) {
    throw new Found(
      'missing_column',
      { line, field: missing[0] },
      `the header lacks ${missing.join(', ')}. The first line that is no comment must name the columns, at least ${REQUIRED.join(',')}.`,
    );
  }
  const place = new Map<string, number>();
  names.forEach((name, i) => {
    if (place.has(name)) {
      throw new Found(
        'duplicate_column',
        { line, field: name },
        `the column ${quoted(name)} stands twice in the header. Rename one or take it out.`,
      );
    }
    place.set(name, i);
  });
  return { names, place };
}

function readRow(
  row: Row,
  { names, place }: Columns,
  others: readonly { place: number }[],
): FileReading {
  const { line, fields } = row;
  if (fields.length !== names.length) throw ragged(row, names);

  const text = (name: string): string => {
    const at = place.get(name);
    return at === undefined ? '' : fields[at];
  };
  const number = (name: NumberColumn): number =>
    readNumber(text(name), { line, field: name }, RANGES[name]);
  const optional = <K extends string>(key: K, name: NumberColumn) =>
    (text(name).trim() === '' ? {} : { [key]: number(name) }) as { [key in K]?: number };

  if (text('id').trim() === '') {
    throw new Found('blank', { line, field: 'id' }, 'the id is missing. Give the reading one.');
  }
  const sighting = text('sighting');
  const aim: AimDegrees = {
    ...optional('azimuth', 'plan_azimuth'),
    ...optional('inclination', 'plan_inclination'),
    ...optional('roll', 'plan_roll'),
  };
  return {
    id: text('id'),
    ...(sighting.trim() !== '' && { sighting }),
    acc: [number('ax'), number('ay'), number('az')],
    mag: [number('mx'), number('my'), number('mz')],
    ...optional('temperature', 'temp_c'),
    ...(Object.keys(aim).length > 0 && { aim }),
    others: others.map((other) => fields[other.place]),
  };
}

function ragged({ line, fields }: Row, names: readonly string[]): Found {
  const numbers = names.filter((name) => (NUMBERS as readonly string[]).includes(name));
  const count = `the row has ${fields.length} fields where the header has ${names.length}.`;
  if (fields.length - names.length === numbers.length) {
    return new Found(
      'decimal_comma',
      { line, field: numbers[0] },
      `${count} The numbers seem to have decimal commas. Write them with a decimal point.`,
    );
  }
  const field = names[Math.min(fields.length, names.length - 1)];
  return new Found(
    'ragged_row',
    { line, field },
    `${count} Give every row as many fields as the header; a field that holds a comma stands in quotes.`,
  );
}

function readComments(lines: readonly Comment[]): Pick<ReadingsFile, 'scales' | 'comments'> {
  const scales: { acc?: number; mag?: number } = {};
  const comments: string[] = [];
  let last = 1;
  for (const { line, text } of lines) {
    const found = /^\s*scale_(acc|mag)\s*=(.*)$/.exec(text);
    if (!found) {
      comments.push(text);
      continue;
    }
    const sensor = found[1] as 'acc' | 'mag';
    const given = found[2].trim();
    const value = DECIMAL.test(given) ? Number(given) : NaN;
    const where = { line, field: `scale_${sensor}` };
    if (!(value > 0 && value <= 1e12)) {
      throw new Found(
        'scale',
        where,
        `${quoted(given)} is no scale. Give a positive number of counts.`,
      );
    }
    if (scales[sensor] !== undefined) {
      throw new Found('scale', where, 'the scale is given twice. Take one out.');
    }
    scales[sensor] = value;
    last = line;
  }
  const { acc, mag } = scales;
  if (acc === undefined && mag === undefined) return { comments };
  if (acc !== undefined && mag !== undefined) return { scales: { acc, mag }, comments };
  throw new Found(
    'scale',
    { line: last, field: acc === undefined ? 'scale_acc' : 'scale_mag' },
    'only the other scale is given. Give both, or neither.',
  );
}

/** Writes a readings file: UTF-8, comma-separated, with those optional columns that some reading has. */
export function writeReadings(file: ReadingsFile): string {
  const { scales, comments, otherColumns, readings } = file;
  const columns: [string, (reading: FileReading) => string][] = [
    ['id', ({ id }) => id],
    ['sighting', ({ sighting }) => sighting ?? ''],
    ...SENSORS.map((name, i): [string, (reading: FileReading) => string] => [
      name,
      ({ acc, mag }) => written(i < 3 ? acc[i] : mag[i - 3]),
    ]),
    ['temp_c', ({ temperature }) => written(temperature)],
    ['plan_azimuth', ({ aim }) => written(aim?.azimuth)],
    ['plan_inclination', ({ aim }) => written(aim?.inclination)],
    ['plan_roll', ({ aim }) => written(aim?.roll)],
    ...otherColumns.map((name, i): [string, (reading: FileReading) => string] => [
      name,
      ({ others }) => others[i],
    ]),
  ];
  const needed = columns.filter(
    ([name, value]) =>
      (REQUIRED as readonly string[]).includes(name) ||
      otherColumns.includes(name) ||
      readings.some((reading) => value(reading) !== ''),
  );
  const heads = [
    ...(scales ? [` scale_acc=${scales.acc}`, ` scale_mag=${scales.mag}`] : []),
    ...comments,
  ];
  return (
    heads.map((text) => `#${text.replace(/[\r\n]+/g, ' ')}\n`).join('') +
    joinCsv([
      needed.map(([name]) => name),
      ...readings.map((reading) => needed.map(([, value]) => value(reading))),
    ])
  );
}

/** The shortest decimal that reads back as the same number; nothing for none. */
function written(value: number | undefined): string {
  if (value === undefined) return '';
  return Object.is(value, -0) ? '-0' : String(value);
}

/** Readings as the fit takes them: radians. */
export function readingsForFit(file: ReadingsFile): Reading[] {
  return file.readings.map(({ id, sighting, acc, mag, aim }) => ({
    id,
    ...(sighting !== undefined && { sighting }),
    acc,
    mag,
    ...(aim && { aim: aimInRadians(aim) }),
  }));
}

/** An aim in radians. */
export function aimInRadians(aim: AimDegrees): Aim {
  return Object.fromEntries(
    Object.entries(aim).map(([angle, degrees]) => [angle, (degrees * Math.PI) / 180]),
  );
}
