import type { BoardIdentity, BoardReading } from '../protocol/board.ts';
import { joinCsv } from './rfc4180.ts';

/** Readings as a survey wants them: the board's own angles and range (docs/files.md). */

const COLUMNS = [
  'reading',
  'generation',
  'azimuth',
  'inclination',
  'roll',
  'range_m',
  'temp_c',
  'supply_v',
] as const;

/**
 * Writes such a file. Degrees, azimuth from magnetic north; metres; an empty cell for what a reading does not have.
 *
 * @param readings in any order; the same reading twice is written once, and a number that a board gave twice stays twice
 */
export function surveyCsv(
  { serial, name }: Pick<BoardIdentity, 'serial' | 'name'>,
  readings: readonly BoardReading[],
): string {
  const rows = new Map<string, readonly string[]>();
  for (const reading of [...readings].sort((a, b) => a.reading - b.reading)) {
    rows.set(`${reading.reading} ${reading.acc.join()} ${reading.mag.join()}`, rowOf(reading));
  }
  const about = `# board=${encodeURIComponent(serial)} name=${encodeURIComponent(name)}\n`;
  return about + joinCsv([COLUMNS, ...rows.values()]);
}

function rowOf(reading: BoardReading): string[] {
  const { azimuth, inclination, roll, range, temperature, volt } = reading;
  return [
    ...[reading.reading, reading.generation],
    ...[azimuth, inclination, roll, range, temperature, volt],
  ].map((value) => (value === undefined ? '' : String(value)));
}
