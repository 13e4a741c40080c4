import { expect, it } from 'vitest';
import { careOf } from '../../../src/steps/care/care-state.ts';
import { readingsAmong } from '../../../src/steps/board-memory.ts';
import { BenchInProcess } from '../bench-in-process.ts';
import { absurdTemperatureOf } from '../garbling.ts';

const kinds = async (on: BenchInProcess) => (await on.logbook()).map(({ kind }) => kind);
const numbers = async (on: BenchInProcess) =>
  readingsAmong(await on.logbook()).map(({ reading }) => reading);

/** A board with readings that were triggered at it while it was not linked. */
async function filled(count: number): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take one'); // from then on its trigger works
  on.isReachable = false;
  on.board.dropAfter(0);
  await on.pass(1);
  for (let i = 1; i < count; i++) {
    await on.run(on.board.press());
    await on.clock.run(400);
  }
  on.isReachable = true;
  return on;
}

it('fetches what was taken away from the page, and needs only the rest after a broken link', async () => {
  const on = await filled(100);
  on.onAppended = async (entries) => {
    const [entry] = entries;
    if (entry!.kind === 'memory saved' && entry.readings.length > 0) on.board.dropAfter(2000);
  };
  await on.ask('link');
  const before = await numbers(on);
  expect(before.length).toBeGreaterThan(1);
  expect(before.length).toBeLessThan(100);
  on.onAppended = async () => {};
  const recalls: number[] = [];
  on.place.onWire((what, line) => {
    const number = / recall reading=(\d+)/.exec(line)?.[1];
    if (what === 'to_board' && number !== undefined) recalls.push(Number(number));
  });
  await on.pass(5000);
  if (on.state.link.state !== 'linked') await on.ask('link');
  expect(recalls.filter((number) => before.includes(number))).toEqual([]);
  const all = await numbers(on);
  expect(all.sort((a, b) => a - b)).toEqual(Array.from({ length: 100 }, (_, i) => i + 1));
});

it('erases what was saved and compared, and says so', async () => {
  const on = await filled(5);
  await on.ask('link');
  await on.run(on.place.care.eraseMemory());
  expect(on.state.trouble).toBeUndefined();
  expect(on.state.said).toContain('has forgotten 5 readings');
  expect(careOf(on.state).memory).toMatchObject({ count: 0 });
  expect((await numbers(on)).sort()).toEqual([1, 2, 3, 4, 5]);
  expect((await kinds(on)).slice(-2)).toEqual(['erase begun', 'erased']);
});

it('gives a reading whose answer was lost its place, after its memory was emptied too', async () => {
  const on = await filled(5);
  await on.ask('link');
  await on.run(on.place.care.eraseMemory());
  await on.ask('link', 'begin');
  on.onMemory = () => on.board.dropAfter(0);
  await on.ask('take one');
  on.onMemory = () => {};
  await on.ask('link');
  expect(on.calibration.readings.map(({ id }) => id)).toEqual(['6']);
  expect(on.calibration.captureBegun).toBeUndefined();
});

it('erases nothing while a reading in the memory cannot be read', async () => {
  const on = await filled(5);
  on.garble = absurdTemperatureOf(3);
  await on.ask('link');
  await on.run(on.place.care.eraseMemory());
  expect(on.state.trouble?.heading).toBe('Not erased: a reading is not in the logbook');
  expect(on.state.trouble?.message).toContain('Not in the logbook: 3.');
  expect(await kinds(on)).not.toContain('erase begun');
});

it('knows at the next link that an erasure took although its answer was lost', async () => {
  const on = await filled(5);
  await on.ask('link');
  on.onMemory = () => on.board.dropAfter(0);
  await on.run(on.place.care.eraseMemory());
  on.onMemory = () => {};
  await on.reload();
  expect(on.state.history.care.eraseBegun).toBeUndefined();
  expect(on.state.said).toContain('the board did it');
  expect(await kinds(on)).toContain('erased');
});

it('gives every reading of the logbook once as a survey file, with the board’s own angles', async () => {
  const on = await BenchInProcess.opened({}, { hasRange: true });
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove');
  const lines = (await on.place.care.surveyCsv()).trimEnd().split('\n');
  expect(lines[0]).toMatch(/^# board=SIM-[0-9A-F]{8} name=/);
  expect(lines[1]).toBe('reading,generation,azimuth,inclination,roll,range_m,temp_c,supply_v');
  expect(lines).toHaveLength(2 + 56 + 12);
  const first = lines[2]!.split(',');
  expect(first.slice(0, 5)).toEqual(['1', '0', '', '', '']); // before the seal: no angles
  expect(Number(first[5])).toBeCloseTo(5, 1); // as far as the simulated board always is from what it aims at
  const last = lines.at(-1)!.split(',').map(Number);
  const { proofReadings } = on.calibration;
  const { azimuth, inclination, roll } = proofReadings.at(-1)!.reading;
  expect(last.slice(0, 5)).toEqual([68, 1, azimuth, inclination, roll]);
});
