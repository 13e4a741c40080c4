import type { Problem } from '../../records/logbook-file-reader.ts';
import { KIT_FIELDS, type KitFields } from '../../records/workshop-notes.ts';

/** Kits as a person lists them, and what cannot be so. */

/** Characters that each may have; and kits that one workshop may. */
const LONGEST: Record<keyof KitFields, number> = { serial: 64, builder: 200, place: 200 };
const MOST_KITS = 200;

const NAMES: Record<keyof KitFields, string> = {
  serial: 'serial number',
  builder: 'builder',
  place: 'place',
};

/** What a first line may call each column. */
const COLUMNS: Record<keyof KitFields, RegExp> = {
  serial: /^(board|serial)( ?(number|no\.?))?$/i,
  builder: /^(builder|built by|who|who builds it)$/i,
  place: /^(place|place on the bench)$/i,
};

/**
 * Reads lines `serial, builder, place`. The cells of a line are separated by tabs (as a spreadsheet copies them), else
 * semicolons, else commas, and may stand in quotation marks; a cell may be empty, or missing at the end. A first line that
 * names columns says in which order they stand.
 */
export function pastedKits(
  text: string,
): { ok: true; kits: KitFields[] } | { ok: false; problems: Problem[] } {
  const problems: Problem[] = [];
  const kits: KitFields[] = [];
  let columns: readonly (keyof KitFields)[] | undefined;
  for (const [at, line] of text.split(/\r\n|\n|\r/).entries()) {
    const path = `line ${at + 1}`;
    const cells = cellsOf(line);
    if (!cells) {
      problems.push({ path, what: 'a quotation mark has no partner in its cell' });
      continue;
    }
    if (cells.every((cell) => cell === '')) continue;
    if (!columns) {
      const named = cells.map(columnOf);
      const isHeader = named.some((field) => field !== undefined);
      columns = isHeader ? named.filter((field) => field !== undefined) : KIT_FIELDS;
      if (isHeader) {
        if (columns.length < cells.length || new Set(columns).size < columns.length) {
          const what = 'it names columns, but not just serial number, builder and place, each once';
          problems.push({ path, what });
        }
        continue;
      }
    }
    if (cells.slice(columns.length).some((cell) => cell !== '')) {
      const names = columns.map((field) => NAMES[field]).join(', ');
      problems.push({ path, what: `it has more cells than: ${names}` });
      continue;
    }
    kits.push(trimmedKit(Object.fromEntries(columns.map((field, i) => [field, cells[i] ?? '']))));
  }
  if (kits.length === 0 && problems.length === 0) {
    problems.push({ path: 'the list', what: 'there is no kit in it' });
  }
  return problems.length > 0 ? { ok: false, problems } : { ok: true, kits };
}

const columnOf = (cell: string): keyof KitFields | undefined =>
  KIT_FIELDS.find((field) => COLUMNS[field].test(cell));

const QUOTED = '"(?:[^"]|"")*"';

/**
 * The cells of one line, without blanks around and without their quotation marks; undefined where one of these has no
 * partner. Read here and not as a CSV file: what people type has blanks beside quotation marks, names with such a mark in
 * the midst, and numbers that begin with a `#`.
 */
function cellsOf(line: string): string[] | undefined {
  const bare = line.replaceAll(new RegExp(QUOTED, 'g'), '');
  const separator = ['\t', ';', ','].find((each) => bare.includes(each)) ?? ',';
  const cell = new RegExp(
    ` *(?:(${QUOTED}) *(?=${separator}|$)|([^${separator}]*))(?:${separator}|$)`,
    'y',
  );
  const cells: string[] = [];
  for (let isMore = true; isMore;) {
    const [whole, quoted, plain = ''] = cell.exec(line)!; // it may be empty, so there is one
    if (quoted === undefined && plain.startsWith('"')) return undefined;
    cells.push((quoted?.slice(1, -1).replaceAll('""', '"') ?? plain).trim());
    isMore = whole.endsWith(separator);
  }
  return cells;
}

/** The same without blanks around, without half characters, and without what is empty. */
export function trimmedKit(fields: KitFields): KitFields {
  const kit: KitFields = {};
  for (const field of KIT_FIELDS) {
    const value = fields[field]?.toWellFormed().trim();
    if (value) kit[field] = value;
  }
  return kit;
}

/**
 * What speaks against adding these kits.
 *
 * @param there the kits that are there already
 */
export function faultsOf(
  kits: readonly KitFields[],
  there: readonly Pick<KitFields, 'serial'>[],
): Problem[] {
  const problems: Problem[] = [];
  // no two boards have numbers that differ only so: one of them is mistyped
  const folded = (serial: string) => serial.toLowerCase();
  const taken = new Map(there.map(({ serial = '' }) => [folded(serial), serial]));
  for (const [at, kit] of kits.entries()) {
    const path = `kit ${at + 1}`;
    if (Object.keys(kit).length === 0) {
      problems.push({ path, what: 'it needs a serial number, a builder or a place' });
    }
    for (const field of KIT_FIELDS) {
      if ((kit[field]?.length ?? 0) <= LONGEST[field]) continue;
      const what = `its ${NAMES[field]} must have ${LONGEST[field]} characters at most`;
      problems.push({ path, what });
    }
    const { serial } = kit;
    if (serial === undefined) continue;
    const other = taken.get(folded(serial));
    if (other !== undefined) {
      const small = other === serial ? '' : `; ${serial} differs from it only in capital letters`;
      problems.push({ path, what: `there is a kit with serial number ${other} already${small}` });
    }
    taken.set(folded(serial), serial);
  }
  if (kits.length + there.length > MOST_KITS) {
    problems.push({ path: 'the list', what: `a workshop has ${MOST_KITS} kits at most` });
  }
  return problems;
}
