import type { StoredEntry } from '../../records/entries.ts';
import { writeReadings, type FileReading } from '../../records/readings-csv.ts';
import { joinCsv } from '../../records/rfc4180.ts';
import { foldCalibration, type KeptReading } from '../calibration-state.ts';

/**
 * The readings of a calibration as a readings file, that fits to the same coefficients as here: scales, sightings and
 * aims with them, azimuths only where magnetic north was set out. A reading that was set aside stands in a comment with
 * the reason, so that no fit sees it and nothing is lost.
 *
 * @param entries of the board, in reading order
 */
export function calibrationCsv(entries: readonly StoredEntry[], id: string): string | undefined {
  const { calibration, identity } = foldCalibration(entries, id);
  if (!calibration || calibration.readings.length === 0) return undefined;
  const { plan, readings, entered } = calibration;
  const isAbsolute = plan.azimuths === 'absolute';
  const scales = entered
    ? entered.scales
    : identity && { acc: identity.accScale, mag: identity.magScale };
  const mounting =
    entered?.mounting ??
    (identity?.accMounting !== undefined && identity.magMounting !== undefined
      ? { acc: identity.accMounting, mag: identity.magMounting }
      : undefined);
  const board = entries[0]!.board;
  const comments = [
    ` board=${encodeURIComponent(board)} calibration=${encodeURIComponent(id)}`,
    ...(mounting ? [` how the chips sit: --mounting acc=${mounting.acc},mag=${mounting.mag}`] : []),
    ...readings.flatMap((row) => (row.setAside ? asideComments(row, row.setAside.reason) : [])),
  ];
  return writeReadings({
    ...(scales && { scales }),
    comments,
    otherColumns: [],
    readings: readings
      .filter((row) => !row.setAside)
      .map(({ id, sighting, reading, aim }): FileReading => {
        const { azimuth, ...others } = aim ?? {};
        const known = { ...others, ...(isAbsolute && azimuth !== undefined && { azimuth }) };
        return {
          id,
          ...(sighting !== undefined && { sighting }),
          acc: reading.acc,
          mag: reading.mag,
          ...(reading.temperature !== undefined && { temperature: reading.temperature }),
          ...(Object.keys(known).length > 0 && { aim: known }),
          others: [],
        };
      }),
  });
}

function asideComments({ id, sighting, reading }: KeptReading, reason: string): string[] {
  const row = [id, sighting ?? '', ...reading.acc, ...reading.mag].map(String);
  return [` set aside: ${reason}`, ` id,sighting,ax to mz: ${joinCsv([row]).trimEnd()}`];
}
