import type {
  AimDegrees,
  EnteredReading,
  EnteredSheet,
  Entry,
  Plan,
} from '../../records/entries.ts';
import {
  isNumberLike,
  isSame,
  type DecimalSign,
  MOST_ROWS,
  type SheetProblem,
  type SheetRow,
  type SheetTable,
} from './sheet-table.ts';
import {
  accCounts,
  inCelsius,
  inDegrees,
  magCounts,
  PHYSICAL_SCALES,
  type Quantity,
  type SheetUnits,
  unitNamed,
} from './sheet-units.ts';

/**
 * Readings from a sheet that was typed, pasted, or read from a file. What each column is, and in which unit, is proposed
 * where names say it, shown, and settled by a person; nothing is taken until all of it is well.
 */

const SENSORS = ['ax', 'ay', 'az', 'mx', 'my', 'mz'] as const;
const ANGLES = ['azimuth', 'inclination', 'roll'] as const;

/** What a column can be; `ignored` where it is not taken. */
export const ROLES = ['ignored', 'id', 'sighting', ...SENSORS, 'temperature', ...ANGLES] as const;
export type Role = (typeof ROLES)[number];
type NumberRole = Exclude<Role, 'ignored' | 'id' | 'sighting'>;

/** How a person says that a sheet is to be read. */
export interface SheetChoices {
  /** One for each column. */
  roles: readonly Role[];
  units: SheetUnits;
  /** What azimuths count from; wanted where there is a column of them. */
  azimuths?: Plan['azimuths'];
  dipSign?: 1 | -1;
  /** Counts that are about 1 g and about the length of the field, where the sheet is in counts and they are known. */
  scales: { acc?: number; mag?: number };
  mounting?: { acc: string; mag: string };
  /** Questions ({@link Doubt}) that the person has answered: it is so. */
  confirmed: readonly Doubt['about'][];
}

/** Something that looks wrong and may be right: the person is asked. */
export interface Doubt {
  about: 'acc_length' | 'mag_length' | 'acc_varies' | 'decimal_commas';
  message: string;
}

/** What a sheet gives, ready to be kept. */
export interface ReadSheet {
  plan: Plan;
  readings: readonly EnteredReading[];
  sheet: Pick<EnteredSheet, 'separator' | 'decimal' | 'columns' | 'units' | 'scales' | 'mounting'>;
}

export type SheetReading =
  | { ok: true; read: ReadSheet }
  | { ok: false; problems: readonly SheetProblem[]; doubts: readonly Doubt[] };

/** In lower case and without blanks and signs. */
const NAMES: Readonly<Record<Exclude<Role, 'ignored'>, readonly string[]>> = {
  id: ['id', 'no', 'nr', 'number', 'reading', 'n'],
  sighting: ['sighting', 'line', 'station'],
  ...(Object.fromEntries(
    SENSORS.map((name) => {
      const axis = name[1];
      const chips = name.startsWith('a')
        ? ['acc', 'accel', 'accelerometer']
        : ['mag', 'magnetometer', 'field'];
      return [name, [name, ...chips.map((chip) => chip + axis)]];
    }),
  ) as unknown as Record<(typeof SENSORS)[number], readonly string[]>),
  temperature: ['temperature', 'temp', 't'],
  azimuth: ['azimuth', 'planazimuth', 'azi', 'bearing'],
  inclination: ['inclination', 'planinclination', 'inc', 'incl'],
  roll: ['roll', 'planroll'],
};

/** Which quantity a role's unit is of. */
export function quantityOf(role: Role): Quantity | undefined {
  if (role === 'temperature') return 'temperature';
  if (role === 'azimuth' || role === 'inclination' || role === 'roll') return 'angle';
  if (role === 'ignored' || role === 'id' || role === 'sighting') return undefined;
  return role.startsWith('a') ? 'acc' : 'mag';
}

/** A name without its unit, and the unit's text: “ax [g]”, “mx (µT)”, “az / m/s²”, “temp_c”. */
function parted(name: string): { plain: string; unit: string } {
  const found = /^(.*?)(?:\s*[[(]([^\])]*)[\])]|\s+\/\s*(.+)|[_ ]([^_ [(]+))\s*$/.exec(name);
  const bare = (text: string) => text.toLowerCase().replace(/[^\p{L}\d]/gu, '');
  if (!found) return { plain: bare(name), unit: '' };
  const unit = found[2] ?? found[3] ?? found[4] ?? '';
  const isNamed = roleNamed(bare(found[1]!)) !== 'ignored';
  return isNamed ? { plain: bare(found[1]!), unit } : { plain: bare(name), unit: '' };
}

const roleNamed = (plain: string): Role =>
  ROLES.find((role) => role !== 'ignored' && NAMES[role].includes(plain)) ?? 'ignored';

/**
 * What the names of a sheet say of it, or where it has none the order of its columns. Units only where names say them, or
 * where the file is one of our own readings files, which are in counts and degrees.
 *
 * @param fromFile the text was read from a file, so that our own names mean our own format
 */
export function proposed(table: SheetTable, fromFile = false): SheetChoices {
  const { header, unitLine, width, comments } = table;
  const scales = scalesIn(comments);
  const isOurs =
    header !== undefined &&
    ['id', ...SENSORS].every((name) => header.cells.includes(name)) &&
    (fromFile || scales.acc !== undefined);
  const units: SheetUnits = isOurs ? { acc: 'counts', mag: 'counts', angle: 'degrees' } : {};
  const names = Array.from({ length: width }, (_, i) => parted(header?.cells[i] ?? ''));
  const roles = once(names.map(({ plain }) => roleNamed(plain)));
  const settled = SENSORS.some((sensor) => roles.includes(sensor))
    ? roles
    : byPosition(table, roles);
  settled.forEach((role, i) => {
    const quantity = quantityOf(role);
    if (!quantity) return;
    const unit =
      unitNamed(names[i]?.unit ?? '', quantity) ?? unitNamed(unitLine?.cells[i] ?? '', quantity);
    if (unit !== undefined && units[quantity] === undefined)
      Object.assign(units, { [quantity]: unit });
  });
  const absolute = header?.cells.includes('plan_azimuth') === true; // our format says what it counts from
  return {
    roles: settled,
    units,
    scales,
    ...(absolute && { azimuths: 'absolute' as const }),
    confirmed: [],
  };
}

/** How the chips of a board sit as it declares it, by its entries; undefined where it never did. */
export function declaredMounting(entries: readonly Entry[]): SheetChoices['mounting'] {
  const linked = entries.findLast((entry) => entry.kind === 'board linked');
  if (linked?.kind !== 'board linked') return undefined;
  const { accMounting: acc, magMounting: mag } = linked.identity;
  return acc === undefined || mag === undefined ? undefined : { acc, mag };
}

/** A name that comes twice counts the first time. */
const once = (roles: readonly Role[]): Role[] =>
  roles.map((role, i) => (roles.indexOf(role) === i ? role : 'ignored'));

/**
 * Of the columns without a name that says it: six in a row are the accelerometer and the magnetometer; before them may stand
 * what each reading is called, and its sighting.
 */
function byPosition({ rows }: SheetTable, named: readonly Role[]): Role[] {
  const roles = [...named];
  const free = named.flatMap((role, i) => (role === 'ignored' ? [i] : []));
  let at = 0;
  for (; free.length - at > SENSORS.length; at++) {
    const column = free[at]!;
    const cells = rows.map((row) => row.cells[column] ?? '');
    const isWords = cells.some((cell) => !isNumberLike(cell));
    const isDistinct = new Set(cells).size === cells.length;
    if (isDistinct && (isWords || isCounting(cells)) && !roles.includes('id')) roles[column] = 'id';
    else if (isWords && !roles.includes('sighting')) roles[column] = 'sighting';
    else break;
  }
  const six = free.slice(at, at + SENSORS.length);
  if (six.length === SENSORS.length) six.forEach((column, i) => (roles[column] = SENSORS[i]!));
  return roles;
}

const isCounting = (cells: readonly string[]): boolean =>
  cells.every((cell, i) => /^\d+$/.test(cell) && (i === 0 || Number(cell) > Number(cells[i - 1])));

/** The scales that the comment lines of a readings file give; what is no positive number is passed over, and asked. */
function scalesIn(comments: readonly string[]): SheetChoices['scales'] {
  const scales: SheetChoices['scales'] = {};
  for (const text of comments) {
    const found = /^\s*scale_(acc|mag)\s*=\s*([\d.]+)\s*$/.exec(text);
    const value = Number(found?.[2]);
    if (found && value > 0) scales[found[1] as 'acc' | 'mag'] = value;
  }
  return scales;
}

/** The most problems that are named one by one. */
const MOST_PROBLEMS = 20;

/** Least and most of what is kept: counts of any real sensor are far inside; degrees; degrees Celsius. */
const RANGES: Readonly<Record<NumberRole, readonly [number, number]>> = {
  ...(Object.fromEntries(SENSORS.map((name) => [name, [-1e12, 1e12]])) as unknown as Record<
    (typeof SENSORS)[number],
    readonly [number, number]
  >),
  temperature: [-273.15, 1000],
  azimuth: [-360, 360],
  inclination: [-90, 90],
  roll: [-360, 360],
};

/** The longest name of a reading or of a sighting, characters. */
const MOST_NAME = 100;

/** Columns in which a cell may be empty. */
const MAY_BE_EMPTY: readonly Role[] = ['temperature', ...ANGLES, 'sighting'];

/** Reads a sheet as a person says that it is to be read: all of it, or what is wrong with it. */
export function readingsFrom(table: SheetTable, choices: SheetChoices): SheetReading {
  const asked = questions(table, choices);
  const { decimal } = table;
  const { acc, mag } = choices.units;
  if (asked.length > 0 || decimal === undefined || acc === undefined || mag === undefined) {
    return { ok: false, problems: asked, doubts: [] };
  }
  const problems: SheetProblem[] = [];
  const ids = new Map<string, number>();
  const readings: EnteredReading[] = [];
  for (const [i, row] of table.rows.entries()) {
    if (problems.length > MOST_PROBLEMS) break;
    if (table.header && isSame(row, table.header)) {
      problems.push({
        line: row.line,
        message: 'The names of the columns stand here again. Take the line out.',
      });
      continue;
    }
    const reading = readRow(row, i, table, choices, problems);
    const earlier = ids.get(reading.id);
    if (earlier !== undefined) {
      problems.push(
        problemAt(
          row.line,
          choices.roles.indexOf('id'),
          'id',
          `“${short(reading.id)}” stands on line ${earlier} too. Give each reading a name of its own; a line that was pasted twice comes out.`,
        ),
      );
    }
    ids.set(reading.id, row.line);
    readings.push(reading);
  }
  if (problems.length > 0) return { ok: false, problems: capped(problems), doubts: [] };
  const doubts = doubtsOf(table, readings, choices).filter(
    ({ about }) => !choices.confirmed.includes(about),
  );
  if (doubts.length > 0) return { ok: false, problems: [], doubts };
  return {
    ok: true,
    read: { plan: planOf(readings, choices), readings, sheet: sheetOf(table, decimal, choices) },
  };
}

function capped(problems: readonly SheetProblem[]): SheetProblem[] {
  if (problems.length <= MOST_PROBLEMS) return [...problems];
  return [...problems.slice(0, MOST_PROBLEMS), { message: 'There are more. Correct these first.' }];
}

/** What must be said before a single cell can be read. */
function questions(table: SheetTable, choices: SheetChoices): SheetProblem[] {
  const { roles, units, azimuths, scales } = choices;
  const { rows, header, width } = table;
  const all: SheetProblem[] = [];
  const ask = (message: string, line?: number) =>
    all.push({ ...(line !== undefined && { line }), message });
  if (rows.length === 0) ask('There are names and no reading after them.', header?.line);
  if (rows.length > MOST_ROWS) {
    ask(
      `There are more than ${MOST_ROWS.toLocaleString('en')} readings, the most that is taken at once.`,
    );
  }
  const ragged = rows.find(
    ({ cells }) =>
      cells.filter((cell) => cell !== '').length > 0 &&
      header &&
      cells.length > header.cells.length,
  );
  const named = header?.cells.filter((cell) => cell !== '').length;
  if (
    table.separator === 'comma' &&
    ragged &&
    named !== undefined &&
    ragged.cells.length > named + 3
  ) {
    ask(
      `The line has ${ragged.cells.length} cells where ${named} columns are named. If the numbers have decimal commas, commas cannot separate them as well: paste the cells themselves from the spreadsheet, or save with semicolons.`,
      ragged.line,
    );
    return all;
  }
  if (table.decimal === undefined) {
    ask(
      'Say whether a point or a comma marks the decimals: from the numbers alone it cannot be told from a sign between thousands.',
    );
  }
  const missing = SENSORS.filter((sensor) => !roles.includes(sensor));
  if (missing.length > 0) {
    ask(
      width < SENSORS.length
        ? `There are ${width} columns, and a reading has at least six numbers: three of the accelerometer, three of the magnetometer. Say what separates the cells, if it is not ${SEPARATOR_WORDS[table.separator]}.`
        : `Say which columns are ${missing.join(', ')}.`,
    );
  }
  const doubled = ROLES.find(
    (role) => role !== 'ignored' && roles.indexOf(role) !== roles.lastIndexOf(role),
  );
  if (doubled) {
    ask(
      `Columns ${roles.indexOf(doubled) + 1} and ${roles.lastIndexOf(doubled) + 1} are both said to be ${doubled}. Only one of them can be.`,
    );
  }
  if (units.acc === undefined) ask('Say in which unit the accelerometer’s numbers are.');
  if (units.mag === undefined) ask('Say in which unit the magnetometer’s numbers are.');
  if (units.angle === undefined && ANGLES.some((angle) => roles.includes(angle))) {
    ask('Say in which unit the angles are.');
  }
  if (units.temperature === undefined && roles.includes('temperature')) {
    ask('Say in which unit the temperatures are.');
  }
  if (azimuths === undefined && roles.includes('azimuth')) {
    ask('Say what the azimuths count from: magnetic north, or only from each other.');
  }
  for (const chip of ['acc', 'mag'] as const) {
    const given = scales[chip];
    if (given !== undefined && !(given > 0 && given <= 1e12)) {
      ask(`A scale is a positive number of counts: correct that of the ${CHIP[chip]}.`);
    }
  }
  const raw = (['acc', 'mag'] as const).filter((chip) => units[chip] === 'counts');
  const unscaled = raw.filter((chip) => scales[chip] === undefined);
  if (unscaled.length === 1) {
    ask(`Give the scale of the ${CHIP[unscaled[0]!]} too: ${SCALE_OF[unscaled[0]!]}.`);
  }
  return all;
}

export const SEPARATOR_WORDS: Readonly<Record<SheetTable['separator'], string>> = {
  tab: 'a tab',
  semicolon: 'a semicolon',
  comma: 'a comma',
  space: 'a blank',
};

const CHIP = { acc: 'accelerometer', mag: 'magnetometer' } as const;
const SCALE_OF = {
  acc: 'how many counts are about 1 g',
  mag: 'how many counts are about the length of the field',
} as const;

function readRow(
  row: SheetRow,
  index: number,
  table: SheetTable,
  { roles, units }: SheetChoices,
  problems: SheetProblem[],
): EnteredReading {
  const { line, cells } = row;
  if (cells.length > roles.length) {
    problems.push({
      line,
      message: `The line has ${cells.length} cells, more than there are columns.`,
    });
  }
  const text = (role: Role): string => {
    const at = roles.indexOf(role);
    const cell = at < 0 ? '' : (cells[at] ?? '');
    if (at >= 0 && cell === '' && !MAY_BE_EMPTY.includes(role)) {
      problems.push(
        problemAt(line, at, role, 'nothing stands here. Fill it in, or take the line out.'),
      );
    }
    if (quantityOf(role) === undefined && cell.length > MOST_NAME) {
      problems.push(
        problemAt(line, at, role, `“${short(cell)}” is too long: ${MOST_NAME} characters at most.`),
      );
    }
    return cell;
  };
  const number = (role: NumberRole, convert: (value: number) => number): number | undefined => {
    const cell = text(role);
    if (cell === '') return undefined;
    const at = roles.indexOf(role);
    const value = numberIn(cell, table.decimal!);
    if (value === undefined) {
      problems.push(problemAt(line, at, role, notNumber(cell, table.decimal!)));
      return undefined;
    }
    const kept = convert(value);
    const [least, most] = RANGES[role];
    if (kept >= least && kept <= most) return kept;
    problems.push(
      problemAt(
        line,
        at,
        role,
        `“${short(cell)}” cannot be. Correct it, or the unit of the column.`,
      ),
    );
    return undefined;
  };
  const acc = (role: NumberRole) => number(role, (value) => accCounts(value, units.acc!)) ?? 0;
  const mag = (role: NumberRole) => number(role, (value) => magCounts(value, units.mag!)) ?? 0;
  const angle = (role: NumberRole) => number(role, (value) => inDegrees(value, units.angle!));
  const aim: AimDegrees = {};
  for (const each of ANGLES) {
    const value = angle(each);
    if (value !== undefined) aim[each] = value;
  }
  const sighting = text('sighting');
  const temperature = number('temperature', (value) => inCelsius(value, units.temperature!));
  return {
    id: roles.includes('id') ? text('id') : String(index + 1),
    ...(sighting !== '' && { sighting }),
    acc: [acc('ax'), acc('ay'), acc('az')],
    mag: [mag('mx'), mag('my'), mag('mz')],
    ...(temperature !== undefined && { temperature }),
    ...(Object.keys(aim).length > 0 && { aim }),
  };
}

/** A cell as a number, by the sign that marks decimals; undefined where it is none. */
function numberIn(cell: string, decimal: DecimalSign): number | undefined {
  const pattern =
    decimal === 'point'
      ? /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i
      : /^[+-]?(\d+,?\d*|,\d+)(e[+-]?\d+)?$/i;
  return pattern.test(cell) ? Number(cell.replace(',', '.')) : undefined;
}

function notNumber(cell: string, decimal: DecimalSign): string {
  const other = decimal === 'point' ? ',' : '.';
  const shown = `“${short(cell)}”`;
  return cell.includes(other)
    ? `${shown} is no number where a ${decimal} marks the decimals. Correct it, take out what stands between thousands, or say that a ${decimal === 'point' ? 'comma' : 'point'} marks them.`
    : `${shown} is no number. Correct it, or take the line out.`;
}

/** Text of the sheet, fit to stand in a message. */
function short(text: string): string {
  const cut = text.length > 40 ? `${text.slice(0, 40)}…` : text;
  return cut.replace(/\p{C}/gu, '·');
}

const problemAt = (line: number, column: number, role: Role, message: string): SheetProblem => ({
  line,
  column: `${column + 1} (${role})`,
  message: message[0]!.toUpperCase() + message.slice(1),
});

/** A problem in one sentence, with its place. */
export function problemWords({ line, column, message }: SheetProblem): string {
  const place = [
    ...(line === undefined ? [] : [`Line ${line}`]),
    ...(column === undefined ? [] : [`column ${column}`]),
  ].join(', ');
  return place === '' ? message : `${place}: ${message}`;
}

/**
 * Lengths that hardly can be. At rest an accelerometer reads 1 g, give or take its errors before calibration; the field
 * of the Earth is between about 22 and 67 µT (NOAA, World Magnetic Model; from memory), and iron in a housing can add
 * as much again.
 */
const PLAUSIBLE = { acc: [0.7, 1.3], mag: [10, 150] } as const;
/** A chip whose numbers are counts gives some hundreds of them at least; numbers about one are g or m/s². */
const FEWEST_COUNTS = 30;
/** How much the length of the accelerometer's numbers may vary before one of them looks like another thing. */
const VARIES = 0.25;

function doubtsOf(
  table: SheetTable,
  readings: readonly EnteredReading[],
  { units, scales }: SheetChoices,
): Doubt[] {
  const lengths = (chip: 'acc' | 'mag') => readings.map((each) => Math.hypot(...each[chip]));
  const typical = { acc: median(lengths('acc')), mag: median(lengths('mag')) };
  const doubts: Doubt[] = [];
  const swap = 'Are columns of the two chips swapped, or is the unit another?';
  const figure = (value: number) => Number(value.toPrecision(3));
  if (units.acc === 'counts') {
    const ratio = scales.acc === undefined ? 1 : typical.acc / scales.acc;
    if (typical.acc < FEWEST_COUNTS || ratio < PLAUSIBLE.acc[0] || ratio > PLAUSIBLE.acc[1]) {
      const of = scales.acc === undefined ? '' : `, and the scale says ${figure(scales.acc)}`;
      doubts.push({
        about: 'acc_length',
        message: `The accelerometer’s numbers have a length of about ${figure(typical.acc)} counts${of}. ${swap}`,
      });
    }
  } else {
    const inG = typical.acc / PHYSICAL_SCALES.acc;
    if (inG < PLAUSIBLE.acc[0] || inG > PLAUSIBLE.acc[1]) {
      doubts.push({
        about: 'acc_length',
        message: `The accelerometer’s numbers have a length of about ${figure(inG)} g, and at rest it must be near 1 g. ${swap}`,
      });
    }
  }
  if (units.mag === 'counts') {
    const ratio = scales.mag === undefined ? 1 : typical.mag / scales.mag;
    if (typical.mag < FEWEST_COUNTS || ratio < 0.3 || ratio > 3) {
      const of = scales.mag === undefined ? '' : `, and the scale says ${figure(scales.mag)}`;
      doubts.push({
        about: 'mag_length',
        message: `The magnetometer’s numbers have a length of about ${figure(typical.mag)} counts${of}. ${swap}`,
      });
    }
  } else {
    const inMicrotesla = typical.mag / 1000;
    if (inMicrotesla < PLAUSIBLE.mag[0] || inMicrotesla > PLAUSIBLE.mag[1]) {
      doubts.push({
        about: 'mag_length',
        message: `The magnetometer’s numbers have a length of about ${figure(inMicrotesla)} µT, and the Earth’s field is between 22 and 67 µT. ${swap}`,
      });
    }
  }
  const off = lengths('acc').filter((each) => Math.abs(each / typical.acc - 1) > VARIES).length;
  if (off > 0.2 * readings.length) {
    doubts.push({
      about: 'acc_varies',
      message: `The length of the accelerometer’s numbers is far from constant: in ${off} of ${readings.length} readings it is off by more than a quarter, and at rest it should hardly change. Is one of its columns another thing?`,
    });
  }
  if (table.separator === 'comma' && table.width >= 2 * SENSORS.length && looksHalved(table.rows)) {
    doubts.push({
      about: 'decimal_commas',
      message:
        'Every second number is whole and without a sign, as where decimal commas were taken for commas between cells. If so, paste the cells themselves from the spreadsheet, or save with semicolons.',
    });
  }
  return doubts;
}

/** Whether every second cell, from one of the first few on, is a whole number without a sign, with no point anywhere. */
function looksHalved(rows: readonly SheetRow[]): boolean {
  if (rows.some(({ cells }) => cells.some((cell) => cell.includes('.')))) return false;
  return [0, 1, 2, 3].some((from) =>
    rows.every(({ cells }) =>
      Array.from({ length: 6 }, (_, i) => cells[from + 2 * i] ?? '').every((cell) =>
        /^\d+$/.test(cell),
      ),
    ),
  );
}

/** The middle one of some numbers; of an even number of them the upper of the two. */
const median = (values: readonly number[]): number =>
  [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? 0;

/** The lines that the readings were taken along, where the sheet gives their aims. */
function planOf(readings: readonly EnteredReading[], { azimuths, dipSign }: SheetChoices): Plan {
  const lines = new Map<string, { azimuth: number; inclination: number; rolls: Set<number> }>();
  for (const { sighting, aim } of readings) {
    const { azimuth, inclination, roll } = aim ?? {};
    if (
      sighting === undefined ||
      azimuth === undefined ||
      inclination === undefined ||
      roll === undefined
    ) {
      continue;
    }
    const line = lines.get(sighting) ?? { azimuth, inclination, rolls: new Set() };
    line.rolls.add(roll);
    lines.set(sighting, line);
  }
  return {
    name: 'sheet',
    sightings: [...lines].map(([sighting, { rolls, ...line }]) => ({
      sighting,
      ...line,
      rolls: [...rolls],
    })),
    azimuths: azimuths ?? 'relative',
    ...(dipSign && { dipSign }),
  };
}

function sheetOf(
  table: SheetTable,
  decimal: DecimalSign,
  { roles, units, scales, mounting }: SheetChoices,
) {
  const scale = (chip: 'acc' | 'mag') =>
    units[chip] === 'counts' ? scales[chip] : PHYSICAL_SCALES[chip];
  const [acc, mag] = [scale('acc'), scale('mag')];
  return {
    separator: table.separator,
    decimal,
    columns: [...roles],
    units: {
      acc: units.acc!,
      mag: units.mag!,
      ...(units.angle && { angle: units.angle }),
      ...(units.temperature && { temperature: units.temperature }),
    },
    ...(acc !== undefined && mag !== undefined && { scales: { acc, mag } }),
    ...(mounting && { mounting }),
  };
}
