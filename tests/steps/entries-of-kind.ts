import type { EntryKind, EntryOf, StoredEntry } from '../../src/records/entries.ts';

/**
 * Entries of one kind, of one calibration where it is given. A cast, and no type guard: the compiler takes five seconds to
 * hold the union of all entries against each narrowing of it.
 */
export const ofKind = <K extends EntryKind>(
  entries: readonly StoredEntry[],
  kind: K,
  calibration?: string,
): (EntryOf<K> & Pick<StoredEntry, 'number'>)[] =>
  entries.filter(isOf(kind, calibration)) as unknown as (EntryOf<K> &
    Pick<StoredEntry, 'number'>)[];

export const isOf =
  (kind: EntryKind, calibration?: string) =>
  (entry: StoredEntry): boolean =>
    entry.kind === kind && (calibration === undefined || entry.calibration === calibration);
