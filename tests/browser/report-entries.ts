import type { Entry, EntryOf } from '../../src/records/entries.ts';
import { BenchInProcess } from '../steps/bench-in-process.ts';

/** Entries of boards whose calibrations are reported. */

/** A simulated board calibrated twice, sealed and proven, the second time against what the first left on it. */
export async function provenEntries(): Promise<Entry[]> {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
  await on.ask('begin', 'take rest', 'fit', 'write', 'prove', 'end');
  const entries = await on.logbook();
  return entries.map(({ number: _, ...entry }) => entry as Entry);
}

/**
 * The same with all that is of any length as long as it can be: names, what a person wrote, 70 readings in the second
 * calibration, many of them set aside, each for a reason of its own, a site and checks in the field, and much that happened since.
 */
export function longestEntries(entries: readonly Entry[]): Entry[] {
  const calibration = calibrationsIn(entries).at(-1)!;
  const isFit = (entry: Entry) => entry.kind === 'fit' && entry.calibration === calibration;
  const at = entries.findIndex(isFit);
  const taken = entries.filter(
    (entry): entry is EntryOf<'reading'> =>
      entry.kind === 'reading' && entry.calibration === calibration,
  );
  const { board, time } = taken[0]!;
  const stamp = { board, calibration, time };
  const more = taken.slice(0, 14).flatMap((entry, i): Entry[] => {
    const id = `again ${i} ${'long '.repeat(15)}`;
    const reading = { ...entry.reading, reading: 10_000 + i };
    const reason = `${i}: a lorry with a crane stood by, ${'and stood there for a while, '.repeat(12)}`;
    return [
      { ...entry, id, reading },
      { ...stamp, kind: 'set aside', reading: id, reason, by: 'person' },
    ];
  });
  const since = Array.from({ length: 9 }, (_, i): Entry => {
    const text = `number ${i}, ${'as it fell off the tripod again '.repeat(10)}`;
    return { board, time: '2031-06-01T08:00:00.000Z', kind: 'knocked', id: `k ${i}`, text };
  });
  const { crc, generation } = entries.findLast(
    (entry): entry is EntryOf<'sealed'> => entry.kind === 'sealed',
  )!;
  const kinds = ['rolls', 'fore and back', 'known bearings', 'battery swap', 'loop'] as const;
  const checks = kinds.map((of, i): Entry => {
    const figure = {
      value: 0.31,
      half: 0.12,
      unit: '°',
      limit: 1,
      standing: 'within',
      n: 12,
    } as const;
    const figures = Array.from({ length: 6 }, (_, f) => ({ ...figure, name: `Difference at the mark ${'of the old tower '.repeat(4)}${f}` })); // prettier-ignore
    const tolerance = { degrees: 1 };
    return { board, time: '2031-05-02T08:00:00.000Z', kind: 'check', check: `c ${i}`, of, generation, crc, tolerance, verdict: 'passed', figures, warnings: ['a warning of a check '.repeat(20)] }; // prettier-ignore
  });
  const site: Entry = {
    board,
    time,
    kind: 'site checked',
    place: { latitude: -47.123456, longitude: 171.123456, height: 1234 },
    expected: { model: 'WMM2025', valid: true, declination: 0.4, dip: -1.2, strength: 58_123 },
    spots: [],
    figures: [],
    verdict: 'clean',
    blindTo: [],
  };
  const named = entries.map((entry): Entry => {
    if (entry.kind === 'board linked') {
      const long = 'W'.repeat(64);
      return { ...entry, identity: { ...entry.identity, name: long, hardware: long, firmware: long } }; // prettier-ignore
    }
    if (entry.kind === 'proof') {
      return { ...entry, warnings: Array.from({ length: 6 }, () => 'a warning '.repeat(60)) };
    }
    if (!isFit(entry)) return entry;
    return { ...(entry as EntryOf<'fit'>), warnings: Array.from({ length: 9 }, () => 'a warning of the fit '.repeat(30)) }; // prettier-ignore
  });
  return [...named.slice(0, at), site, ...more, ...named.slice(at), ...checks, ...since];
}

/** Ids of the calibrations, in order. */
export const calibrationsIn = (entries: readonly Entry[]): string[] => [
  ...new Set(entries.flatMap(({ calibration }) => calibration ?? [])),
];
