/**
 * A sheet as text: split into lines and cells, with what separates them and what marks decimals found out or chosen.
 * Nothing here knows what a cell means.
 */

export type Separator = 'tab' | 'semicolon' | 'comma' | 'space';
export type DecimalSign = 'point' | 'comma';

export const SEPARATORS: readonly Separator[] = ['tab', 'semicolon', 'comma', 'space'];

/** What is wrong, and where. */
export interface SheetProblem {
  /** Counted from 1, in the text as it was given; absent where the whole of it is meant. */
  line?: number;
  /** Number of the column, counted from 1, and what it is. */
  column?: string;
  /** What is wrong and what to do, in words. */
  message: string;
}

export interface SheetRow {
  line: number;
  cells: readonly string[];
}

export interface SheetTable {
  separator: Separator;
  /** Absent where it cannot be told, and a person must say it. */
  decimal?: DecimalSign;
  /** Names of the columns, where the sheet has them, and the line where they stand. */
  header?: SheetRow;
  /** Units in a line of their own beneath the names. */
  unitLine?: SheetRow;
  rows: readonly SheetRow[];
  /** The most cells that a line has. */
  width: number;
  /** What stands after the `#` of comment lines. */
  comments: readonly string[];
}

/** The most that is taken at once: a calibration has some tens of readings. */
export const MOST_CHARACTERS = 1_000_000;
export const MOST_ROWS = 5_000;
const MOST_CELLS = 100;

const CHARACTER: Record<Exclude<Separator, 'space'>, string> = {
  tab: '\t',
  semicolon: ';',
  comma: ',',
};

/** A number with either decimal sign, or with signs between thousands. */
const NUMBER_LIKE = /^[+-]?(\d[\d.,']*|[.,]\d+)([eE][+-]?\d+)?$/;

/** Whether a person would take a cell for a number. */
export const isNumberLike = (cell: string): boolean => NUMBER_LIKE.test(cell);

/**
 * Splits text as it was typed, pasted from a spreadsheet, or read from a file.
 *
 * @param chosen what a person says of it against what is found
 */
export function splitSheet(
  text: string,
  chosen: { separator?: Separator; decimal?: DecimalSign } = {},
): SheetTable | SheetProblem {
  if (text.length > MOST_CHARACTERS) {
    return {
      message: `The text has more than ${MOST_CHARACTERS.toLocaleString('en')} characters, which is the most that is taken at once. Give one calibration at a time.`,
    };
  }
  const lines = text
    .replace(/^\uFEFF/, '')
    .split(/\r\n|\n|\r/)
    .map((line, i) => ({ line: i + 1, text: line }))
    .filter((each) => each.text.trim() !== '');
  const comments = lines.filter((each) => each.text.startsWith('#'));
  const given = lines.filter((each) => !each.text.startsWith('#'));
  const first = given[0];
  if (!first) return { message: 'There is nothing here yet. Paste the readings, a line for each.' };
  const control = given.find((each) => /(?![\t])\p{Cc}/u.test(each.text));
  if (control) {
    return {
      line: control.line,
      message: 'This is not plain text. Copy the cells themselves, or save the sheet as CSV.',
    };
  }
  if (given.length > MOST_ROWS + 10) {
    return {
      message: `There are more than ${MOST_ROWS.toLocaleString('en')} lines, which is the most that is taken at once. A calibration has some tens.`,
    };
  }
  const separator = chosen.separator ?? separatorOf(given.map((each) => each.text));
  const rows: SheetRow[] = [];
  for (const { line, text: content } of given) {
    const cells = cellsOf(content, separator);
    if (!cells) {
      return { line, message: 'A quote begins here and never ends. Close it, or take it out.' };
    }
    if (cells.length > MOST_CELLS) {
      return {
        line,
        message: `The line has more than ${MOST_CELLS} cells. Give the readings alone.`,
      };
    }
    rows.push({ line, cells });
  }
  const width = Math.max(...rows.map(({ cells }) => lastFilled(cells)));
  const even = rows.map(({ line, cells }) => ({ line, cells: cells.slice(0, width) }));
  const [header, unitLine] = even;
  const named = isNames(header!);
  const hasUnits =
    named && unitLine !== undefined && isNames(unitLine) && !isSame(unitLine, header!);
  const body = even.slice(named ? (hasUnits ? 2 : 1) : 0);
  const decimal = chosen.decimal ?? decimalOf(body, separator);
  return {
    separator,
    ...(decimal && { decimal }),
    ...(named && { header: header! }),
    ...(hasUnits && { unitLine }),
    rows: body,
    width,
    comments: comments.map((each) => each.text.slice(1)),
  };
}

/** How many cells a row has, empty ones at its end not counted: spreadsheets leave them there. */
const lastFilled = (cells: readonly string[]): number =>
  cells.reduce((last, cell, i) => (cell === '' ? last : i + 1), 0);

/** Whether a row holds names and not a reading: more of its cells are words than numbers. */
function isNames({ cells }: SheetRow): boolean {
  const filled = cells.filter((cell) => cell !== '');
  return filled.filter((cell) => !isNumberLike(cell)).length > filled.length / 2;
}

export const isSame = (a: SheetRow, b: SheetRow): boolean =>
  a.cells.length === b.cells.length && a.cells.every((cell, i) => cell === b.cells[i]);

/** What separates the cells: the first of tab, semicolon, and comma or space by which of them leaves numbers whole. */
function separatorOf(lines: readonly string[]): Separator {
  const most = (has: (line: string) => boolean) => lines.filter(has).length > lines.length / 2;
  if (most((line) => line.includes('\t'))) return 'tab';
  if (most((line) => line.includes(';'))) return 'semicolon';
  // a decimal comma stands between digits; one that separates may have a blank beside it, or no blank in the line
  const isSpaced = (line: string) => {
    const cells = line.trim().split(/\s+/);
    return cells.length >= 6 && !cells.some((cell) => /^,|,$/.test(cell));
  };
  return most(isSpaced) ? 'space' : 'comma';
}

/** The cells of a line, quotes undone and blanks about them gone; nothing where a quote never ends. */
function cellsOf(line: string, separator: Separator): string[] | undefined {
  if (separator === 'space') return line.trim().split(/\s+/).map(plain);
  const between = CHARACTER[separator];
  const cells: string[] = [];
  for (let at = 0; ;) {
    const start = /^[ \u00a0]*"/.exec(line.slice(at));
    if (start) {
      const cell = /^((?:[^"]|"")*)"/.exec(line.slice(at + start[0].length));
      if (!cell) return undefined;
      const end = line.indexOf(between, at + start[0].length + cell[0].length);
      const rest = line.slice(at + start[0].length + cell[0].length, end < 0 ? undefined : end);
      cells.push(plain(cell[1]!.replaceAll('""', '"') + rest));
      if (end < 0) return cells;
      at = end + 1;
      continue;
    }
    const end = line.indexOf(between, at);
    cells.push(plain(line.slice(at, end < 0 ? undefined : end)));
    if (end < 0) return cells;
    at = end + 1;
  }
}

/** A cell without the blanks about it, and with a typographic minus as a plain one. */
const plain = (cell: string): string => cell.trim().replace(/^[\u2212\u2013](?=[\d.,])/, '-');

/** Whether it could be a whole number with signs between thousands as well as a decimal number: 1.234 or 12,345,678. */
const GROUPED = /^[+-]?[1-9]\d{0,2}([.,]\d{3})+$/;

/** The decimal sign; undefined where both are there, or what is there could stand between thousands as well. */
function decimalOf(rows: readonly SheetRow[], separator: Separator): DecimalSign | undefined {
  const cells = rows.flatMap((row) => row.cells.filter(isNumberLike));
  const points = cells.filter((cell) => cell.includes('.'));
  const commas = separator === 'comma' ? [] : cells.filter((cell) => cell.includes(','));
  if (points.length > 0 && commas.length > 0) return undefined;
  const signed = points.length > 0 ? points : commas;
  if (signed.length === 0) return 'point'; // whole numbers alone: either will do
  if (signed.every((cell) => GROUPED.test(cell))) return undefined;
  return points.length > 0 ? 'point' : 'comma';
}
