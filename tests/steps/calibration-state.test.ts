import { expect, it } from 'vitest';
import { runsSealed } from '../../src/steps/calibration-state.ts';
import { judge } from '../../src/steps/judgement.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** A bench whose first fit set one reading aside: the one that was taken beside steel, aimed badly. */
async function withOneSetAside(): Promise<{ on: BenchInProcess; id: string }> {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting');
  await on.run(on.bench.adjustSimulator({ disturbance: 100, aim: 20 }));
  await on.ask('take one');
  await on.run(on.bench.adjustSimulator({ disturbance: 0, aim: 0.1 }));
  await on.ask('take rest', 'fit');
  const aside = on.calibration.readings.filter((row) => row.setAside);
  expect(aside.map((row) => row.setAside?.by)).toEqual(['fit']);
  return { on, id: aside[0].id };
}

it('does not offer to write a fit that used a reading which an undo has set aside again', async () => {
  const { on, id } = await withOneSetAside();
  expect(on.calibration.fit?.stale).toBe(false);
  await on.run(on.place.mark({ does: 'take back', readings: [id] }));
  await on.ask('fit');
  expect(on.calibration.fit?.readings.find((row) => row.id === id)?.used).toBe(true);
  await on.ask('undo');
  expect(on.calibration.readings.find((row) => row.id === id)?.setAside?.by).toBe('fit');
  expect(on.calibration.fit?.stale).toBe(true);
  expect(nextStep(on.state)).toMatchObject({ heading: 'Fit again', main: { does: 'fit' } });
});

it('knows a fit for current again when the readings are again just those it used', async () => {
  const { on, id } = await withOneSetAside();
  await on.run(on.place.mark({ does: 'take back', readings: [id] }));
  expect(on.calibration.fit?.stale).toBe(true);
  await on.ask('undo');
  expect(on.calibration.fit?.stale).toBe(false);
});

it('says beside a fit that it was not screened, until the reading taken back is set aside again', async () => {
  const { on, id } = await withOneSetAside();
  const words = () =>
    judge(on.calibration.fit!, on.state.history.identity!).warnings.filter((warning) =>
      warning.includes('You took back a reading'),
    );
  expect(words()).toEqual([]);
  await on.run(on.place.mark({ does: 'take back', readings: [id] }));
  await on.ask('fit');
  expect(on.calibration.fit?.screened).toBe(false);
  expect(words()).toHaveLength(1);
  await on.ask('undo', 'fit');
  expect(on.calibration.fit?.screened).toBe(true);
  expect(words()).toEqual([]);
});

it('does not take another set of the same generation for the one that was sealed', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write');
  const { history } = on.state;
  expect(runsSealed(history)).toBe(true);
  const other = { ...history.inForce!, crc: 'ABCD1234' };
  expect(runsSealed({ ...history, inForce: other })).toBe(false);
});
