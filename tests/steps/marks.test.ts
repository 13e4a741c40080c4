import fc from 'fast-check';
import { expect, it } from 'vitest';
import { foldHistory, openSlots, suggestedAside } from '../../src/steps/calibration-state.ts';
import { stepWords } from '../../src/steps/mark-steps.ts';
import { ordered, readingRows, sightingChoices } from '../../src/steps/reading-rows.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** What every reading counts for. */
const marks = (on: BenchInProcess) =>
  on.calibration.readings.map(({ id, setAside, sighting, aim }) => ({
    id,
    setAside,
    sighting,
    aim,
  }));
const names = (on: BenchInProcess) => on.calibration.marks.done.map(stepWords);

it('undoes and does again without limit, in whatever order, and stands there again after a reload', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting', 'take sighting');
  const ids = on.calibration.readings.map(({ id }) => id);
  const sightings = [...new Set(on.calibration.readings.map(({ sighting }) => sighting!))];
  const wish = fc.oneof(
    fc.record({
      does: fc.constant('set aside' as const),
      reading: fc.constantFrom(...ids),
      reason: fc.constantFrom('It moved', 'A van drove by'),
    }),
    fc.record({
      does: fc.constant('take back' as const),
      readings: fc.subarray(ids, { minLength: 1, maxLength: 3 }),
    }),
    fc.record(
      {
        does: fc.constant('move' as const),
        reading: fc.constantFrom(...ids),
        sighting: fc.constantFrom(...sightings),
      },
      { requiredKeys: ['does', 'reading'] },
    ),
    fc.constant('undo' as const),
    fc.constant('redo' as const),
  );
  await fc.assert(
    fc.asyncProperty(fc.array(wish, { minLength: 4, maxLength: 10 }), async (wishes) => {
      while (on.calibration.marks.done.length > 0) await on.ask('undo');
      // every state that was come to, and those that an undo left behind
      const before = [marks(on)];
      await on.run(on.place.mark({ does: 'set aside', reading: ids[0]!, reason: 'It moved' })); // nothing undone is left to be done again
      before.push(marks(on));
      let after: ReturnType<typeof marks>[] = [];
      for (const each of wishes) {
        if (each === 'undo') {
          if (before.length > 1) after.push(before.pop()!);
          await on.ask('undo');
        } else if (each === 'redo') {
          const again = after.pop();
          if (again) before.push(again);
          await on.ask('redo');
        } else {
          const isNothing =
            each.does === 'take back' &&
            each.readings.every((id) => !marks(on).some((row) => row.id === id && row.setAside));
          await on.run(on.place.mark(each));
          if (!isNothing) {
            before.push(marks(on));
            after = [];
          }
        }
        expect(marks(on)).toEqual(before.at(-1));
        expect(on.calibration.marks.done).toHaveLength(before.length - 1);
        expect(on.calibration.marks.undone).toHaveLength(after.length);
      }
      // nothing is remembered but the entries
      expect(foldHistory(await on.logbook()).calibration!.marks).toEqual(on.calibration.marks);
    }),
    { numRuns: 12 },
  );
  while (on.calibration.marks.done.length > 0) await on.ask('undo');
  await on.run(on.place.mark({ does: 'set aside', reading: ids[0]!, reason: 'It moved' }));
  await on.reload();
  await on.ask('undo');
  expect(on.calibration.readings[0]!.setAside).toBeUndefined();
  await on.reload();
  await on.ask('redo');
  expect(on.calibration.readings[0]!.setAside?.reason).toBe('It moved');
}, 60_000);

it('undoes what was marked before steps had names', () => {
  const at = { board: 'WB-1', time: '2031-05-01T08:00:00.000Z', calibration: 'one' };
  const reading = (id: number) => ({
    ...at,
    kind: 'reading' as const,
    id: String(id),
    reading: { reading: id, generation: 0, acc: [id, 0, 0], mag: [0, id, 0] } as const,
  });
  const plan = { name: 'none', sightings: [], azimuths: 'relative' as const };
  const entries = [
    { ...at, kind: 'calibration started' as const, plan },
    ...[1, 2, 3].map(reading),
    { ...at, kind: 'set aside' as const, reading: '1', reason: 'dip', by: 'fit' as const },
    { ...at, kind: 'set aside' as const, reading: '2', reason: 'dip', by: 'fit' as const },
    { ...at, kind: 'set aside' as const, reading: '3', reason: 'moved', by: 'person' as const },
  ].map((entry, i) => ({ ...entry, number: i + 1 }));
  const { marks } = foldHistory(entries).calibration!;
  expect(marks.done.map(stepWords)).toEqual([
    'set aside the 2 readings that the fit would leave out',
    'set reading 3 aside',
  ]);
});

it('has a fit of readings that are all out of their sightings stand, until one is put back into its own', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  const ids = on.calibration.readings.map(({ id }) => id);
  for (const reading of ids) await on.run(on.place.mark({ does: 'move', reading }));
  expect(on.calibration.fit!.stale).toBe(true);
  await on.ask('fit');
  expect(on.calibration.fit!.stale).toBe(false);
  await on.ask('undo');
  expect(on.calibration.fit!.stale).toBe(true);
});

it('makes no step of taking back a reading that counts already', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting');
  const [one, other] = on.calibration.readings.map(({ id }) => id);
  await on.run(on.place.mark({ does: 'take back', readings: [one!] }));
  expect(names(on)).toEqual([]);
  await on.run(on.place.mark({ does: 'set aside', reading: one!, reason: 'It moved' }));
  await on.run(on.place.mark({ does: 'take back', readings: [one!, other!] }));
  expect(names(on).at(-1)).toBe(`take reading ${one} back`);
});

it('moves a reading to the sighting it was aimed along, so that the fit no longer leaves it out', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest');
  // as if the first reading of the third sighting had been taken for the second
  const [, second, third] = [...new Set(on.calibration.readings.map(({ sighting }) => sighting!))];
  const { id } = on.calibration.readings.find(({ sighting }) => sighting === third)!;
  await on.run(on.place.mark({ does: 'move', reading: id, sighting: second! }));
  expect(on.calibration.readings.find((row) => row.id === id)).toMatchObject({
    sighting: second,
    takenFor: { sighting: third },
  });
  expect(openSlots(on.calibration).map(({ sighting }) => sighting.sighting)).toEqual([third]);
  await on.ask('fit');
  const row = () =>
    readingRows(on.calibration, on.state.history.identity).find((each) => each.id === id)!;
  expect(row().setAside?.by).toBe('fit');
  expect(row().setAside?.reason).toContain('away from the rest of its sighting');
  expect(row().moved).toBe(`Moved from sighting ${third}`);
  expect(row().belongs?.sighting).toBe(third);

  await on.run(on.place.mark({ does: 'move', reading: id, sighting: third! }));
  expect(row().moved).toBeUndefined();
  expect(row().setAside).toBeUndefined();
  expect(on.calibration.fit!.stale).toBe(true);
  await on.ask('fit');
  expect(on.calibration.fit!.screened).toBe(true); // nobody overruled the fit
  expect(on.calibration.fit!.readings.find((each) => each.id === id)!.used).toBe(true);
  expect(row().belongs).toBeUndefined();

  await on.ask('undo');
  expect(row().setAside?.by).toBe('fit');
  expect(row().sighting).toBe(second);
  expect(on.calibration.fit!.stale).toBe(true);
  await on.ask('redo');
  expect(on.calibration.fit!.stale).toBe(false);
}, 60_000);

it('takes a reading out of any sighting: the fit then sees it as a free attitude', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest');
  await on.run(on.place.mark({ does: 'move', reading: '5' }));
  expect(on.calibration.readings[4]!.sighting).toBeUndefined();
  expect(on.calibration.readings[4]!.aim).toBeUndefined();
  await on.ask('fit');
  expect(on.calibration.fit!.stale).toBe(false);
  expect(on.calibration.fit!.readings[4]).not.toHaveProperty('sighting');
  expect(names(on)).toContain('take reading 5 out of its sighting');
  await on.ask('undo');
  expect(on.calibration.readings[4]!.aim).toBeDefined();
  expect(on.calibration.fit!.stale).toBe(true);
}, 60_000);

it('sets aside in one step what a fit leaves out, and takes all of it back in one', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting');
  await on.run(on.bench.adjustSimulator({ disturbance: 100, aim: 20 }));
  await on.ask('take one', 'take one');
  await on.run(on.bench.adjustSimulator({ disturbance: 0, aim: 0.1 }));
  await on.ask('take rest', 'fit');
  const aside = () => on.calibration.readings.filter((row) => row.setAside?.by === 'fit');
  const n = aside().length;
  expect(n).toBeGreaterThan(1);
  expect(names(on)).toEqual([`set aside the ${n} readings that the fit would leave out`]);
  expect(suggestedAside(on.calibration)).toEqual([]);
  await on.ask('undo');
  expect(aside()).toHaveLength(0);
  expect(suggestedAside(on.calibration)).toHaveLength(n);
  const rows = readingRows(on.calibration, on.state.history.identity);
  expect(rows.filter(({ evidence }) => evidence[0]?.startsWith('the fit would'))).toHaveLength(n);
  await on.run(on.place.mark({ does: 'follow the fit' }));
  expect(aside()).toHaveLength(n);
  await on.run(on.place.mark({ does: 'take back', readings: aside().map(({ id }) => id) }));
  expect(names(on).at(-1)).toBe(`take ${n} readings back`);
  await on.ask('undo');
  expect(aside()).toHaveLength(n);
}, 60_000);

it('orders rows by taking, by sighting and by misfit, and names the sightings to move to', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  const rows = readingRows(on.calibration, on.state.history.identity);
  expect(ordered(rows, 'newest').map(({ id }) => id)).toEqual(rows.map(({ id }) => id).reverse());
  const misfits = ordered(rows, 'misfit').map(({ misfit }) => Number(misfit));
  expect(misfits.filter(Number.isFinite)).toEqual(
    misfits.filter(Number.isFinite).sort((a, b) => b - a),
  );
  await on.run(on.place.mark({ does: 'move', reading: '56', sighting: '1' }));
  const bySighting = ordered(readingRows(on.calibration), 'sighting').map((row) => row.id);
  expect(bySighting.slice(0, 5)).toEqual(['1', '2', '3', '4', '56']);
  const choices = sightingChoices(on.calibration);
  expect(choices).toHaveLength(14);
  expect(choices[0]).toEqual({ sighting: '1', words: 'Sighting 1: north, level, 5 readings' });
}, 60_000);
