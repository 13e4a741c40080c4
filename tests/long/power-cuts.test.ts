import { expect, test } from 'vitest';
import { expectSoundThroughCuts, sweep, writesOf } from '../faults/power-cuts.ts';

const all = (work: string) => Array.from({ length: writesOf(work) }, (_, i) => i + 1);

test.each(['rename', 'settings', 'firmware update'])(
  'power cut at any write of a %s leaves the board sound, and the work can be done after it',
  (work) => {
    sweep(work, all(work));
  },
);

test('power cut again, at any write of the start that follows any cut in a firmware update, does no harm either', () => {
  let failed = 0;
  for (let inStart = 1; inStart <= 32; inStart += 5) {
    failed += sweep('firmware update', all('firmware update'), () => inStart);
  }
  expect(failed).toBeGreaterThan(100);
});

test('in 2,000 seeded runs with several cuts each, the board always comes back sound and is finished in the end', () => {
  for (let seed = 1; seed <= 2000; seed++) expectSoundThroughCuts(seed);
});
