import fc from 'fast-check';
import { expect, it } from 'vitest';
import type { Entry, EntryKind } from '../../src/records/entries.ts';
import { checkEntry, ENTRY_SCHEMAS } from '../../src/records/entry-schemas.ts';
import { asWritten } from '../../src/records/logbook-file.ts';
import { walkedEntries } from './whole-walk.ts';

/** What a {@link walkedEntries} does not come to, or not with every field. */
const at = { board: 'WB-1', time: '2031-05-01T08:00:00.000Z' };
const within = { ...at, calibration: 'WB-1 one' };
const OTHERS: readonly Entry[] = [
  { ...at, kind: 'settings failed', reason: 'It said no' },
  { ...at, kind: 'rename failed', reason: 'It said no' },
  { ...at, kind: 'clock failed', reason: 'It said no' },
  { ...at, kind: 'erase failed', reason: 'It said no' },
  { ...at, kind: 'restore failed', reason: 'It said no' },
  { ...at, kind: 'update undone', running: '1.0', reason: 'It went back' },
  { ...at, kind: 'update given up', reason: 'A person gave it up' },
  { ...within, kind: 'capture failed', reason: 'It took none' },
  { ...within, kind: 'seal failed', generation: 3, reason: 'It runs another' },
  { ...within, kind: 'revert begun', replaces: 3, crc: '' },
  { ...within, kind: 'revert failed', generation: 3, reason: 'It runs another' },
  { ...within, kind: 'set aside', reading: '4', reason: 'A van drove by', by: 'person' },
  {
    ...within,
    kind: 'plan extended',
    sightings: [{ sighting: 'more', azimuth: 10, inclination: -90, rolls: [0, 90] }],
  },
];

it('passes every entry that a whole life of a board writes, and leaves it as it was', async () => {
  const { bench, entries } = await walkedEntries();
  const reached = new Set<EntryKind>();
  for (const { entry } of entries
    .map((stored) => asWritten(bench, stored))
    .concat(OTHERS.map((entry) => ({ bench, number: 1, entry })))) {
    const checked = checkEntry(entry);
    expect(checked).toEqual({ ok: true, entry });
    // and after it was a file
    expect(checkEntry(JSON.parse(JSON.stringify(entry)))).toEqual({ ok: true, entry });
    reached.add(entry.kind);
  }
  const important: EntryKind[] = [
    ...(['reading', 'fit', 'staged', 'sealed', 'proof', 'set chosen', 'reverted'] as const),
    ...(['update begun', 'update confirmed', 'settings adopted', 'clock set', 'erased'] as const),
  ];
  expect(important.filter((kind) => !reached.has(kind))).toEqual([]);
}, 60_000);

it('keeps a freedom without end, for which JSON has no word', async () => {
  const { entries } = await walkedEntries();
  const { number: _, ...fit } = entries.find(({ kind }) => kind === 'fit')!;
  const endless = structuredClone(fit) as Entry & { kind: 'fit' };
  endless.uncertainty.freedom = { azimuth: Infinity, inclination: 12 };
  const back = checkEntry(JSON.parse(JSON.stringify(endless)));
  expect(back).toEqual({ ok: true, entry: endless });
});

it('refuses an entry from which any field is taken away that it must have, or to which one is added', async () => {
  const { entries } = await walkedEntries();
  const byKind = new Map(entries.map(({ number: _, ...entry }) => [entry.kind, entry]));
  for (const entry of byKind.values()) {
    expect(checkEntry({ ...entry, unheard: 1 }).ok, `${entry.kind} with a field more`).toBe(false);
    for (const field of ['kind', 'board', 'time'] as const) {
      const { [field]: _, ...rest } = entry;
      expect(checkEntry(rest).ok, `${entry.kind} without ${field}`).toBe(false);
    }
  }
}, 60_000);

it('says one thing of a list that is far too long or wrong in every item, and looks at no item of the first', () => {
  const bad = (length: number) => Array.from({ length }, () => ({}));
  const started = (sightings: unknown[]) => ({
    ...within,
    kind: 'calibration started',
    plan: { name: 'cube', azimuths: 'absolute', sightings },
  });
  const staged = (values: unknown[]) => ({
    ...within,
    kind: 'staged',
    set: { model: 'straight', values },
    crc: '00000000',
  });
  for (const entry of [started(bad(9_000)), started(bad(500_000)), staged(bad(500_000))]) {
    const checked = checkEntry(entry);
    expect(checked.ok || checked.issues).toHaveLength(1);
  }
  const looked: PropertyKey[] = [];
  const watched = (list: unknown[]) =>
    new Proxy(list, {
      get: (target, key, receiver) => {
        if (key !== 'length') looked.push(key);
        return Reflect.get(target, key, receiver) as unknown;
      },
    });
  const tooLong = checkEntry(started(watched(bad(10_001))));
  expect(!tooLong.ok && tooLong.issues[0]!.message).toBe('it must have 10000 items at most');
  expect(checkEntry(staged(watched(bad(30)))).ok).toBe(false);
  expect(looked.filter((key) => typeof key === 'string' && /^\d+$/.test(key))).toEqual([]);
});

it('never throws, and passes nothing that is no entry, whatever it is given', () => {
  const kinds = Object.keys(ENTRY_SCHEMAS);
  fc.assert(
    fc.property(fc.anything(), fc.constantFrom(...kinds, 'toString', '__proto__'), (any, kind) => {
      expect(checkEntry(any).ok).toBe(false);
      const inner = typeof any === 'object' && any !== null ? any : { any };
      expect(checkEntry({ ...inner, kind }).ok).toBe(false);
    }),
  );
});
