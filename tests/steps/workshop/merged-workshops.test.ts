import 'fake-indexeddb/auto';
import fc from 'fast-check';
import { IDBFactory } from 'fake-indexeddb';
import { expect, it } from 'vitest';
import type { Entry } from '../../../src/records/entries.ts';
import { readLogbookFile } from '../../../src/records/logbook-file-reader.ts';
import { writeLogbook } from '../../../src/records/logbook-file.ts';
import { openLogbook, type Logbook } from '../../../src/records/logbook.ts';
import type { Note } from '../../../src/records/papers.ts';
import { foldHistory } from '../../../src/steps/calibration-state.ts';
import { kitRow, workshopNow, type WorkshopNow } from '../../../src/steps/workshop/roster.ts';
import { foldWorkshop } from '../../../src/steps/workshop/workshop-records.ts';
import { someWorkshopNotes } from '../../records/some-notes.ts';

const PAPER = 'a'.repeat(32);
const minute = (n: number) => new Date(Date.UTC(2031, 4, 1, 9, n)).toISOString();

const opened: Note = {
  id: 'f'.repeat(32),
  paper: PAPER,
  of: 'workshop',
  time: minute(0),
  body: {
    kind: 'workshop set out',
    name: 'Spring',
    place: '',
    day: '2031-05-01',
    tolerance: { degrees: 1 },
  },
};

const ROLLS = [0, 90, 180, 270];

/** A calibration of a board as one bench recorded the first so many of its readings. */
const calibrationOf = (board: string, readings: number): Entry[] => {
  const within = { board, calibration: `${board} one` };
  const aims = ROLLS.map((roll) => ({ azimuth: 0, inclination: 0, roll }));
  const plan = {
    name: 'some',
    sightings: [{ sighting: 'A', azimuth: 0, inclination: 0, rolls: ROLLS }],
    azimuths: 'absolute' as const,
  };
  return [
    { ...within, kind: 'calibration started', time: minute(1), plan },
    ...aims.slice(0, readings).map((aim, i): Entry => ({
      ...within,
      kind: 'reading',
      time: minute(2 + i),
      id: `${i + 1}`,
      sighting: 'A',
      aim,
      reading: { reading: i + 1, generation: 0, acc: [i, 0, 1000], mag: [1, i, 2] },
    })),
  ];
};

async function newBench(entries: readonly Entry[], notes: readonly Note[]): Promise<Logbook> {
  const logbook = await openLogbook({ indexedDB: new IDBFactory() });
  if (!logbook.ok) throw new Error(logbook.message);
  await logbook.append(...entries);
  await logbook.write(opened, ...notes);
  return logbook;
}

/** The file of the workshop as another computer reads it. */
async function exported(logbook: Logbook) {
  const head = { exported: minute(30), bench: logbook.bench, holds: { paper: PAPER } };
  let text = '';
  const notes = await logbook.notesOf(PAPER);
  for await (const part of writeLogbook(head, logbook.batches(), notes)) text += part;
  const read = await readLogbookFile(new TextEncoder().encode(text));
  if (!read.ok) throw new Error(JSON.stringify(read));
  return read;
}

/** The roster at that computer, where no board is linked; whose entries they are it says in its own words. */
async function rosterAt(logbook: Logbook): Promise<WorkshopNow> {
  const records = foldWorkshop(await logbook.notesOf(PAPER))!;
  const rows = await Promise.all(
    records.kits.map(async (kit) => {
      const entries = kit.serial === '' ? [] : await logbook.entriesOfBoard(kit.serial);
      const last = entries.at(-1);
      const known = last ? { logged: { history: foldHistory(entries), time: last.time } } : {};
      return kitRow(kit, known, records);
    }),
  );
  return workshopNow(records, rows, []);
}

it('shows one roster, stages and all, at every computer that has the exports of all, in whatever order and however often they came', async () => {
  await fc.assert(
    fc.asyncProperty(
      fc.tuple(someWorkshopNotes, fc.array(fc.nat(2), { minLength: 30, maxLength: 30 })),
      fc.tuple(fc.nat(4), fc.nat(4), fc.nat(4)),
      fc.array(fc.tuple(fc.nat(2), fc.nat(2)), { maxLength: 8 }),
      async ([notes, whose], readings, before) => {
        const parts = [0, 1, 2].map((b) => notes.filter((_, i) => whose[i % 30] === b));
        const benches = await Promise.all(
          parts.map((part, b) => newBench(calibrationOf('B1', readings[b]!), part)),
        );
        const exports = await Promise.all(benches.map(exported));
        const late = await newBench([], []);
        for (const [from, to] of before) {
          await benches[to]!.merge(exports[from]!.entries, exports[from]!.notes);
        }
        const all = [...benches, late];
        for (const [i, bench] of all.entries()) {
          for (const at of [i, i + 1, i + 2, i]) {
            const { entries, notes } = exports[at % 3]!;
            await bench.merge(entries, notes);
          }
        }
        const rosters = await Promise.all(all.map(rosterAt));
        for (const roster of rosters) expect(roster).toEqual(rosters[0]);
        const row = rosters[0]!.kits.find(({ serial }) => serial === 'B1');
        const seenLater = notes.some(({ body }) => body.kind === 'board seen');
        if (row && !seenLater) {
          expect(row.stage.words).toBe(`readings ${Math.max(...readings)} of 4`);
        }
      },
    ),
    { numRuns: 12 },
  );
});
