import { expect, it } from 'vitest';
import type { PlaceState } from '../../src/steps/place-state.ts';
import { newOutcome } from '../../src/views/bring-to-sight.ts';
import { BenchInProcess } from '../steps/bench-in-process.ts';

it('shows what came of each piece of work, and nothing of what was there before', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin');
  const shown: (string | undefined)[] = [];
  let before: PlaceState = on.state;
  const after = async (work: Promise<void>) => {
    await work;
    shown.push(newOutcome(before, on.state));
    before = on.state;
  };
  await after(on.ask('take sighting', 'take sighting'));
  await after(on.ask('fit'));
  await after(on.ask('take rest'));
  await after(on.ask('fit'));
  await after(on.ask('write'));
  await after(on.ask('prove'));
  await after(on.ask('end'));
  await after(on.ask('unlink'));
  await after(on.ask('link'));
  expect(shown).toEqual([
    undefined,
    'judgement-view',
    undefined,
    'judgement-view',
    'sealing-view',
    'proof-view',
    undefined,
    undefined,
    undefined,
  ]);
  on.isReachable = false;
  await on.ask('unlink');
  before = on.state;
  await on.ask('link');
  expect(newOutcome(before, on.state)).toBe('.trouble');
});
