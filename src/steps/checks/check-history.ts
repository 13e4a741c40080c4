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
  /** The remark that the battery was changed, once all that comes before that was taken. */
  swap?: string;
}

export interface CheckHistory {
  /** The check that is under way. */
  now?: CheckState;
  /** What the newest of each kind came to, with when that was. */
  records: Partial<Record<CheckKind, CheckRecord & { time: string }>>;
  /** The newest of each kind that was passed or not passed: one that settles nothing leaves it standing. */
  settled: Partial<Record<CheckKind, CheckRecord>>;
  /** The kind that came to an end last. */
  newest?: CheckKind;
}

export const NO_CHECKS: CheckHistory = { records: {}, settled: {} };

/** What is so after one more entry. Pure. */
export function afterCheck(checks: CheckHistory, entry: Entry): CheckHistory {
  const { now } = checks;
  switch (entry.kind) {
    case 'check begun':
      return { ...checks, now: { begun: entry, readings: new Map() } };
    case 'battery changed':
      // of an earlier day it is not the change that the check waits for
      return now && entry.on === undefined && awaitsSwap(now)
        ? { ...checks, now: { ...now, swap: entry.id } }
        : checks;
    case 'remark withdrawn':
      return now?.swap === entry.of ? { ...checks, now: beforeSwap(now) } : checks;
    case 'check reading': {
      if (now?.begun.id !== entry.check) return checks;
      const readings = new Map([...now.readings, [entry.place, entry.reading] as const]);
      return { ...checks, now: { ...now, readings, last: entry.place } };
    }
    case 'check': {
      const { kind: _, board: __, ...record } = entry;
      const rest = now?.begun.id === entry.check ? without(checks, 'now') : checks;
      return {
        ...rest,
        records: { ...rest.records, [entry.of]: record },
        ...(entry.verdict !== 'not settled' && {
          settled: { ...rest.settled, [entry.of]: record },
        }),
        newest: entry.of,
      };
    }
    case 'check left':
      return now?.begun.id === entry.check ? without(checks, 'now') : checks;
    default:
      return checks;
  }
}

/** Places of a check that have no reading yet, in order, as far as they can be taken now. */
export function openCheckPlaces(check: CheckState): CheckPlace[] {
  return placesOf(check.begun.terms).filter(
    ({ place, afterSwap }) =>
      (!afterSwap || check.swap !== undefined) && !check.readings.has(place),
  );
}

/** The place that was taken last, unless the battery was changed since: then it cannot be taken again. */
export function lastPlace({ begun, last, swap }: CheckState): CheckPlace | undefined {
  const hasHalves = begun.terms.check === 'battery swap';
  return placesOf(begun.terms).find(
    ({ place, afterSwap = false }) =>
      place === last && (!hasHalves || afterSwap === (swap !== undefined)),
  );
}

/** As if the battery had not been changed: what was taken after that does not count. */
function beforeSwap(check: CheckState): CheckState {
  const after = new Set(
    placesOf(check.begun.terms).flatMap(({ place, afterSwap }) => (afterSwap ? [place] : [])),
  );
  const readings = new Map([...check.readings].filter(([place]) => !after.has(place)));
  const rest = without(check, 'swap');
  return check.last !== undefined && after.has(check.last)
    ? { ...without(rest, 'last'), readings }
    : { ...rest, readings };
}

/** Whether all that can be taken now is, and the rest waits for a person to say that the battery is changed. */
export const awaitsSwap = (check: CheckState): boolean =>
  openCheckPlaces(check).length === 0 && check.readings.size < placesOf(check.begun.terms).length;

/** Every place has its reading. */
export const isTaken = (check: CheckState): boolean =>
  check.readings.size === placesOf(check.begun.terms).length;
