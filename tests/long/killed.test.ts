import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, inject, it } from 'vitest';
import { KilledCalibration, moments, type Step } from '../browser/killed-calibration.ts';

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

const times = (count: number, step: Step): Step[] => Array.from({ length: count }, () => step);

/** Thirty, through all of a calibration; now and then also while the board is being linked again. */
const STEPS: readonly Step[] = [
  'linking',
  'beginning',
  ...times(4, 'taking'),
  'linking',
  ...times(4, 'taking'),
  'linking',
  ...times(3, 'taking'),
  ...times(4, 'fitting'),
  ...times(3, 'writing'),
  'linking',
  ...times(3, 'writing'),
  ...times(2, 'proving'),
  'linking',
  'proving',
];

it('comes to the end of a calibration though the browser is killed at 30 moments of it, and loses nothing', async () => {
  const fell: Record<string, number> = {};
  for (const moment of moments(2026, STEPS)) {
    const how = await calibration.dieAt(moment);
    fell[how] = (fell[how] ?? 0) + 1;
  }
  await calibration.finish();
  expect(STEPS).toHaveLength(30);
  // moments that never fell into a write would show little
  expect((fell['in a write, kept'] ?? 0) + (fell['in a write, not kept'] ?? 0)).toBeGreaterThan(5);
});

it('the same, where only the process of the page dies', async () => {
  const steps: readonly Step[] = ['beginning', 'taking', 'taking', 'fitting', 'writing', 'proving'];
  for (const moment of moments(2027, steps, 'page')) await calibration.dieAt(moment);
  await calibration.finish();
});
