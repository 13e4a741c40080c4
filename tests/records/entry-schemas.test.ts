import fc from 'fast-check';
import type * as v from 'valibot';
import { expect, it } from 'vitest';
import type { Entry, EntryKind } from '../../src/records/entries.ts';
import { checkEntry, ENTRY_SCHEMAS } from '../../src/records/entry-schemas.ts';
import { asWritten } from '../../src/records/logbook-file.ts';
import { without } from '../../src/steps/copy-without.ts';
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
  { ...within, kind: 'moved', reading: '4', sighting: '2', step: '3 at noon', way: 'undo' },
  {
    ...within,
    kind: 'plan extended',
    sightings: [{ sighting: 'more', azimuth: 10, inclination: -90, rolls: [0, 90] }],
    instead: true,
  },
  { ...at, kind: 'battery changed', id: 'b 1', text: 'Both cells', on: '2031-04-30' },
  { ...at, kind: 'remark withdrawn', of: 'b 1' },
  { ...at, kind: 'assembly check begun', id: 'WB-1 at noon' },
  {
    ...at,
    kind: 'assembly looked at',
    check: 'WB-1 at noon',
    pose: 'right side down',
    looks: [{ acc: [0, 1.25, 3], mag: [1, 2, 3], accScatter: [1, 1, 1], samples: 25, volt: 3.9 }],
    refused: { code: 'saturated', times: 2 },
    sure: true,
  },
  {
    ...at,
    kind: 'assembly checked',
    check: 'WB-1 at noon',
    verdict: 'faulty',
    findings: [{ fault: 'swapped', chip: 'mag', axes: ['x', 'y'], evidence: 'They are.' }],
    mounting: { acc: '+x+y+z', mag: '+y-x+z' },
    untold: ['Whether it lags'],
  },
  { ...at, kind: 'assembly check left', check: 'WB-1 at noon' },
  {
    ...at,
    kind: 'site checked',
    place: { latitude: 47.5, longitude: -8.25, height: 430 },
    expected: { model: 'WMM-2030', valid: true, declination: -0.02, dip: 1.1, strength: 48_600 },
    through: { generation: 2, crc: '0A1B2C3D' },
    madeIn: 48_900,
    spots: [
      {
        time: '2031-05-01T07:58:00.000Z',
        n: 8,
        moved: 1,
        field: { mean: 1.002, sd: 0.001 },
        dip: { mean: 1.11, sd: 0.002 },
        down: [0, -0.6, 0.8],
        raw: [0.4, 0.1, -0.9],
      },
    ],
    figures: [{ name: 'scatter', value: 0.1, limit: 0.5, unit: '%', n: 8, good: true }],
    verdict: 'open',
    blindTo: ['A second spot'],
  },
  {
    ...within,
    kind: 'calibration entered',
    plan: { name: 'from a sheet', sightings: [], azimuths: 'relative', dipSign: -1 },
    sheet: {
      boardName: 'Longest of the shelf',
      by: 'file',
      file: 'readings.csv',
      text: 'ax;ay;az;mx;my;mz\n0,1;0,2;0,97;20;3;-40\n',
      separator: 'semicolon',
      decimal: 'comma',
      columns: ['accX', 'accY', 'accZ', 'magX', 'magY', 'magZ'],
      units: { acc: 'g', mag: 'µT', angle: '°', temperature: '°C' },
      scales: { acc: 16384, mag: 12000 },
      mounting: { acc: '+x+y+z', mag: '+y-x+z' },
    },
  },
  {
    ...within,
    kind: 'reading entered',
    id: '1',
    sighting: 'north',
    acc: [0.1, 0.2, 0.97],
    mag: [20, 3, -40],
    temperature: 11.5,
    aim: { azimuth: 10, inclination: -5, roll: 90 },
  },
];

const walkedAndOthers = async (): Promise<Entry[]> => {
  const { bench, entries } = await walkedEntries();
  return [...entries.map((stored) => asWritten(bench, stored).entry), ...OTHERS];
};

it('passes every entry, of all kinds, that a whole life of a board writes, and leaves it as it was', async () => {
  const reached = new Set<EntryKind>();
  for (const entry of await walkedAndOthers()) {
    const checked = checkEntry(entry);
    expect(checked).toEqual({ ok: true, entry });
    // and after it was a file
    expect(checkEntry(JSON.parse(JSON.stringify(entry)))).toEqual({ ok: true, entry });
    reached.add(entry.kind);
  }
  const kinds = Object.keys(ENTRY_SCHEMAS) as EntryKind[];
  expect(kinds.filter((kind) => !reached.has(kind))).toEqual([]);
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
  const byKind = new Map((await walkedAndOthers()).map((entry) => [entry.kind, entry]));
  for (const [kind, entry] of byKind) {
    expect(checkEntry({ ...entry, unheard: 1 }).ok, `${entry.kind} with a field more`).toBe(false);
    const fields: v.ObjectEntries = ENTRY_SCHEMAS[kind].entries;
    const needed = Object.keys(fields).filter((field) => fields[field]!.type !== 'exact_optional');
    expect(needed).toEqual(expect.arrayContaining(['kind', 'board', 'time']));
    for (const field of needed) {
      const rest = without(entry, field as keyof Entry);
      expect(checkEntry(rest).ok, `${entry.kind} without ${field}`).toBe(false);
    }
  }
}, 60_000);

it('refuses a check of a site at no spot at all', async () => {
  const entry = (await walkedAndOthers()).find(({ kind }) => kind === 'site checked')!;
  const checked = checkEntry({ ...entry, spots: [] });
  expect(!checked.ok && checked.issues[0]!.message).toBe('it must have one item at least');
});

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
