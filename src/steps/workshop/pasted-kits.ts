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

/**
 * Reads lines `serial, builder, place`, cells separated by tabs (as a spreadsheet copies them), else semicolons, else
 * commas; a cell may be empty, or missing at the end. A first line that names the columns is passed over.
 */
export function pastedKits(
  text: string,
): { ok: true; kits: KitFields[] } | { ok: false; problems: Problem[] } {
  const separator = ['\t', ';', ','].find((each) => text.includes(each)) ?? ',';
  const problems: Problem[] = [];
  const kits: KitFields[] = [];
  for (const [at, line] of text.split(/\r\n|\n|\r/).entries()) {
    const cells = line.split(separator).map((cell) => cell.trim());
    if (cells.every((cell) => cell === '')) continue;
    if (kits.length === 0 && /^(board|serial)( ?number)?$/i.test(cells[0]!)) continue;
    if (cells.slice(KIT_FIELDS.length).some((cell) => cell !== '')) {
      const what = 'it must have three cells at most: serial number, builder, place';
      problems.push({ path: `line ${at + 1}`, what });
      continue;
    }
    const [serial = '', builder = '', place = ''] = cells;
    kits.push(trimmedKit({ serial, builder, place }));
  }
  if (kits.length === 0 && problems.length === 0) {
    problems.push({ path: 'the list', what: 'there is no kit in it' });
  }
  return problems.length > 0 ? { ok: false, problems } : { ok: true, kits };
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
 * @param serials of the kits that are there already
 */
export function faultsOf(kits: readonly KitFields[], serials: readonly string[]): Problem[] {
  const problems: Problem[] = [];
  const there = new Set(serials);
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
    if (there.has(serial)) {
      problems.push({ path, what: `there is a kit with serial number ${serial} already` });
    }
    there.add(serial);
  }
  if (kits.length + serials.length > MOST_KITS) {
    problems.push({ path: 'the list', what: `a workshop has ${MOST_KITS} kits at most` });
  }
  return problems;
}
