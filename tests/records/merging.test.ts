import 'fake-indexeddb/auto';
import fc from 'fast-check';
import { IDBFactory } from 'fake-indexeddb';
import { expect, it } from 'vitest';
import { inShortAfter } from '../../src/records/board-in-short.ts';
import type { Entry, StoredEntry } from '../../src/records/entries.ts';
import {
  HIGHEST_NUMBER,
  openLogbook,
  type ForeignEntry,
  type Logbook,
} from '../../src/records/logbook.ts';
import { inReadingOrder } from '../../src/records/reading-order.ts';

async function newBench(): Promise<Logbook> {
  const logbook = await openLogbook({ indexedDB: new IDBFactory() });
  if (!logbook.ok) throw new Error(logbook.message);
  return logbook;
}

/** As a file has it that was taken out of a logbook. */
async function takenOut(logbook: Logbook, board?: string): Promise<ForeignEntry[]> {
  const out: ForeignEntry[] = [];
  for await (const batch of logbook.batches(board))
    out.push(...batch.map((each) => at(logbook, each)));
  return JSON.parse(JSON.stringify(out)) as ForeignEntry[];
}

function at(logbook: Logbook, { number, foreign, ...entry }: StoredEntry): ForeignEntry {
  return { ...(foreign ?? { bench: logbook.bench, number }), entry: entry as Entry };
}

const minute = (n: number) => new Date(Date.UTC(2031, 4, 1, 9, n)).toISOString();

const note = (board: string, n: number, text = 'dropped'): Entry => ({
  kind: 'note',
  board,
  time: minute(n),
  text,
});

const texts = (entries: readonly StoredEntry[]) =>
  entries.map((entry) => (entry.kind === 'note' ? entry.text : entry.kind));

/** What a board list is made of, and notes; times jump back and forth, as clocks do. */
const someEntry = fc
  .record({
    board: fc.constantFrom('B1', 'B2'),
    time: fc.integer({ min: 0, max: 12 }).map(minute),
    what: fc.oneof(
      fc.record({ kind: fc.constant('note'), text: fc.string({ maxLength: 3 }) }),
      fc.record({
        kind: fc.constant('sealed'),
        calibration: fc.constantFrom('c1', 'c2'),
        generation: fc.nat(9),
        crc: fc.constantFrom('00000001', '00000002'),
        replaced: fc.constant(0),
        known: fc.constant('answer'),
      }),
      fc.record({
        kind: fc.constant('renamed'),
        to: fc.string({ maxLength: 3 }),
        known: fc.constant('answer'),
      }),
    ),
  })
  .map(({ what, ...happening }) => ({ ...happening, ...what }) as Entry);

const someBenches = fc.array(fc.array(someEntry, { maxLength: 8 }), { minLength: 2, maxLength: 3 });

it('comes to the same entries in the same order, in whatever order and however often exports are brought in', async () => {
  await fc.assert(
    fc.asyncProperty(
      someBenches,
      fc.array(fc.record({ from: fc.nat(2), board: fc.option(fc.constantFrom('B1', 'B2')) })),
      fc.infiniteStream(fc.nat(2)),
      async (written, first, order) => {
        const benches = await Promise.all(
          written.map(async (entries) => {
            const bench = await newBench();
            await bench.append(...entries);
            return bench;
          }),
        );
        const exports = await Promise.all(benches.map((bench) => takenOut(bench)));
        const one = await newBench();
        // in parts, anyhow, again and again
        for (const { from, board } of first) {
          const some = exports[from % exports.length]!;
          const part = board === null ? some : some.filter(({ entry }) => entry.board === board);
          expect(await one.merge(part)).toMatchObject({ ok: true });
        }
        for (const each of exports) expect(await one.merge(each)).toMatchObject({ ok: true });
        // and from one to the next, each on top of what it wrote itself
        const everywhere = [...benches, await newBench(), one];
        for (let pass = 0; pass < 2; pass++) {
          for (const bench of everywhere) {
            for (let i = 0; i < exports.length; i++) {
              await bench.merge(exports[order.next().value % exports.length]!);
            }
            for (const each of exports) await bench.merge(each);
          }
        }
        const all = exports.flat().length;
        const whole = async (logbook: Logbook) => {
          const short = await logbook.boardsInShort();
          const boards = await logbook.boards();
          const entries = await Promise.all(boards.map((board) => logbook.entriesOfBoard(board)));
          const told = entries.map((some) => some.map((e) => at(logbook, e)));
          return { boards, short, told };
        };
        const expected = await whole(one);
        expect(expected.told.flat()).toHaveLength(all);
        for (const bench of everywhere) {
          expect(await whole(bench)).toEqual(expected);
          expect(await takenOut(bench)).toHaveLength(all);
        }
      },
    ),
    { numRuns: 60 },
  );
});

it('reads always the earliest of the entries that are next at each bench', () => {
  const benches = ['own', 'a', 'z'];
  fc.assert(
    fc.property(
      fc.array(fc.array(fc.integer({ min: 0, max: 9 }), { maxLength: 6 }), {
        minLength: 3,
        maxLength: 3,
      }),
      (times) => {
        const queues = times.map((own, b) =>
          own.map((time, i): StoredEntry => ({
            ...note('B1', time, `${benches[b]} ${i}`),
            number: b === 0 ? i + 1 : 100 * b + 7 * (6 - i), // as they came, not as they were written
            ...(b > 0 && { foreign: { bench: benches[b]!, number: i + 1 } }),
          })),
        );
        const given = queues.flat().reverse();
        const left = queues.map((queue, b) => ({ bench: benches[b]!, queue: [...queue] }));
        const expected: StoredEntry[] = [];
        while (expected.length < given.length) {
          const next = left
            .filter(({ queue }) => queue.length > 0)
            .sort((a, b) => (a.bench < b.bench ? -1 : 1))
            .reduce((best, each) => (each.queue[0]!.time < best.queue[0]!.time ? each : best));
          expected.push(next.queue.shift()!);
        }
        expect(texts(inReadingOrder('own', given))).toEqual(texts(expected));
      },
    ),
  );
});

it('never reorders one bench whose clock was set back, and puts another bench between by time', async () => {
  const [here, there] = [await newBench(), await newBench()];
  await here.append(note('B1', 10, 'a'), note('B1', 2, 'b, after the clock was set back'), note('B1', 30, 'c')); // prettier-ignore
  await there.append(note('B1', 5, 'x'), note('B1', 20, 'y'));
  await here.merge(await takenOut(there));
  const order = ['x', 'a', 'b, after the clock was set back', 'y', 'c'];
  expect(texts(await here.entriesOfBoard('B1'))).toEqual(order);
});

it('sums up a board that two benches wrote of in reading order, also when one of them writes on', async () => {
  const [here, ahead] = [await newBench(), await newBench()];
  const sealed = (n: number, generation: number): Entry => ({
    kind: 'sealed',
    board: 'B1',
    time: minute(n),
    calibration: 'c',
    generation,
    crc: `0000000${generation}`,
    replaced: generation - 1,
    known: 'answer',
  });
  await here.append(sealed(1, 1));
  await ahead.append(sealed(50, 3));
  await here.merge(await takenOut(ahead));
  expect(await here.boardsInShort()).toMatchObject([
    { entries: 2, since: { inForce: { generation: 3 } } },
  ]);
  await here.append(sealed(40, 2));
  expect(await here.boardsInShort()).toMatchObject([
    { entries: 3, since: { inForce: { generation: 3 } } },
  ]);
  await here.append(sealed(60, 4));
  expect(await here.boardsInShort()).toMatchObject([
    { entries: 4, since: { inForce: { generation: 4 } } },
  ]);
});

it('compares times, not their texts: another bench may write them with its offset from UTC', async () => {
  const here = await newBench();
  await here.append(note('B1', 10, 'here at nine ten'));
  const early = { ...note('B1', 0, 'there at nine five'), time: '2031-05-01T11:05:00+02:00' };
  await here.merge([{ bench: 'f', number: 1, entry: early }]);
  expect(texts(await here.entriesOfBoard('B1'))).toEqual([
    'there at nine five',
    'here at nine ten',
  ]);
  expect(await here.boardsInShort()).toMatchObject([
    { firstTime: '2031-05-01T11:05:00+02:00', lastTime: minute(10) },
  ]);
});

it('says how many came in and how many were here, and keeps whose they are', async () => {
  const [here, there] = [await newBench(), await newBench()];
  await here.append(note('B1', 0));
  await there.append(note('B1', 1, 'x'), note('B2', 2, 'y'));
  const file = await takenOut(there);
  expect(await here.merge(file.slice(0, 1))).toEqual({ ok: true, added: 1, already: 0 });
  expect(await here.merge(file)).toEqual({ ok: true, added: 1, already: 1 });
  expect(await here.merge(await takenOut(here))).toEqual({ ok: true, added: 0, already: 3 });
  expect(await here.entriesOfBoard('B2')).toEqual([
    { ...note('B2', 2, 'y'), number: 3, foreign: { bench: there.bench, number: 2 } },
  ]);
});

it('takes an entry that stands twice in a file once', async () => {
  const here = await newBench();
  const one = { bench: 'f', number: 1, entry: note('B1', 0) };
  expect(await here.merge([one, one])).toEqual({ ok: true, added: 1, already: 1 });
  const many = Array.from({ length: 1100 }, (_, i) => ({ ...one, number: 2 + (i % 1050) }));
  expect(await here.merge(many)).toEqual({ ok: true, added: 1050, already: 50 });
});

it('brings back, under their own numbers, entries of this bench that its logbook has lost', async () => {
  const indexedDB = new IDBFactory();
  const open = () => openLogbook({ indexedDB }) as Promise<Logbook>;
  const bench = await open();
  await bench.append(note('B1', 1, 'a'));
  const lost = [2, 3].map((n) => ({ bench: bench.bench, number: n, entry: note('B1', n, `${n}`) }));
  expect(await bench.merge(lost)).toEqual({ ok: true, added: 2, already: 0 });
  expect(await bench.append(note('B1', 9, 'new'))).toEqual({ ok: true, numbers: [4] });
  expect(texts(await bench.entriesOfBoard('B1'))).toEqual(['a', '2', '3', 'new']);
});

it('gives lost entries of this bench their numbers also where a file has others before them', async () => {
  const bench = await newBench();
  const theirs = { bench: 'f', number: 1, entry: note('B1', 1, 'theirs') };
  const own = [1, 2].map((n) => ({
    bench: bench.bench,
    number: n,
    entry: note('B1', n + 1, `${n}`),
  }));
  expect(await bench.merge([theirs, ...own])).toEqual({ ok: true, added: 3, already: 0 });
  const there = await bench.entriesOfBoard('B1');
  expect(there.map(({ number }) => number)).toEqual([3, 1, 2]);
  expect(await bench.merge([theirs, ...own])).toEqual({ ok: true, added: 0, already: 3 });
});

it('keeps both of two entries that differ under one number, as after a logbook was put back and written on', async () => {
  const bench = await newBench();
  await bench.append(note('B1', 1, 'written after it was put back'));
  const before = { bench: bench.bench, number: 1, entry: note('B1', 0, 'written before') };
  expect(await bench.merge([before])).toEqual({ ok: true, added: 1, already: 0 });
  expect(await bench.merge([before])).toEqual({ ok: true, added: 0, already: 1 });
  const both = ['written before', 'written after it was put back'];
  expect(texts(await bench.entriesOfBoard('B1'))).toEqual(both);
  const other = await newBench();
  await other.merge(await takenOut(bench));
  expect(texts(await other.entriesOfBoard('B1'))).toEqual(both);
});

it('adds nothing where two benches have the same two entries under one number the other way round', async () => {
  const [here, there, third] = [await newBench(), await newBench(), await newBench()];
  const [one, two] = ['one', 'two'].map((text, i) => ({
    bench: third.bench,
    number: 5,
    entry: note('B1', i, text),
  }));
  for (const each of [one!, two!]) await here.merge([each]);
  for (const each of [two!, one!]) await there.merge([each]);
  for (let pass = 0; pass < 2; pass++) {
    expect(await there.merge(await takenOut(here))).toEqual({ ok: true, added: 0, already: 2 });
    expect(await here.merge(await takenOut(there))).toEqual({ ok: true, added: 0, already: 2 });
  }
  for (const bench of [here, there]) {
    const marks = (await takenOut(bench)).map((each) => each.bench.slice(third.bench.length));
    expect(marks.sort()).toEqual(['', ' (2)']);
  }
  await here.merge([{ ...one!, bench: `${third.bench} (2)`, entry: note('B1', 2, 'three') }]);
  expect(await there.merge(await takenOut(here))).toEqual({ ok: true, added: 1, already: 2 });
  expect(texts(await there.entriesOfBoard('B1')).sort()).toEqual(['one', 'three', 'two']);
});

it('gives lost entries of this bench their numbers also where one before them differs from what is here', async () => {
  const bench = await newBench();
  await bench.append(note('B1', 0, 'a'), note('B1', 1, 'b'));
  const own = (number: number, text: string, mark = ''): ForeignEntry => ({
    bench: bench.bench + mark,
    number,
    entry: note('B1', number, text),
  });
  const file = [own(2, 'other b'), own(3, 'c'), own(3, 'other c', ' (2)'), own(4, 'd')];
  expect(await bench.merge(file)).toEqual({ ok: true, added: 4, already: 0 });
  const numbers = new Map((await bench.entriesOfBoard('B1')).map((e) => [texts([e])[0], e.number]));
  expect([numbers.get('b'), numbers.get('c'), numbers.get('d')]).toEqual([2, 3, 4]);
  expect(await bench.merge(file)).toEqual({ ok: true, added: 0, already: 4 });
});

it('refuses an entry that pretends to be its own under a number far above, which would leave none', async () => {
  const bench = await newBench();
  await bench.append(note('B1', 0));
  for (const mark of ['', ' (2)']) {
    const far = { bench: bench.bench + mark, number: HIGHEST_NUMBER - 1, entry: note('B1', 1) };
    const refused = await bench.merge([{ ...far, bench: 'f' }, far]);
    expect(refused).toMatchObject({ ok: false, cause: 'failed' });
    expect(!refused.ok && refused.message).toMatch(/entry 1099511627775 .*None .* taken in/);
  }
  expect(await bench.append(note('B1', 2))).toEqual({ ok: true, numbers: [2] });
  const lost = { bench: bench.bench, number: 1_000_000, entry: note('B1', 1) };
  expect(await bench.merge([lost])).toEqual({ ok: true, added: 1, already: 0 });
});

it('refuses more entries that differ under one number than a file may name', async () => {
  const bench = await newBench();
  const many = Array.from({ length: 99 }, (_, i): ForeignEntry => ({
    bench: 'f',
    number: 1,
    entry: note('B1', 0, `${i}`),
  }));
  expect(await bench.merge(many)).toEqual({ ok: true, added: 99, already: 0 });
  const refused = await bench.merge([{ ...many[0]!, entry: note('B1', 0, 'one more') }]);
  expect(refused).toMatchObject({ ok: false, cause: 'failed' });
  expect(await bench.merge(many)).toEqual({ ok: true, added: 0, already: 99 });
});

it('brings in all of what it is given or nothing', async () => {
  const here = await newBench();
  const good = { bench: 'f', number: 1, entry: note('B1', 0) };
  const bad: ForeignEntry[] = [
    { ...good, number: 0 },
    { ...good, number: 1.5 },
    { ...good, number: HIGHEST_NUMBER },
    { ...good, number: 2, entry: { ...good.entry, time: 'yesterday' } },
    { ...good, number: 2, entry: { ...good.entry, text: (() => 1) as unknown as string } as Entry },
  ];
  for (const each of bad) {
    expect(await here.merge([good, each])).toMatchObject({ ok: false, cause: 'failed' });
    expect(await here.boardsInShort()).toEqual([]);
    expect(await here.entriesOfBoard('B1')).toEqual([]);
  }
});

it('gives every entry once in batches, the lowest number first, of all boards or of one', async () => {
  const logbook = await newBench();
  const many = Array.from({ length: 1203 }, (_, i) => note(i % 3 ? 'B1' : 'B2', i, `${i}`));
  await logbook.append(...many);
  const gather = async (board?: string) => {
    const batches: (readonly StoredEntry[])[] = [];
    for await (const batch of logbook.batches(board)) batches.push(batch);
    expect(batches.length).toBeGreaterThan(board ? 0 : 2);
    expect(batches.every((batch) => batch.length > 0 && batch.length <= 500)).toBe(true);
    return batches.flat();
  };
  const all = many.map((entry, i) => ({ ...entry, number: i + 1 }));
  expect(await gather()).toEqual(all);
  expect(await gather('B2')).toEqual(all.filter(({ board }) => board === 'B2'));
});

it('takes into batches nothing that is written after the first was asked for', async () => {
  const logbook = await newBench();
  await logbook.append(note('B1', 0), note('B1', 1));
  let count = 0;
  for await (const batch of logbook.batches()) {
    count += batch.length;
    await logbook.append(note('B1', 2));
  }
  expect(count).toBe(2);
});

it('sums up a board in the transaction that writes its entries: both are there or neither', async () => {
  const logbook = await newBench();
  const { put } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.put = () => {
    throw new DOMException('full', 'QuotaExceededError');
  };
  try {
    expect(await logbook.append(note('B1', 0))).toMatchObject({ ok: false, cause: 'quota' });
  } finally {
    IDBObjectStore.prototype.put = put;
  }
  expect(await logbook.entriesOfBoard('B1')).toEqual([]);
  expect(await logbook.boardsInShort()).toEqual([]);
});

it('says of a board in short what is so after all of its entries', async () => {
  const identity = { name: 'Hammer', hardware: 'h2', firmware: '1.1' };
  const entry = (n: number, more: object) => ({ board: 'B1', time: minute(n), ...more }) as Entry;
  const crc = '0000000a';
  const sealed = entry(4, { kind: 'sealed', calibration: 'c1', generation: 2, crc });
  const proof = entry(5, { kind: 'proof', calibration: 'c1', passed: false });
  const restored = entry(6, { kind: 'restored', generation: 3, crc });
  const start = [
    entry(1, { kind: 'board linked', identity }),
    entry(2, { kind: 'calibration started', calibration: 'c1' }),
    entry(3, { kind: 'renamed', to: 'Anvil' }),
  ];
  const short = (...entries: Entry[]) => entries.reduce(inShortAfter, undefined);
  expect(short(...start)).toMatchObject({
    serial: 'B1',
    name: 'Anvil',
    hardware: 'h2',
    since: { firmware: { version: '1.1', time: minute(1) } },
    entries: 3,
    calibrations: 1,
    firstTime: minute(1),
    lastTime: minute(3),
  });
  expect(short(...start, sealed, proof)).toMatchObject({
    since: { inForce: { time: minute(4), generation: 2 } },
    proof: { time: minute(5), passed: false },
  });
  const afterwards = short(...start, sealed, proof, restored);
  expect(afterwards).toMatchObject({
    since: { inForce: { time: minute(6), generation: 3 } },
    entries: 6,
  });
  expect(afterwards).not.toHaveProperty('proof'); // it was of other coefficients
});
