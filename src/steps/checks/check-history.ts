import type { BoardReading } from '../../protocol/board.ts';
import type { CheckKind, CheckRecord, Entry, EntryOf } from '../../records/entries.ts';
import { without } from '../copy-without.ts';
import { placesOf, type CheckPlace } from './check-places.ts';

/** Where the checks of a board in the field stand, folded from the logbook's entries. */

export interface CheckState {
  begun: EntryOf<'check begun'>;
  /** The reading that counts of each place. */
  readings: ReadonlyMap<string, BoardReading>;
  /** The place that was taken last. */
  last?: string;
  /** How many places had a reading when the board was last linked. */
  atLink: number;
}

export interface CheckHistory {
  /** The check that is under way. */
  now?: CheckState;
  /** What the newest of each kind came to, with when that was. */
  records: Partial<Record<CheckKind, CheckRecord & { time: string }>>;
  /** The kind that came to an end last. */
  newest?: CheckKind;
}

export const NO_CHECKS: CheckHistory = { records: {} };

/** What is so after one more entry. Pure. */
export function afterCheck(checks: CheckHistory, entry: Entry): CheckHistory {
  const { now } = checks;
  switch (entry.kind) {
    case 'check begun':
      return { ...checks, now: { begun: entry, readings: new Map(), atLink: 0 } };
    case 'board linked':
      return now ? { ...checks, now: { ...now, atLink: now.readings.size } } : checks;
    case 'check reading': {
      if (now?.begun.id !== entry.check) return checks;
      const readings = new Map([...now.readings, [entry.place, entry.reading] as const]);
      return { ...checks, now: { ...now, readings, last: entry.place } };
    }
    case 'check': {
      const { kind: _, board: __, ...record } = entry;
      const rest = now?.begun.id === entry.check ? without(checks, 'now') : checks;
      return { ...rest, records: { ...rest.records, [entry.of]: record }, newest: entry.of };
    }
    case 'check left':
      return now?.begun.id === entry.check ? without(checks, 'now') : checks;
    default:
      return checks;
  }
}

/** Places of a check that have no reading yet, in order, as far as they can be taken now. */
export function openCheckPlaces({ begun, readings, atLink }: CheckState): CheckPlace[] {
  const places = placesOf(begun.terms);
  const before = places.filter(({ afterSwap }) => !afterSwap);
  const isSwapped = atLink >= before.length;
  return (isSwapped ? places : before).filter(({ place }) => !readings.has(place));
}

/** Whether all that can be taken now is, and the rest waits for the battery to be changed and the board linked again. */
export const awaitsSwap = (check: CheckState): boolean =>
  openCheckPlaces(check).length === 0 && check.readings.size < placesOf(check.begun.terms).length;

/** Every place has its reading. */
export const isTaken = (check: CheckState): boolean =>
  check.readings.size === placesOf(check.begun.terms).length;
