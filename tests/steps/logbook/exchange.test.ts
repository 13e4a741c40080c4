import { beforeAll, describe, expect, it } from 'vitest';
import { readReadings } from '../../../src/records/readings-csv.ts';
import type { Entry } from '../../../src/records/entries.ts';
import { readLogbookFile } from '../../../src/records/logbook-file-reader.ts';
import { asWritten } from '../../../src/records/logbook-file.ts';
import type { ForeignEntry } from '../../../src/records/logbook.ts';
import { openSlots } from '../../../src/steps/calibration-state.ts';
import { fitFile } from '../../../src/steps/fit-file.ts';
import { BenchInProcess } from '../bench-in-process.ts';

/** A bench with a calibration that is done and another that is under way. */
let on: BenchInProcess;
let serial: string;

beforeAll(async () => {
  on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest');
  await on.run(on.place.mark({ does: 'set aside', reading: '3', reason: 'A van drove by' }));
  await on.ask('fit', 'write', 'prove', 'end', 'begin', 'take sighting');
  serial = on.state.history.identity!.serial;
}, 60_000);

async function takenOut(bench: BenchInProcess, holds = {}): Promise<Blob> {
  const file = await bench.bench.exchange.takeOut(holds);
  return file!.content;
}

async function entriesIn(file: Blob): Promise<readonly ForeignEntry[]> {
  const read = await readLogbookFile(new Uint8Array(await file.arrayBuffer()));
  if (!read.ok) throw new Error(JSON.stringify(read));
  return read.entries;
}

const all = async ({ records }: BenchInProcess): Promise<ForeignEntry[]> => {
  const found: ForeignEntry[] = [];
  for await (const batch of records.batches()) {
    found.push(...batch.map((stored) => asWritten(records.bench, stored)));
  }
  return found;
};

const bringIn = async (bench: BenchInProcess, file: Blob) => {
  await bench.bench.exchange.bringIn(file);
  return bench.bench.exchange.state;
};

/** Another bench that has linked a board of its own. */
async function foreignBench(): Promise<BenchInProcess> {
  const other = await BenchInProcess.opened({ seed: 5 });
  await other.ask('link');
  return other;
}

it('gives an empty logbook the same entries, and that one gives them out again the same', async () => {
  const file = await takenOut(on);
  const other = await BenchInProcess.opened();
  const state = await bringIn(other, file);
  expect(state.trouble).toBeUndefined();
  expect(state.said).toMatch(/^Brought in: \d+ entries of one board\.$/);
  expect(await entriesIn(await takenOut(other))).toEqual(await entriesIn(file));
  expect((await other.records.boardsInShort()).map((board) => board.calibrations)).toEqual([2]);
});

it('adds nothing when the same is brought in twice, there or where it came from', async () => {
  const file = await takenOut(on);
  const other = await BenchInProcess.opened();
  await bringIn(other, file);
  const before = await all(other);
  expect((await bringIn(other, file)).said).toContain('was here already');
  expect(await all(other)).toEqual(before);
  const own = await all(on);
  expect((await bringIn(on, file)).said).toContain('was here already');
  expect((await bringIn(on, await takenOut(other))).said).toContain('was here already');
  expect(await all(on)).toEqual(own);
});

it('merges what another bench has of the same board, and work goes on right afterwards', async () => {
  const here = await on.copy();
  await here.reload();
  const other = await BenchInProcess.opened();
  await other.ask('link', 'begin', 'take sighting', 'leave');
  // that bench’s work was before this one’s, as a board is at one bench at a time
  const file = await takenOut(other);
  const earlier = (await file.text()).replaceAll('"2031-05', '"2030-05').replaceAll(' 2031-05', ' 2030-05'); // prettier-ignore
  const before = openSlots(here.calibration).length;
  const { said, trouble } = await bringIn(here, new Blob([earlier]));
  expect(trouble).toBeUndefined();
  expect(said).toMatch(/^Brought in: \d+ entries of one board\.$/);
  await here.pass(200);
  if (here.state.link.state !== 'linked') await here.ask('link');
  await here.ask('take one');
  expect(here.state.trouble).toBeUndefined();
  expect(openSlots(here.calibration)).toHaveLength(before - 1);
  expect((await here.records.boardsInShort())[0]!.calibrations).toBe(3);
}, 30_000);

it('refuses a calibration begun after the one under way, which would take its place', async () => {
  const here = await on.copy();
  await here.reload();
  const other = await BenchInProcess.opened();
  await other.ask('link', 'begin');
  const later = (await (await takenOut(other)).text()).replaceAll('"2031-05-01', '"2031-05-02').replaceAll(' 2031-05-01', ' 2031-05-02'); // prettier-ignore
  const before = await all(here);
  const { trouble } = await bringIn(here, new Blob([later]));
  expect(trouble?.message).toContain(`A calibration of board ${serial} is under way`);
  expect(await all(here)).toEqual(before);
});

/** A file of all that a bench has, and of entries that another wrote, one after the other. */
async function written(beside: BenchInProcess, entries: readonly Entry[]): Promise<Blob> {
  const file = JSON.parse(await (await takenOut(beside)).text()) as { entries: ForeignEntry[] };
  const bench = 'f'.repeat(32);
  file.entries.push(...entries.map((entry, i) => ({ bench, number: i + 1, entry })));
  return new Blob([JSON.stringify(file)]);
}

describe('a file whose entries would change the calibration under way', () => {
  const stamp = () => {
    const { id, started } = on.calibration;
    return { board: serial, calibration: id, time: started };
  };
  const begunAt = (time: string): Entry => ({
    kind: 'calibration started',
    board: serial,
    calibration: `${serial} elsewhere`,
    time,
    plan: on.calibration.plan,
  });
  const earlier = (time: string, seconds: number) =>
    new Date(Date.parse(time) - seconds * 1000).toISOString();
  const files: Record<string, () => Entry[]> = {
    'its end': () => [
      { ...stamp(), kind: 'calibration ended', outcome: 'abandoned', reason: 'None' },
    ],
    'a reading': () => {
      const [first] = on.calibration.readings;
      const reading = { ...first!.reading, reading: first!.reading.reading + 1000 };
      return [{ ...stamp(), kind: 'reading', id: 'x', reading }];
    },
    'a reading set aside': () => {
      const time = new Date(Date.parse(stamp().time) + 3_600_000).toISOString();
      const { id } = on.calibration.readings[0]!;
      return [{ ...stamp(), time, kind: 'set aside', reading: id, reason: 'None', by: 'person' }];
    },
    'one begun after it by a clock that was set back then': () => [
      { board: serial, time: stamp().time, kind: 'note', text: 'Before the clock was set' },
      begunAt(earlier(stamp().time, 60)),
    ],
  };

  it.each(Object.keys(files))('is refused: %s', async (what) => {
    const here = await on.copy();
    await here.reload();
    const before = await all(here);
    const { trouble } = await bringIn(here, await written(here, files[what]!()));
    expect(trouble?.message).toContain(`A calibration of board ${serial} is under way`);
    expect(await all(here)).toEqual(before);
  });

  it('is taken in where it changes nothing of it', async () => {
    const here = await on.copy();
    await here.reload();
    const before = here.calibration;
    const file = await written(here, [begunAt(earlier(stamp().time, 60))]);
    expect((await bringIn(here, file)).said).toMatch(/^Brought in: one entry/);
    await here.reload();
    expect(here.calibration).toEqual(before);
  });
});

it('refuses entries of a time that is yet to come, which would stay the newest for ever, by name', async () => {
  const other = await BenchInProcess.opened();
  const entry = { kind: 'note', board: serial, time: '9999-01-01T00:00:00.000Z', text: 'x' } as const; // prettier-ignore
  const { trouble } = await bringIn(other, await written(on, [entry]));
  expect(trouble?.message).toContain('a time that is yet to come');
  expect(trouble?.problems).toEqual([
    {
      path: expect.stringMatching(/^entries\[\d+\]\.entry\.time$/) as string,
      what: `“note” of board ${serial}, entry 1 of bench ffffffff, is of 9999-01-01T00:00:00.000Z`,
    },
  ]);
  expect(await all(other)).toEqual([]);
});

it('brings nothing in where another page has the bench, and says so', async () => {
  const other = await on.copy();
  other.isAlone = false;
  await other.reload();
  const file = await takenOut(await foreignBench());
  const before = await all(other);
  const { trouble } = await bringIn(other, file);
  expect(trouble?.heading).toBe('Another page holds the bench');
  expect(await all(other)).toEqual(before);
  // and once that page is closed
  other.isAlone = true;
  expect((await bringIn(other, file)).said).toMatch(/^Brought in/);
});

it('says so where the file that was chosen cannot be read', async () => {
  const file = new Blob(['{}']);
  file.arrayBuffer = () => Promise.reject(new DOMException('gone', 'NotReadableError'));
  const { said, trouble, work } = await bringIn(on, file);
  expect({ said, work }).toEqual({ said: '', work: undefined });
  expect(trouble?.message).toMatch(/^The file could not be read.*Nothing was changed/);
});

it('is at work while it takes out or brings in, and says so, so that no newer version interrupts it', async () => {
  const { bench } = await BenchInProcess.opened();
  const told: boolean[] = [];
  bench.subscribe(() => told.push(bench.isAtWork));
  const file = await bench.exchange.takeOut();
  expect([told[0], told.at(-1)]).toEqual([true, false]);
  told.length = 0;
  await bench.exchange.bringIn(file!.content);
  expect([told[0], told.at(-1)]).toEqual([true, false]);
});

describe('an entry that differs from the one that is here', () => {
  const changed = async () => {
    const text = await (await takenOut(on)).text();
    return new Blob([text.replace('A van drove by', 'A bus drove by')]);
  };

  it('keeps everything out, by name', async () => {
    const before = await all(on);
    const { trouble, said } = await bringIn(on, await changed());
    expect(said).toBe('');
    expect(trouble!.problems).toHaveLength(1);
    expect(trouble!.problems[0]!.path).toMatch(/^entries\[\d+\]$/);
    expect(trouble!.problems[0]!.what).toContain(`“set aside” of board ${serial}`);
    expect(await all(on)).toEqual(before);
  });

  it('is kept beside it where a person wants both, and is here already from then on', async () => {
    const other = await BenchInProcess.opened();
    await bringIn(other, await takenOut(on));
    const before = (await all(other)).length;
    await bringIn(other, await changed());
    await other.bench.exchange.bringInAllTheSame();
    expect(other.bench.exchange.state.said).toMatch(/^Brought in: one entry of one board\./);
    expect(await all(other)).toHaveLength(before + 1);
    expect((await bringIn(other, await changed())).said).toContain('was here already');
    expect(await all(other)).toHaveLength(before + 1);
    // and such a logbook, taken out, can be brought in elsewhere
    const third = await BenchInProcess.opened();
    expect((await bringIn(third, await takenOut(other))).trouble).toBeUndefined();
    expect(await all(third)).toHaveLength(before + 1);
  });
});

it('refuses a calibration that is another board’s here', async () => {
  const text = (await (await takenOut(on)).text()).replaceAll(`"board":"${serial}"`, '"board":"OTHER"'); // prettier-ignore
  const renumbered = text.replaceAll(/"number":(\d+)/g, (_, n: string) => `"number":${Number(n) + 1e6}`); // prettier-ignore
  const before = await all(on);
  const { trouble } = await bringIn(on, new Blob([renumbered]));
  expect(trouble?.problems[0]!.what).toContain(`is of board ${serial} here`);
  expect(await all(on)).toEqual(before);
});

it('takes one calibration out with what its board was, so that it can be judged elsewhere', async () => {
  const { id } = on.calibration;
  const entries = await entriesIn(await takenOut(on, { board: serial, calibration: id }));
  const kinds = entries.map(({ entry }) => entry.kind);
  expect(kinds.slice(0, 3)).toEqual(['board linked', 'coefficients saved', 'calibration started']);
  expect(entries.slice(2).every(({ entry }) => entry.calibration === id)).toBe(true);
  expect(kinds.filter((kind) => kind === 'reading')).toHaveLength(4);
});

it('takes readings out that fit to the same coefficients, those set aside in comments', async () => {
  const calibration = (await on.logbook()).find(
    ({ kind }) => kind === 'calibration started',
  )!.calibration!;
  const { content } = (await on.bench.exchange.takeOutReadings(serial, calibration))!;
  const text = await content.text();
  expect(text).toContain('# set aside: A van drove by\n');
  const read = readReadings(new TextEncoder().encode(text));
  if (!read.ok) throw new Error(read.message);
  expect(read.readings).toHaveLength(55);
  const { accMounting: acc, magMounting: mag } = on.state.history.identity!;
  const fit = fitFile(read, { mounting: { acc: acc!, mag: mag! } });
  if (!fit.ok) throw new Error(fit.message);
  const here = (await on.logbook()).find((entry) => entry.kind === 'fit')!;
  const wanted = here.kind === 'fit' ? here.coefficients : undefined;
  expect(fit.coefficients.model).toBe(wanted!.model);
  for (const part of ['o', 'A', 'p', 'B', 'q'] as const) {
    fit.coefficients[part].forEach((value, i) => {
      // both stop near one minimum, whose standard errors are a hundred times this; the start of the noise differs
      expect(Math.abs(value - wanted![part][i]!)).toBeLessThan(1e-5);
    });
  }
}, 30_000);

it('does nothing with a file that is none, and says so', async () => {
  const before = await all(on);
  const { trouble, said } = await bringIn(on, new Blob(['id,ax,ay\n1,2,3\n']));
  expect(said).toBe('');
  expect(trouble?.message).toMatch(/^The file is not JSON.*Nothing was changed\.$/);
  expect(await all(on)).toEqual(before);
});
