import { expect, it } from 'vitest';
// both are loaded when they are asked for, and virtual time does not wait
import '../../../src/steps/checks/verdict.ts';
import '../../../src/steps/checks/write-range.ts';
import type { CheckTerms } from '../../../src/records/entries.ts';
import { speaksAgainstInForce } from '../../../src/steps/speaks-against.ts';
import { BenchInProcess } from '../bench-in-process.ts';

/** A range check at a bench: the simulated board with a range module, its settings, and the real logbook. */

const GRADE5 = { degrees: 1, grade: '5' as const };
const OFF = { constant: 0.021, scale: 1200 };
const RANGE: CheckTerms = {
  check: 'range',
  lengths: [2, 5, 9, 14, 20],
  lengthsTo: 0.002,
  tapeTo: 50,
  from: 'the back of the housing',
  limit: 0.01,
  each: 4,
};
const LOOP: CheckTerms = {
  check: 'loop',
  lengths: [12, 9, 15, 8],
  lengthsTo: 0,
  heldTo: 0,
  ranged: true,
  each: 2,
};

async function calibrated(): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened({ hasRange: true });
  await on.ask('link', 'begin', 'take rest', 'fit', 'write');
  on.board.quirk({ rangeError: OFF });
  return on;
}

const record = (on: BenchInProcess, kind: 'range' | 'loop') =>
  on.state.history.checks.records[kind]!;
const setting = (on: BenchInProcess, name: string) =>
  on.state.history.care.settings!.settings.find((each) => each.name === name)!.value;

async function walk(on: BenchInProcess, terms: CheckTerms): Promise<void> {
  await on.run(on.place.fieldChecks.begin(terms, GRADE5));
  await on.ask('check rest');
}

it('finds constant and scale, writes them with the care of all settings, and proves it by the same check', async () => {
  const on = await calibrated();
  await walk(on, RANGE);
  const found = record(on, 'range');
  expect(found.verdict).toBe('failed');
  const [, , constant, scale] = found.figures;
  expect(Math.abs(constant!.value - OFF.constant)).toBeLessThan(constant!.half);
  expect(Math.abs(scale!.value - OFF.scale)).toBeLessThan(scale!.half);
  // a range module that is off says nothing against the coefficients
  expect(speaksAgainstInForce(on.state.history)).toEqual([]);

  await on.run(on.place.fieldChecks.writeRange());
  expect(on.state.trouble).toBeUndefined();
  expect(on.state.said).toContain('read back and compared');
  expect(Number(setting(on, 'range_constant'))).toBeCloseTo(-OFF.constant / 1.0012, 2);
  expect(Math.abs(Number(setting(on, 'range_scale')) + 1198.6)).toBeLessThan(scale!.half);
  const kinds = (await on.logbook()).map(({ kind }) => kind);
  const begun = kinds.lastIndexOf('settings begun');
  expect(kinds.slice(0, begun)).toContain('settings saved');
  expect(kinds.slice(begun)).toEqual(['settings begun', 'settings adopted', 'settings saved']);

  await walk(on, RANGE);
  expect(record(on, 'range')).toMatchObject({ verdict: 'passed', warnings: [] });
});

it('takes lengths of a loop from ranges, corrected by what the check found, before it is written and after', async () => {
  const on = await calibrated();
  await walk(on, LOOP);
  expect(record(on, 'loop').warnings.join()).toContain('check its ranges against taped lengths');
  await walk(on, RANGE);
  await walk(on, LOOP);
  expect(record(on, 'loop')).toMatchObject({ verdict: 'passed', warnings: [] });
  const round = (words: readonly string[] = []) =>
    Number(/way round is ([\d.]+) m/.exec(words.join())?.[1]);
  expect(Math.abs(round(record(on, 'loop').found) - 44)).toBeLessThan(0.03);
  await on.run(on.place.fieldChecks.writeRange());
  await walk(on, LOOP);
  expect(Math.abs(round(record(on, 'loop').found) - 44)).toBeLessThan(0.03);
});

it('writes nothing that was worked out for other settings than the board has', async () => {
  const on = await calibrated();
  await walk(on, RANGE);
  on.place.care.want('range_constant', '0.5');
  await on.run(on.place.care.sendSettings());
  await on.run(on.place.fieldChecks.writeRange());
  expect(JSON.stringify(on.state.trouble)).toContain('no longer what it was in the check');
  expect(setting(on, 'range_constant')).toBe('0.5');
});

it('compares nothing where the settings were changed while the ranges were taken', async () => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(RANGE, GRADE5));
  await on.ask('check one');
  on.place.care.want('range_scale', '300');
  await on.run(on.place.care.sendSettings());
  await on.ask('check rest');
  const { verdict, warnings } = record(on, 'range');
  expect(verdict).toBe('not settled');
  expect(warnings.join()).toContain('was changed while this check was under way');
});
