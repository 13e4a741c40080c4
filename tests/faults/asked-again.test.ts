import { expect, test } from 'vitest';
import { BenchInProcess } from '../steps/bench-in-process.ts';

/* What a person asks for again after being told that no answer came, when the board had done it all the same. */

const clear = (line: string): string => line;
/** Spoils every line that the pattern picks: it comes, and cannot be read. */
const spoilt =
  (which: RegExp) =>
  (line: string): string =>
    which.test(line) ? line.replace(' ', '_') : line;

test('a fit that was sealed after all is not sealed once more: the coefficients before it stay on the board', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit');
  on.garble = spoilt(/ ok generation=1 #/);
  await on.ask('write');
  expect(on.state.trouble?.heading).toBe('The board does not answer');
  expect(on.state.link.state).toBe('linked');
  on.garble = clear;
  await on.ask('write');
  expect(on.state.trouble).toBeUndefined();
  expect(on.calibration.sealed).toMatchObject({ generation: 1, replaced: 0, known: 'read back' });
  expect(on.state.history.inForce?.generation).toBe(1);
  expect(on.state.history.previous).toBeUndefined();
});

test('a reading that comes late fills its place, and no other place is taken in its stead', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take one', 'take one', 'take one');
  on.garble = spoilt(/^!4 |=\d+ ok (reading=4|from=|first=)/);
  await on.ask('take sighting');
  expect(on.state.trouble?.heading).toBe('The board does not answer');
  expect(on.calibration.readings).toHaveLength(3);

  // While nothing can be learnt of it, nothing is taken.
  await on.ask('take sighting');
  expect(on.state.trouble?.heading).toBe('The board does not answer');
  expect(on.calibration.captureBegun).toBeDefined();

  on.garble = clear;
  await on.ask('take sighting');
  expect(on.state.trouble).toBeUndefined();
  expect(on.calibration.readings.map(({ id }) => id)).toEqual(['1', '2', '3', '4']);
  expect(new Set(on.calibration.readings.map(({ sighting }) => sighting)).size).toBe(1);
});
