import { describe, expect, it } from 'vitest';
import { boardFacts } from '../../src/steps/board-words.ts';
import { afterEntry } from '../../src/steps/calibration-state.ts';
import { truthWords } from '../../src/steps/proof.ts';
import { sealFailedWords } from '../../src/steps/sealing-words.ts';
import { BLIND_TO } from '../../src/steps/tolerance.ts';
import { BenchInProcess } from './bench-in-process.ts';

it('shows a capability the protocol does not name as the board spells it, whatever it spells', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link');
  const { history } = on.state;
  const can = (capabilities: readonly string[]) =>
    boardFacts({ ...history, identity: { ...history.identity!, capabilities } }).at(-1)?.value;
  expect(can(['trigger', 'constructor', '__proto__', 'toString'])).toBe(
    'be triggered by hand; constructor; __proto__; toString',
  );
});

describe('a seal that did not take', () => {
  it('says that the coefficients before are in force only where they are', () => {
    const before = { reason: 'It refused', generation: 4, unchanged: true };
    expect(sealFailedWords(before)).toBe(
      'It refused. The coefficients before, generation 4, are in force.',
    );
    const other = sealFailedWords({ ...before, generation: 7, unchanged: false });
    expect(other).not.toContain('before, generation');
    expect(other).toContain('neither the set before nor the one that was to be sealed');
  });

  it('does not speak of coefficients before where there were none', () => {
    expect(sealFailedWords({ reason: 'It refused.', generation: 0, unchanged: true })).toBe(
      'It refused. The board has no coefficients, as before.',
    );
  });

  it('knows a third set on the board from the one before', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take one');
    const stamp = { board: 'B', calibration: on.calibration.id, time: '2031-05-01T00:00:00.000Z' };
    const begun = afterEntry(on.state.history, {
      ...stamp,
      kind: 'seal begun',
      replaces: 4,
      crc: 'ABCD1234',
    });
    const failed = (generation: number) =>
      afterEntry(begun, { ...stamp, kind: 'seal failed', generation, reason: 'Why' });
    expect(failed(4).calibration?.sealFailed?.unchanged).toBe(true);
    expect(failed(5).calibration?.sealFailed?.unchanged).toBe(false);
  });
});

it('judges the truth against its tolerance', () => {
  const truth = { azimuth: 0.6, inclination: 0.1, largestAzimuth: 1, largestInclination: 0.2 };
  expect(truthWords({ ...truth, n: 400 }).map(({ good }) => good)).toEqual([false, true]);
});

it('says that a sideways turn of the field for a whole sighting shows nowhere', () => {
  expect(BLIND_TO.some((each) => each.includes('turns the field sideways'))).toBe(true);
});
