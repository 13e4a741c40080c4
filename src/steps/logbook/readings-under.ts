import { degrees, radians, turn } from '../../calib/geometry.ts';
import { applyCoefficients, type Applied, type Coefficients } from '../../calib/model.ts';
import type { BoardReading } from '../../protocol/board.ts';
import { APPLIED_COLUMNS, appliedCells } from '../../records/applied-csv.ts';
import type { Entry, ProofFigure } from '../../records/entries.ts';
import { joinCsv } from '../../records/rfc4180.ts';
import { fileName, type FileOut } from '../file-out.ts';
import { degreesText } from '../finding.ts';
import { agreementFigures } from '../proof.ts';
import { largest, rootMeanSquare } from '../statistics.ts';
import { TOLERANCE } from '../tolerance.ts';
import { coefficientsOfSet, setName, type SetOfBoard } from './sets-of-board.ts';

/** Which readings a board took under which generation, and what they become under any set, from the raw counts. */

export interface StoredReading {
  /** Unique among the board's readings. */
  id: string;
  /** `found`: in the board's memory, its aim unknown. */
  takenFor: 'found' | 'fit' | 'proof' | 'check';
  /** When it came to the logbook. */
  time: string;
  reading: BoardReading;
}

/** The readings that carry one generation. */
export interface ReadingsOfGeneration {
  generation: number;
  readings: readonly StoredReading[];
  /** What the board ran as that generation; absent where the logbook does not know, or there was none. */
  set?: SetOfBoard;
  /**
   * Whether that set gives what the board said, to its rounding: of those that bore the number, if several did, the one
   * that comes nearest. Absent where there is nothing to compare.
   */
  agreement?: { agrees: boolean; figures: readonly ProofFigure[] };
  words: string;
}

/** @param entries of one board, in reading order */
export function readingsByGeneration(
  entries: readonly Entry[],
  sets: readonly SetOfBoard[],
): ReadingsOfGeneration[] {
  const groups = new Map<number, StoredReading[]>();
  for (const stored of storedReadings(entries)) {
    const { generation } = stored.reading;
    const group = groups.get(generation);
    if (group) group.push(stored);
    else groups.set(generation, [stored]);
  }
  return [...groups]
    .sort(([a], [b]) => b - a)
    .map(([generation, readings]) => groupOf(generation, readings, sets));
}

/** Every reading once, however often it came to the logbook; a number that a board gave twice stays twice. */
function storedReadings(entries: readonly Entry[]): StoredReading[] {
  const found = new Map<string, Omit<StoredReading, 'id'>>();
  const add = (reading: BoardReading, takenFor: StoredReading['takenFor'], time: string) => {
    const key = `${reading.reading} ${reading.acc.join()} ${reading.mag.join()}`;
    if (takenFor !== 'found' || !found.has(key)) found.set(key, { reading, takenFor, time });
  };
  for (const entry of entries) {
    const { time } = entry;
    if (entry.kind === 'memory saved') {
      for (const reading of entry.readings) add(reading, 'found', time);
    } else if (entry.kind === 'reading') add(entry.reading, 'fit', time);
    else if (entry.kind === 'proof reading') add(entry.reading, 'proof', time);
    else if (entry.kind === 'check reading') add(entry.reading, 'check', time);
  }
  const times = new Map<number, number>();
  return [...found.values()].map((each) => {
    const { reading: number } = each.reading;
    const before = times.get(number) ?? 0;
    times.set(number, before + 1);
    return { ...each, id: before === 0 ? String(number) : `${number} again ${before}` };
  });
}

function groupOf(
  generation: number,
  readings: readonly StoredReading[],
  sets: readonly SetOfBoard[],
): ReadingsOfGeneration {
  if (generation === 0) {
    return {
      generation,
      readings,
      words: 'The board had no coefficients then, and gave no angles.',
    };
  }
  const [best] = sets
    .filter(({ generations }) => generations.includes(generation))
    .map((set) => ({ set, ...agreementWith(set, readings) }))
    .sort((a, b) => a.off - b.off);
  if (!best) {
    const words = `The logbook does not hold generation ${generation}: what the board said of these readings cannot be checked.`;
    return { generation, readings, words };
  }
  const { set, figures, off } = best;
  const n = Math.max(...figures.map((each) => each.n));
  if (n === 0) {
    const words = 'The board said no angles of these readings, so there is nothing to check.';
    return { generation, readings, set, words };
  }
  const agrees = off <= TOLERANCE.agreement;
  const words = agrees
    ? `Computed again with that generation, ${n} of them give what the board said, within ${TOLERANCE.agreement}°.`
    : `Computed again with generation ${generation} as the logbook has it, they differ from what the board said by up to ${degreesText(off, 3)}: the board did not run just these numbers, or computes wrongly.`;
  return { generation, readings, set, agreement: { agrees, figures }, words };
}

function agreementWith(set: SetOfBoard, readings: readonly StoredReading[]) {
  const figures = agreementFigures(
    readings.map(({ reading }) => reading),
    coefficientsOfSet(set),
  );
  return { figures, off: largest(figures.map(({ value }) => value)) };
}

/** A reading computed again. */
export interface ReadingUnder {
  stored: StoredReading;
  seen: Applied;
  /** What was computed less what the board said, degrees; an angle that either lacks is absent. */
  change: { azimuth?: number; inclination?: number; roll?: number };
}

export function readingsUnder(
  readings: readonly StoredReading[],
  coefficients: Coefficients,
): ReadingUnder[] {
  return readings.map((stored) => {
    const { acc, mag, azimuth, inclination, roll } = stored.reading;
    const seen = applyCoefficients(coefficients, acc, mag);
    const turned = (from: number | undefined, to: number | undefined) =>
      from === undefined || to === undefined ? undefined : degrees(turn(radians(from), to));
    const change = {
      azimuth: turned(azimuth, seen.azimuth),
      inclination: turned(inclination, seen.inclination),
      roll: turned(roll, seen.roll),
    };
    return { stored, seen, change: withoutUndefined(change) };
  });
}

const withoutUndefined = (change: Record<keyof ReadingUnder['change'], number | undefined>) =>
  Object.fromEntries(
    Object.entries(change).filter(([, value]) => value !== undefined),
  ) as ReadingUnder['change'];

/** By how much angles change, over all readings of which the board said some: degrees. */
export interface ChangeSummary {
  /** How many readings there were to compare. */
  n: number;
  /** Of azimuth times cos inclination, and of inclination. */
  azimuth: { rms: number; largest: number };
  inclination: { rms: number; largest: number };
}

export function changeSummary(rows: readonly ReadingUnder[]): ChangeSummary {
  const azimuth = rows.flatMap(({ change, seen }) =>
    change.azimuth === undefined || seen.inclination === undefined
      ? []
      : change.azimuth * Math.cos(seen.inclination),
  );
  const inclination = rows.flatMap(({ change }) => change.inclination ?? []);
  const of = (values: readonly number[]) => ({
    rms: values.length === 0 ? 0 : rootMeanSquare(values),
    largest: largest(values),
  });
  return { n: inclination.length, azimuth: of(azimuth), inclination: of(inclination) };
}

const COLUMNS = [
  'id',
  ...APPLIED_COLUMNS,
  ...['reading', 'generation', 'taken_for', 'time'],
  ...['board_azimuth', 'board_inclination', 'board_roll'],
  ...['change_azimuth', 'change_inclination', 'change_roll'],
  ...['ax', 'ay', 'az', 'mx', 'my', 'mz', 'temp_c'],
];

/**
 * Readings under a set as CSV (docs/files.md): the columns of `apply` first, then what the board said.
 *
 * @param under what the set is called, and its CRC-32
 */
export function readingsUnderCsv(
  board: string,
  under: { name: string; crc: string },
  rows: readonly ReadingUnder[],
): string {
  const about = `# board=${encodeURIComponent(board.toWellFormed())} under=${encodeURIComponent(under.name.toWellFormed())} crc=${under.crc}\n`;
  return about + joinCsv([COLUMNS, ...rows.map(cellsOf)]);
}

function cellsOf({
  stored: { id, takenFor, time, reading },
  seen,
  change,
}: ReadingUnder): string[] {
  const given = (value: number | undefined) => (value === undefined ? '' : String(value));
  const changed = (value: number | undefined) =>
    value === undefined ? '' : value.toFixed(6).replace(/^-(0\.0+)$/, '$1');
  return [
    id,
    ...appliedCells(seen),
    ...[String(reading.reading), String(reading.generation), takenFor, time],
    ...[given(reading.azimuth), given(reading.inclination), given(reading.roll)],
    ...[changed(change.azimuth), changed(change.inclination), changed(change.roll)],
    ...[...reading.acc, ...reading.mag].map(String),
    given(reading.temperature),
  ];
}

/** That file. */
export const underFile = (
  board: string,
  set: SetOfBoard,
  rows: readonly ReadingUnder[],
): FileOut => ({
  name: fileName(['readings', board, 'under', set.crc], 'csv'),
  content: readingsUnderCsv(board, { name: setName(set), crc: set.crc }, rows),
  type: 'text/csv',
});

/** In one sentence, by how much angles change. */
export function summaryWords({ n, azimuth, inclination }: ChangeSummary): string {
  if (n === 0) return 'The board said no angles of these readings, so there is no change to tell.';
  const words = (each: { rms: number; largest: number }) =>
    `${degreesText(each.rms, 3)} (root mean square), ${degreesText(each.largest, 3)} at most`;
  return `Against what the board said, over ${n} readings: azimuth × cos inclination changes by ${words(azimuth)}, inclination by ${words(inclination)}.`;
}

/** What {@link underCells} gives, in its order. Degrees; lengths are one where all is well. */
export const UNDER_HEADINGS = [
  ...['Reading', 'Generation', 'Taken for'],
  ...['Azimuth', 'Change', 'Inclination', 'Change', 'Roll', 'Change'],
  ...['Gravity', 'Field', 'Dip'],
] as const;

/** One reading under a set for the screen, an em dash for what has no meaning or was not said. */
export function underCells({ stored, seen, change }: ReadingUnder): string[] {
  const angle = (value: number | undefined) =>
    value === undefined ? '—' : degreesText(degrees(value), 2).replace('-', '−');
  const changed = (value: number | undefined) => {
    if (value === undefined) return '—';
    const text = Math.abs(value).toFixed(3);
    return Number(text) === 0 ? '0' : `${value < 0 ? '−' : '+'}${text}°`;
  };
  return [
    ...[stored.id, String(stored.reading.generation), stored.takenFor],
    ...[angle(seen.azimuth), changed(change.azimuth)],
    ...[angle(seen.inclination), changed(change.inclination)],
    ...[angle(seen.roll), changed(change.roll)],
    ...[seen.gravity.toFixed(4), seen.field.toFixed(4), angle(seen.dip)],
  ];
}
