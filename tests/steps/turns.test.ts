import { expect, it } from 'vitest';
import { nextStep } from '../../src/steps/next-step.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** One thing after the other, and one page at a time. */

it('leaves the bench to the page that has it, says so, and takes it up once that page is closed', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting');
  const other = await on.anotherPage({ isAlone: false });
  expect(other.state.link.state).toBe('none');
  expect(other.state.trouble?.heading).toBe('Another page holds the bench');
  expect(nextStep(other.state).heading).toBe('Link a board');
  await other.ask('link');
  expect(other.state.trouble?.heading).toBe('Another page holds the bench');
  await other.run(other.bench.adjustSimulator({ seed: 5 }));
  expect(other.state.trouble?.heading).toBe('Another page holds the bench');

  await on.ask('take one');
  other.isAlone = true;
  await other.ask('link');
  expect(other.state.trouble).toBeUndefined();
  expect(other.state.link.state).toBe('linked');
  expect(other.state.simulator?.seed).toBe(1);
  expect(other.calibration.readings).toHaveLength(5);
});

it('keeps ids apart even where two pages recorded a reading under the same one', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin');
  const pages = [
    on,
    await on.anotherPage({ isAlone: true }),
    await on.anotherPage({ isAlone: true }),
  ];
  for (const [n, page] of pages.entries()) {
    await page.run(page.bench.adjustSimulator({ disturbance: n })); // so that no two are one reading
    await page.ask('take one');
  }
  const last = await on.anotherPage({ isAlone: true });
  expect(last.calibration.readings.map((row) => row.id)).toEqual(['1', '1 again', '1 again 2']);
  await last.ask('take rest', 'fit');
  expect(last.state.trouble).toBeUndefined();
  expect(last.calibration.fit).toBeDefined();
});

it('does a mark and a piece of work in turn, and nothing beside the work', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting');
  const mark = on.place.mark({
    does: 'set aside',
    reading: '3',
    reason: 'It moved while it was taken',
  });
  const taking = on.place.perform('take rest');
  await on.run(mark);
  const again = on.place.perform('take rest');
  await on.pass(100);
  expect(on.state.work?.what).toBe('Taking readings');
  const back = on.place.mark({ does: 'take back', readings: ['3'] });
  await on.run(Promise.all([taking, again, back]));
  expect(on.state.work).toBeUndefined();
  expect(on.state.trouble).toBeUndefined();
  expect(on.calibration.readings).toHaveLength(56);
  expect(on.calibration.readings[2].setAside).toBeUndefined();
  const kinds = (await on.logbook()).map(({ kind }) => kind);
  expect(kinds.filter((kind) => kind === 'set aside' || kind === 'taken back')).toEqual([
    'set aside',
    'taken back',
  ]);
  expect(kinds.indexOf('taken back')).toBe(kinds.length - 1);
});

it('stops the work that is under way although a mark was made just before it', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting');
  const mark = on.place.mark({
    does: 'set aside',
    reading: '3',
    reason: 'It moved while it was taken',
  });
  const taking = on.place.perform('take rest');
  await on.run(mark);
  await on.pass(1000);
  await on.place.perform('stop');
  await on.run(taking);
  expect(on.calibration.readings.length).toBeLessThan(10);
});

it('refuses a setting that the simulated board cannot have, linked or not, and keeps what was', async () => {
  const on = await BenchInProcess.opened();
  for (const linked of [false, true]) {
    if (linked) await on.ask('link');
    await on.run(on.bench.adjustSimulator({ dip: 100 }));
    expect(on.state.trouble).toEqual({
      heading: 'The simulated board cannot be set so',
      message: expect.stringContaining('dip lies between -90 and 90, not at 100.'),
    });
    expect(on.state.simulator?.dip).toBe(65);
  }
  await on.reload();
  expect(on.state.link.state).toBe('linked');
  expect(on.state.simulator?.dip).toBe(65);
});

it('keeps the bench that it was given although the logbook could not be read then, and does not ask for it twice', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take one');
  on.isReadable = false;
  await on.reload();
  expect(on.state.trouble?.heading).toBe('The logbook could not be written');
  on.isReadable = true;
  on.isAlone = false; // its own lock is in the way, were it asked for again
  await on.run(on.bench.open());
  expect(on.state.trouble).toBeUndefined();
  expect(on.bench.elsewhere).toBeUndefined();
  expect(on.calibration.readings).toHaveLength(1);
});
