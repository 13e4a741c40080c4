import type { Entry } from '../../records/entries.ts';
import { timeWords } from '../time-words.ts';

/** A calibration of a board, for a list. */
export interface CalibrationInShort {
  id: string;
  /** When it was begun, in words. */
  name: string;
  /** How many readings it has to fit. */
  readings: number;
  isFitted: boolean;
  isFromSheet: boolean;
}

/** Every calibration of a board, the newest first. @param entries of the board, in reading order */
export function calibrationsOf(entries: readonly Entry[]): CalibrationInShort[] {
  const all = new Map<string, CalibrationInShort>();
  for (const { kind, calibration: id, time } of entries) {
    if (id === undefined) continue;
    const before = all.get(id) ?? {
      id,
      name: timeWords(time),
      readings: 0,
      isFitted: false,
      isFromSheet: false,
    };
    all.set(id, {
      ...before,
      readings: before.readings + (kind === 'reading' || kind === 'reading entered' ? 1 : 0),
      isFitted: before.isFitted || kind === 'fit',
      isFromSheet: before.isFromSheet || kind === 'calibration entered',
    });
  }
  return [...all.values()].reverse();
}

/** When it was begun, and what it has. */
export const calibrationWords = (calibration: CalibrationInShort): string => {
  const { name, readings, isFitted, isFromSheet } = calibration;
  const counted = readings === 1 ? 'one reading' : `${readings} readings`;
  return `${name}: ${counted}${isFromSheet ? ' from a sheet' : ''}${isFitted ? ', fitted' : ''}`;
};
