import { describe, expect, it } from 'vitest';
import { CONDUCT } from '../../firmware-sim/image-slots.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import { inShortAfter, type BoardInShort } from '../../src/records/board-in-short.ts';
import { setCrc } from '../../src/protocol/messages.ts';
import type { Entry, EntryKind, StoredEntry } from '../../src/records/entries.ts';
import { foldHistory, provesNow, writable } from '../../src/steps/calibration-state.ts';
import { openUpdate } from '../../src/steps/care/care-history.ts';
import { without } from '../../src/steps/copy-without.ts';
import { setsOfBoard } from '../../src/steps/logbook/sets-of-board.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** What a bench makes of a board's history of which another bench wrote a part. */

const IMAGE = formatImage({
  hardware: 'simulated 1',
  version: '1.1',
  program: Uint8Array.from({ length: 100 }, (_, i) => (i === 0 ? CONDUCT.healthy : i)),
  resetsSettings: true,
  replacesCoefficients: true,
});

/** Another bench with an empty logbook, to which the very same boards are linked. */
async function withSameBoards(on: BenchInProcess): Promise<BenchInProcess> {
  const other = await BenchInProcess.opened();
  for (const [key, value] of on.kept) await other.records.keep(key, value);
  await other.reload();
  return other;
}

/** All that a bench takes out, as if it had been taken out right after the newest entry of a kind. */
async function takenOutAfter(on: BenchInProcess, kind: EntryKind): Promise<Blob> {
  const file = await on.bench.exchange.takeOut();
  const content = JSON.parse(await file!.content.text());
  const kinds: EntryKind[] = content.entries.map((each: { entry: { kind: EntryKind } }) => each.entry.kind); // prettier-ignore
  expect(kinds).toContain(kind);
  const entries = content.entries.slice(0, kinds.lastIndexOf(kind) + 1);
  return new Blob([JSON.stringify({ ...content, entries })]);
}

async function bringIn(on: BenchInProcess, file: Blob): Promise<void> {
  await on.bench.exchange.bringIn(file);
  expect(on.bench.exchange.state.trouble).toBeUndefined();
  expect(on.bench.exchange.state.said).toContain('Brought in');
}

it('goes on with no change of firmware that another bench began: nothing is written to the board', async () => {
  const there = await BenchInProcess.opened();
  await there.ask('link', 'begin', 'take rest', 'fit', 'write');
  there.place.care.want('sleep', '25');
  await there.run(there.place.care.sendSettings());
  await there.run(there.place.care.chooseFirmware('some.lodefw', IMAGE));
  await there.run(there.place.care.updateFirmware());
  expect(there.state.history.care.update?.phase).toBe('finished');
  const file = await takenOutAfter(there, 'update swapped');

  const here = await withSameBoards(there);
  await here.ask('link');
  here.place.care.want('sleep', '40');
  await here.run(here.place.care.sendSettings());
  const { inForce, care } = here.state.history;
  expect(care.settings?.settings.find(({ name }) => name === 'sleep')?.value).toBe('40');
  await here.ask('unlink');
  await bringIn(here, file);
  await here.reload();
  await here.ask('link');
  expect(here.state.trouble).toBeUndefined();
  expect(here.state.history.inForce).toEqual(inForce);
  expect(here.state.history.care.settings).toMatchObject({
    revision: care.settings!.revision,
    settings: care.settings!.settings,
  });
  expect(openUpdate(here.state.history.care)).toBeUndefined();
}, 30_000);

it('settles no seal that another bench began', async () => {
  const there = await BenchInProcess.opened();
  await there.ask('link', 'begin', 'take rest', 'fit', 'write');
  const file = await takenOutAfter(there, 'seal begun');
  const here = await withSameBoards(there);
  await bringIn(here, file);
  await here.ask('link');
  expect(here.state.trouble).toBeUndefined();
  expect(here.calibration.sealBegun).toBeUndefined();
  expect((await here.logbook()).map(({ kind }) => kind)).not.toContain('sealed');
}, 30_000);

const inShort = (entries: readonly StoredEntry[]) =>
  entries.reduce(inShortAfter, undefined as BoardInShort | undefined);

/** As if another bench had written an entry right before one of these. */
function withForeign(entries: readonly StoredEntry[], before: EntryKind, entry: Entry) {
  const at = entries.findLastIndex(({ kind }) => kind === before);
  expect(at).toBeGreaterThan(-1);
  const stored: StoredEntry = { ...entry, number: 1e6, foreign: { bench: 'B', number: 1 } };
  return entries.toSpliced(at, 0, stored);
}

const lastOf = <K extends EntryKind>(entries: readonly StoredEntry[], kind: K) => {
  const found = entries.findLast((entry) => entry.kind === kind);
  return found as Extract<StoredEntry, { kind: K }>;
};

const asWritten = ({ number: _, foreign: __, ...entry }: StoredEntry) => entry as Entry;

describe('what was sealed is the set with that check, although another bench staged one meanwhile', () => {
  it.each(['with a check of its own', 'with the same check, falsely'])('%s', async (how) => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take rest', 'fit', 'write');
    const entries = await on.logbook();
    const { sealed } = on.calibration;
    const own = lastOf(entries, 'staged');
    const set = { ...own.set, values: own.set.values.map((value) => 2 * value) };
    const crc = how.includes('falsely') ? own.crc : setCrc(set);
    const mixed = withForeign(entries, 'sealed', { ...asWritten(own), kind: 'staged', set, crc } as Entry); // prettier-ignore
    expect(foldHistory(mixed).calibration!.sealed).toEqual(sealed);
    const [first, ...others] = setsOfBoard(mixed).sets;
    expect(first).toMatchObject({ crc: own.crc, generations: [1], onBoard: 'in force' });
    expect(others).toEqual([]);
  });
});

it('does not write a fit that took the place of the one shown, though it bears the same name', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  const shown = writable(on.calibration)!; // with the question whether to write open
  const own = lastOf(await on.logbook(), 'fit');
  const { o } = own.coefficients;
  const coefficients = { ...own.coefficients, o: [o[0] + 1, o[1], o[2]] as const };
  const time = new Date(Date.parse(own.time) + 1000).toISOString(); // of one time, chance would say which is the newer
  const entry = { ...asWritten(own), coefficients, time } as Entry;
  await on.records.merge([{ bench: 'B', number: 1, entry }]);
  await on.reload();
  await on.ask('link');
  expect(on.calibration.fit).toMatchObject({ id: own.id, stale: false, coefficients });
  await on.run(on.place.write(shown.id));
  expect(on.state.trouble?.heading).toBe('Not written: the readings have changed');
  expect((await on.logbook()).map(({ kind }) => kind)).not.toContain('staged');
});

it('holds another fit with the name of the sealed one for newer, and does not prove it', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write');
  const { history } = on.state;
  expect(provesNow(history)).toBe(true);
  const { calibration } = history;
  const { fit } = calibration!;
  const { o } = fit!.coefficients;
  const coefficients = { ...fit!.coefficients, o: [o[0] + 1, o[1], o[2]] as const };
  const other = { ...history, calibration: { ...calibration!, fit: { ...fit!, coefficients } } };
  expect(provesNow(other as typeof history)).toBe(false);
});

it('counts once what two benches recorded of one happening, and what was proven stays so', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove');
  const entries = await on.logbook();
  const { readings, proofReadings, proof, sealed } = on.calibration;
  expect(proof?.passed).toBe(true);
  const kinds: EntryKind[] = ['reading', 'sealed', 'proof reading'];
  const later = new Date(Date.parse(entries.at(-1)!.time) + 1000).toISOString();
  const theirs = entries.flatMap((entry, i): StoredEntry[] =>
    kinds.includes(entry.kind)
      ? [{ ...entry, time: later, number: 1e6 + i, foreign: { bench: 'B', number: i } }]
      : [],
  );
  const { calibration } = foldHistory([...entries, ...theirs]);
  expect(calibration!.readings).toEqual(readings);
  expect(calibration!.proofReadings).toEqual(proofReadings);
  expect(calibration!.sealed).toEqual(sealed);
  expect(calibration!.proof).toEqual(proof);
  expect(calibration!.fit?.stale).toBe(false);

  const short = inShort(entries)!;
  expect(short.proof?.passed).toBe(true);
  const { proof: stillProven, since } = inShort([...entries, ...theirs])!;
  expect(stillProven).toEqual(short.proof);
  expect(since.inForce).toEqual(short.since.inForce);
});

it('shows once what two benches recorded of one set, and still knows the one before', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
  await on.ask('begin', 'take rest', 'fit', 'write', 'prove', 'revert');
  const entries = await on.logbook();
  const kinds: EntryKind[] = ['sealed', 'proof', 'reverted'];
  const twice = entries.flatMap((entry, i): StoredEntry[] => {
    const theirs = { ...entry, number: 1e6 + i, foreign: { bench: 'B', number: i } };
    return kinds.includes(entry.kind) ? [entry, theirs] : [entry];
  });
  const { sets } = setsOfBoard(entries);
  expect(sets.map(({ onBoard, proofs }) => [onBoard, proofs.length])).toEqual([
    ['in force', 1],
    ['previous', 1],
  ]);
  const untilHere = (kind: EntryKind, all: readonly StoredEntry[]) =>
    all.slice(0, all.findLastIndex((entry) => entry.kind === kind) + 1);
  for (const kind of kinds) {
    const once = setsOfBoard(untilHere(kind, entries)).sets;
    expect(setsOfBoard(untilHere(kind, twice)).sets).toEqual(once);
  }
});

it('holds the same set, sealed anew on a repaired board, for one that is not proven', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove');
  const entries = await on.logbook();
  const { sealed } = on.calibration;
  const begun = lastOf(entries, 'seal begun');
  const bare = without(lastOf(entries, 'coefficients saved'), 'inForce', 'previous');
  const anew = [...entries, bare, begun, lastOf(entries, 'sealed')] as StoredEntry[];
  const { calibration } = foldHistory(anew);
  expect(calibration!.sealed).toEqual(sealed);
  expect(calibration!.proof).toBeUndefined();
  expect(inShort(anew)!.proof).toBeUndefined();
  const [set] = setsOfBoard(anew).sets;
  expect(set!.events.filter(({ kind }) => kind === 'sealed')).toHaveLength(2);
  expect(set!.onBoard).toBe('in force');
});
