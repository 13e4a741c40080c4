import type { BoardIdentity, BoardReading } from '../protocol/board.ts';
import { readReadings, writeReadings, type FileReading } from '../records/readings-csv.ts';

/** A board's memory as a readings file: raw counts, and in columns of its own all else that the board said. */

const COLUMNS = [
  ...['generation', 't_ms', 'ax_sd', 'ay_sd', 'az_sd', 'mx_sd', 'my_sd', 'mz_sd', 'samples'],
  ...['supply_v', 'azimuth', 'inclination', 'roll', 'range_m'],
];

export function writeMemory(
  { serial, name, accScale, magScale }: BoardIdentity,
  readings: readonly BoardReading[],
): string {
  return writeReadings({
    scales: { acc: accScale, mag: magScale },
    comments: [` board=${encodeURIComponent(serial)} name=${encodeURIComponent(name)}`],
    otherColumns: COLUMNS,
    readings: readings.map(rowOf),
  });
}

function rowOf(reading: BoardReading): FileReading {
  const { acc, mag, temperature, generation, tMs, samples, volt } = reading;
  const { azimuth, inclination, roll, range } = reading;
  const none = [undefined, undefined, undefined];
  const others = [
    ...[generation, tMs, ...(reading.accScatter ?? none), ...(reading.magScatter ?? none)],
    ...[samples, volt, azimuth, inclination, roll, range],
  ];
  return {
    id: String(reading.reading),
    acc,
    mag,
    ...(temperature !== undefined && { temperature }),
    others: others.map((value) => (value === undefined ? '' : String(value))),
  };
}

/** Why a file that was written of these readings does not hold them, read back; nothing where it does. */
export function notInFile(file: Uint8Array, readings: readonly BoardReading[]): string | undefined {
  const read = readReadings(file);
  if (!read.ok) return read.message;
  const rows = new Map(read.readings.map((row) => [row.id, row]));
  const lost = readings.filter((reading) => {
    const row = rows.get(String(reading.reading));
    const wanted = rowOf(reading);
    return (
      !row ||
      [...row.acc, ...row.mag].some((count, i) => count !== [...wanted.acc, ...wanted.mag][i]) ||
      row.temperature !== wanted.temperature ||
      row.others.some((value, i) => value !== wanted.others[i])
    );
  });
  if (lost.length === 0) return undefined;
  return `Read back, it lacks reading ${lost.map(({ reading }) => reading).join(', ')}.`;
}
