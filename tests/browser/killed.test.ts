import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, inject, it } from 'vitest';
import { BenchInProcess } from '../steps/bench-in-process.ts';
import { KilledCalibration, moments } from './killed-calibration.ts';

/** A few moments; thirty of them, through all of a calibration, are in tests/long/killed.test.ts. */

let profile: string;
let calibration: KilledCalibration;
beforeEach(async () => {
  profile = mkdtempSync(join(tmpdir(), 'lodebench-killed-'));
  calibration = new KilledCalibration(inject('appUrl'), profile);
  await calibration.start();
});
afterEach(async () => {
  await calibration.end();
  rmSync(profile, { recursive: true, force: true });
});

it('stands where it was, to the last reading, after the browser was killed while readings were taken', async () => {
  for (const moment of moments(1, ['beginning', 'taking'])) await calibration.dieAt(moment);
});

it('loses nothing, and seals nothing twice, when workers, browser and page die while it fits, writes and proves', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest');
  await calibration.begin(await on.logbook(), on.kept);
  await calibration.dieAt({ step: 'fitting', write: 0, delay: 100, victim: 'workers' });
  for (const moment of moments(3, ['writing', 'writing'])) await calibration.dieAt(moment);
  for (const moment of moments(4, ['proving'], 'page')) await calibration.dieAt(moment);
});
