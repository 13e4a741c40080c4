import { expect, test } from 'vitest';
import { expectSoundThroughCuts, sweep, writesOf } from './power-cuts.ts';

/* Here a sample; every write, and 2,000 seeds, in tests/long/power-cuts.test.ts. */

function* every(step: number, to: number): Generator<number> {
  for (let n = 1 + (to % step); n <= to; n += step) yield n;
}

test.each(['rename', 'settings', 'firmware update'])(
  'power cut at every ninth write of a %s leaves the board sound, and the work can be done after it',
  (work) => {
    const writes = writesOf(work);
    expect(writes).toBeGreaterThan(60);
    sweep(work, every(9, writes));
  },
);

test('power cut again, in the start that follows a cut in a firmware update, does no harm either', () => {
  const writes = writesOf('firmware update');
  expect(sweep('firmware update', every(11, writes), (n) => 1 + (n % 32))).toBeGreaterThan(3);
});

test('in 20 seeded runs with several cuts each, the board always comes back sound and is finished in the end', () => {
  for (let seed = 1; seed <= 20; seed++) expectSoundThroughCuts(seed);
});
