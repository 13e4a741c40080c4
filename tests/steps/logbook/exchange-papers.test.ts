import { beforeAll, expect, it } from 'vitest';
import { readLogbookFile } from '../../../src/records/logbook-file-reader.ts';
import { randomId, timeAfter, type Note } from '../../../src/records/papers.ts';
import type { WorkshopNote } from '../../../src/records/workshop-notes.ts';
import { BenchInProcess } from '../bench-in-process.ts';

const PAPER = 'c0ffee'.padEnd(32, '0');

/** What a note of a check course may be. */
const COURSE = { kind: 'shot taken back', shot: 'a'.repeat(32) };

/** A bench with a board, two workshops, and a board that is in neither. */
let on: BenchInProcess;
let serial: string;
let notes: Note[];

beforeAll(async () => {
  on = await BenchInProcess.opened();
  await on.ask('link');
  serial = on.state.history.identity!.serial;
  on.bench.linkAnother();
  await on.ask('link');
  notes = [];
  const bodies: WorkshopNote[] = [
    { kind: 'workshop set out', name: 'Spring', place: '', day: '2031-05-01', tolerance: { degrees: 1 } },
    { kind: 'kit added', kit: 'k1', serial },
  ]; // prettier-ignore
  for (const body of bodies) {
    const time = timeAfter(notes, new Date());
    notes.push({ id: randomId(), paper: PAPER, of: 'workshop', time, body });
  }
  const other = { ...notes[0]!, id: randomId(), paper: 'd'.repeat(32) };
  await on.bench.papers.write(...notes, other);
}, 30_000);

const contentOf = async (file: Blob | undefined) => {
  const read = await readLogbookFile(new Uint8Array(await file!.arrayBuffer()));
  if (!read.ok) throw new Error(JSON.stringify(read));
  return read;
};

const bringIn = async (bench: BenchInProcess, file: Blob) => {
  await bench.bench.exchange.bringIn(file);
  return bench.bench.exchange.state;
};

const changed = async (file: Blob, change: (content: { notes: Note[] }) => void) => {
  const content = JSON.parse(await file.text()) as { notes: Note[] };
  change(content);
  return new Blob([JSON.stringify(content)]);
};

it('takes all papers out with everything, and none with one board', async () => {
  const whole = await contentOf((await on.bench.exchange.takeOut())!.content);
  expect(whole.notes).toHaveLength(3);
  const board = await contentOf((await on.bench.exchange.takeOut({ board: serial }))!.content);
  expect(board.notes).toEqual([]);
});

it('takes one paper out with the boards it is of, and an empty logbook gets just these', async () => {
  const file = (await on.bench.exchange.takeOutPaper(PAPER, [serial, serial]))!;
  expect(file.name).toMatch(/^workshop Spring .*json$/);
  const read = await contentOf(file.content);
  expect(read.holds).toEqual({ paper: PAPER });
  expect(read.notes).toEqual(notes);
  expect(new Set(read.entries.map(({ entry }) => entry.board))).toEqual(new Set([serial]));
  const other = await BenchInProcess.opened();
  const heard: string[] = [];
  other.bench.papers.subscribe(({ papers }) => heard.push(...papers));
  expect((await bringIn(other, file.content)).said).toMatch(
    /^Brought in: \d+ entries of one board, and 2 notes\.$/,
  );
  expect(heard).toEqual([PAPER]);
  expect(await other.bench.papers.notesOf(PAPER)).toEqual(notes);
  expect(await other.records.boards()).toEqual([serial]);
  expect((await bringIn(other, file.content)).said).toMatch(
    /^Everything in the file was here already \(\d+ entries of one board, and 2 notes\)/,
  );
  expect(await other.bench.papers.papers('workshop')).toMatchObject([{ name: 'Spring', notes: 2 }]);
});

it('refuses a file whose notes differ from those here, are of another kind of paper, or of a time to come', async () => {
  const { content: file } = (await on.bench.exchange.takeOut())!;
  const other = await BenchInProcess.opened();
  await bringIn(other, (await on.bench.exchange.takeOutPaper(PAPER, []))!.content);
  const ofPaper = (content: { notes: Note[] }) =>
    content.notes.find(({ paper, body }) => paper === PAPER && 'name' in (body as object))!;
  const tries: [(content: { notes: Note[] }) => void, RegExp][] = [
    [(content) => Object.assign(ofPaper(content).body as object, { name: 'Autumn' }), /differ/],
    [
      (content) => {
        content.notes = content.notes.filter(({ paper }) => paper !== PAPER);
        content.notes[0]!.paper = PAPER;
        content.notes[0]!.of = 'course';
        content.notes[0]!.body = { ...COURSE };
      },
      /differ/,
    ],
    [
      (content) =>
        content.notes.push({
          ...ofPaper(content),
          id: randomId(),
          time: '2199-01-01T00:00:00.000Z',
        }),
      /yet to come/,
    ],
  ];
  for (const [change, why] of tries) {
    const state = await bringIn(other, await changed(file, change));
    expect(state.trouble?.message).toMatch(why);
    expect(state.trouble?.message).toContain('othing was changed');
    expect(state.trouble?.problems[0]?.path).toMatch(/^notes\[\d\]/);
    expect(await other.bench.papers.papers('workshop')).toHaveLength(1);
    expect(await other.records.boards()).toEqual([]);
  }
  expect((await bringIn(other, file)).trouble).toBeUndefined();
  expect(await other.bench.papers.papers('workshop')).toHaveLength(2);
});
