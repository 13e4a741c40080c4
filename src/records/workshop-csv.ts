import { joinCsv } from './rfc4180.ts';

/** Results of all kits of a workshop as a table (docs/files.md). */

/** What of a kit stands in it; a field that is absent is an empty cell. Degrees, degrees Celsius. */
export interface KitLine {
  place: string;
  builder: string;
  serial: string;
  board_name?: string;
  stage: string;
  /** ISO 8601. */
  as_of?: string;
  trouble?: string;
  generation?: number;
  sealed?: string;
  crc?: string;
  judged?: string;
  tolerance_deg?: number;
  azimuth_95_deg?: number;
  inclination_95_deg?: number;
  mean_spread_deg?: number;
  readings?: number;
  proof?: string;
  proof_readings?: number;
  temp_min_c?: number;
  temp_max_c?: number;
  site?: string;
  remarks?: string;
}

const COLUMNS = [
  'place',
  'builder',
  'serial',
  'board_name',
  'stage',
  'as_of',
  'trouble',
  'generation',
  'sealed',
  'crc',
  'judged',
  'tolerance_deg',
  'azimuth_95_deg',
  'inclination_95_deg',
  'mean_spread_deg',
  'readings',
  'proof',
  'proof_readings',
  'temp_min_c',
  'temp_max_c',
  'site',
  'remarks',
] as const satisfies (keyof KitLine)[];

/** Writes the table: the header, then a row for each kit, in the order given. */
export const workshopCsv = (kits: readonly KitLine[]): string =>
  joinCsv([COLUMNS, ...kits.map((kit) => COLUMNS.map((column) => cellOf(kit[column])))]);

function cellOf(value: string | number | undefined): string {
  if (value === undefined) return '';
  // far below what any of these figures is known to; no exponent, which not every program reads
  if (typeof value === 'number') return String(Number(value.toFixed(4)));
  return asText(value);
}

/**
 * A text that no spreadsheet takes for a formula, in this cell or in one that it splits off at a semicolon, a tab or a line
 * end: what a board or a person is called may be anything. An apostrophe before the sign is what spreadsheets
 * themselves mark a text by.
 */
const asText = (text: string): string =>
  text.replace(/(^|[;\t\r\n])([\s\p{C}"]*)(?=[=+\-@＝＋－＠])/gu, "$1$2'");
