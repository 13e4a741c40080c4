import type { Entry } from '../../records/entries.ts';
import { timeWords } from '../sealing-words.ts';

/** A calibration of a board, for a list. */
export interface CalibrationInShort {
  id: string;
  words: string;
}

/** Every calibration of a board that has readings to fit, the newest first. @param entries of the board, in reading order */
export function calibrationsOf(entries: readonly Entry[]): CalibrationInShort[] {
  const all = new Map<string, { time: string; readings: number; fits: number; sheet: boolean }>();
  for (const entry of entries) {
    if (entry.kind === 'calibration started' || entry.kind === 'calibration entered') {
      const sheet = entry.kind === 'calibration entered';
      all.set(entry.calibration, { time: entry.time, readings: 0, fits: 0, sheet });
    }
    const counted = entry.calibration === undefined ? undefined : all.get(entry.calibration);
    if (!counted) continue;
    if (entry.kind === 'reading' || entry.kind === 'reading entered') counted.readings++;
    if (entry.kind === 'fit') counted.fits++;
  }
  return [...all]
    .filter(([, { readings }]) => readings > 0)
    .map(([id, { time, readings, fits, sheet }]) => ({
      id,
      words: `${timeWords(time)}: ${readings === 1 ? 'one reading' : `${readings} readings`}${sheet ? ' from a sheet' : ''}${fits > 0 ? ', fitted' : ''}`,
    }))
    .reverse();
}
