import { expect, it } from 'vitest';
import { openSlots } from '../../src/steps/calibration-state.ts';
import { BenchInProcess } from './bench-in-process.ts';
import { ofKind } from './entries-of-kind.ts';
import { absurdTemperatureOf, overlongEventOf } from './garbling.ts';

const known = (on: BenchInProcess) => [...on.state.history.known].sort((a, b) => a - b);
const ids = (on: BenchInProcess) => on.calibration.readings.map((row) => row.id);

/** Lets the next reading fail on its way into the logbook, once. */
function loseNextReading(on: BenchInProcess): void {
  on.onAppend = ([entry]) => {
    if (entry.kind !== 'reading') return undefined;
    on.onAppend = () => undefined;
    return { ok: false, cause: 'quota', message: 'There is no room left.' };
  };
}

/** The link drops, the trigger is pressed, the link is made again. */
async function pressWhileAway(on: BenchInProcess, times: number): Promise<void> {
  on.isReachable = false;
  on.board.dropAfter(0);
  await on.pass(1);
  for (let i = 0; i < times; i++) {
    await on.run(on.board.press());
    await on.pass(1000);
  }
  on.isReachable = true;
}

it('fetches a reading that lies below the highest known number', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take one');
  loseNextReading(on);
  await on.ask('take one');
  expect(on.state.trouble?.heading).toBe('The logbook could not be written');
  await on.ask('take one');
  expect(known(on)).toEqual([1, 3]);
  await on.ask('link');
  expect(known(on)).toEqual([1, 2, 3]);
});

it('fetches at the next link what was triggered while no calibration was open', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
  await on.ask('begin', 'take rest', 'fit', 'write', 'revert');
  await on.run(on.board.press());
  await on.pass(2000);
  await on.ask('begin', 'take one', 'link');
  const all = known(on);
  expect(all).toEqual(all.map((_, i) => i + 1));
});

it('makes room on a full board although the logbook lacks a reading, and records that first', async () => {
  const on = await BenchInProcess.opened({}, { places: 20 });
  await on.ask('link', 'begin', 'take one');
  loseNextReading(on);
  await on.ask('take one', 'take rest');
  expect(on.state.trouble).toBeUndefined();
  expect(openSlots(on.calibration)).toEqual([]);
  expect(known(on)).toEqual(Array.from({ length: 57 }, (_, i) => i + 1));
  const entries = await on.logbook();
  const saved = entries.findLastIndex((entry) => entry.kind === 'memory saved');
  const erased = entries.findIndex((entry) => entry.kind === 'erased');
  expect(ofKind(entries, 'memory saved')[1].readings.map((each) => each.reading)).toEqual([2]);
  expect(saved).toBeLessThan(erased);
});

it('compares counts before it erases: a number alone does not show that the logbook holds a reading', async () => {
  const on = await BenchInProcess.opened({}, { places: 20 });
  await on.ask('link', 'begin', 'take sighting');
  const before = on.calibration.readings.map((row) => row.reading);
  await on.ask('unlink');
  on.forgetBoards(); // as a board that was repaired: the same serial number, and numbers from 1 again
  await on.run(on.bench.adjustSimulator({ dip: 60 }));
  await on.ask('link', 'begin');
  loseNextReading(on);
  await on.ask('take one', 'take rest');
  expect(on.state.trouble).toBeUndefined();
  const [erased] = ofKind(await on.logbook(), 'erased');
  expect(erased).toMatchObject({ through: 20, count: 20 });
  const recovered = ofKind(await on.logbook(), 'memory saved').flatMap((entry) => entry.readings);
  expect(recovered).toHaveLength(1);
  expect(recovered[0].reading).toBe(1);
  expect(recovered[0].mag).not.toEqual(before[0].mag);
});

it('gives no number twice when another board is set and the first one taken up again', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting', 'unlink');
  await on.run(on.bench.adjustSimulator({ seed: 2 }));
  await on.ask('link', 'begin', 'take one', 'unlink');
  await on.run(on.bench.adjustSimulator({ seed: 1 }));
  await on.ask('link', 'take one');
  expect(ids(on)).toEqual(['1', '2', '3', '4', '5']);
  // while it is linked, too
  await on.run(on.bench.adjustSimulator({ seed: 2 }));
  expect(on.state.link.state).toBe('none');
  await on.ask('link', 'take one');
  expect(ids(on)).toEqual(['1', '2']);
  await on.run(on.bench.adjustSimulator({ seed: 1 }));
  await on.ask('link', 'take one');
  expect(ids(on)).toEqual(['1', '2', '3', '4', '5', '6']);
});

it('links a board in whose memory one reading makes no sense, and keeps the reason', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take one');
  await pressWhileAway(on, 2);
  on.garble = absurdTemperatureOf(2);
  await on.ask('link');
  expect(on.state.link.state).toBe('linked');
  expect(on.state.trouble).toBeUndefined();
  expect(known(on)).toEqual([1, 3]);
  expect(on.state.history.unreadable).toEqual([
    { reading: 2, reason: expect.stringContaining('temp_c is 999') },
  ]);
  expect(on.state.said).toContain('Reading 2');
});

it('says that a reading made no sense, goes on, and makes room for more when the memory is full', async () => {
  const on = await BenchInProcess.opened({}, { places: 20 });
  on.garble = absurdTemperatureOf(2);
  await on.ask('link', 'begin', 'take one', 'take one');
  expect(on.state.trouble?.heading).toBe('The board sent nonsense');
  expect(ids(on)).toEqual(['1']);
  await on.ask('take rest');
  expect(on.state.trouble).toBeUndefined();
  expect(openSlots(on.calibration)).toEqual([]);
  expect(on.state.history.unreadable?.map(({ reading }) => reading)).toEqual([2]);
});

it('recalls a reading whose event was longer than a line may be', async () => {
  const on = await BenchInProcess.opened();
  on.garble = overlongEventOf(2);
  await on.ask('link', 'begin', 'take sighting');
  expect(on.state.trouble).toBeUndefined();
  expect(ids(on)).toEqual(['1', '2', '3', '4']);
});

it('takes every reading once from a board that says everything twice', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin');
  on.board.quirk({ manners: { silent: false, lateMs: 0, twice: true } });
  await on.ask('take sighting', 'take sighting');
  expect(on.state.trouble).toBeUndefined();
  expect(ids(on)).toEqual(['1', '2', '3', '4', '5', '6', '7', '8']);
});

it('takes every reading once from a board that answers late', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin');
  on.board.quirk({ manners: { silent: false, lateMs: 2500, twice: false } });
  await on.ask('take sighting', 'take sighting');
  expect(on.state.trouble).toBeUndefined();
  expect(ids(on)).toEqual(['1', '2', '3', '4', '5', '6', '7', '8']);
  expect(new Set(on.calibration.readings.map((row) => row.aim?.roll)).size).toBe(4);
});

it('is not linked when the link is lost while its last entry is written', async () => {
  const on = await BenchInProcess.opened();
  on.onAppended = async ([entry]) => {
    if (entry.kind !== 'board linked') return;
    on.board.dropAfter(0);
    await new Promise((resolve) => setImmediate(resolve));
  };
  await on.ask('link');
  expect(on.state.link.state).toBe('lost');
  expect(on.state.trouble?.heading).toBe('The link was lost');
  on.onAppended = async () => {};
  await on.ask('link', 'begin', 'take one');
  expect(ids(on)).toEqual(['1']);
});

it('stops at once although the board does not answer', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin');
  on.board.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
  const taking = on.place.perform('take rest');
  await on.pass(100);
  await on.place.perform('stop');
  await on.pass(1);
  expect(on.state.work).toBeUndefined();
  expect(on.state.trouble).toBeUndefined();
  await on.run(taking);
});
