import type { StoredEntry } from './entries.ts';

/** In which order entries of several benches are read. */

/**
 * One sequence of entries of many benches: each bench's entries in that bench's own order, the benches interleaved by
 * time (always the earliest of those that are each bench's next; at the same time the bench whose id sorts first). So a
 * clock that was set back reorders none of its own bench's entries, and the sequence follows from which entries there
 * are, not from when or where they were brought in.
 *
 * @param bench that wrote the entries which do not say whose they are
 * @param entries in any order
 */
export function inReadingOrder(bench: string, entries: readonly StoredEntry[]): StoredEntry[] {
  const clocks = new Map<string, number>();
  return entries
    .map((entry) => ({ entry, ...(entry.foreign ?? { bench, number: entry.number }) }))
    .sort((a, b) => a.number - b.number)
    .map((each) => {
      // The earliest-next-first rule, as a key to sort by: an entry cannot come before one of its own bench's.
      const clock = Math.max(clocks.get(each.bench) ?? -Infinity, Date.parse(each.entry.time));
      clocks.set(each.bench, clock);
      return { ...each, clock };
    })
    .sort((a, b) => a.clock - b.clock || (a.bench < b.bench ? -1 : a.bench > b.bench ? 1 : 0))
    .map(({ entry }) => entry);
}
