import { expect, it } from 'vitest';
import { glance, shortWords } from '../../src/steps/board-glance.ts';
import type { Entry } from '../../src/records/entries.ts';
import { afterEntry } from '../../src/steps/calibration-state.ts';
import { nextStep, type Intention } from '../../src/steps/next-step.ts';
import type { PlaceState } from '../../src/steps/place-state.ts';
import { BenchInProcess } from './bench-in-process.ts';

it('says of a board on its way where it is, how far, what is next and what came of it', async () => {
  const on = await BenchInProcess.opened();
  const seen: unknown[] = [];
  const look = () => {
    const { place, progress, result, offer, shape } = glance(on.state);
    seen.push([place, progress?.words, result?.words, offer?.does, shape]);
  };
  const steps: Intention[] = [
    'link',
    'begin',
    'take one',
    'take rest',
    'fit',
    'write',
    'prove',
    'end',
  ];
  for (const step of steps) {
    await on.ask(step);
    look();
  }
  expect(seen).toEqual([
    ['Look', undefined, undefined, 'begin', 'now'],
    ['Take', '0 of 56 readings', undefined, 'take one', 'now'],
    ['Take', '1 of 56 readings', undefined, 'take sighting', 'now'],
    ['Judge', '56 of 56 readings', undefined, 'fit', 'now'],
    // nothing is written to a board, and no calibration begun after it, at a glance
    ['Judge', '56 of 56 readings', 'Good enough, not written yet', undefined, 'now'],
    ['Prove', '0 of 12 fresh readings', 'Sealed as generation 1, not proven yet', 'prove', 'now'],
    ['Prove', '12 of 12 fresh readings', 'Proven, generation 1', 'end', 'now'],
    ['Done', undefined, 'Proven, generation 1', undefined, 'good'],
  ]);
});

it('says of proven coefficients whose check in the field failed that they are not to be relied on', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
  const { crc, generation } = on.state.history.inForce!;
  const checked = (verdict: 'passed' | 'failed', of = crc): PlaceState => {
    const entry: Entry = {
      board: 'B1',
      time: '2031-05-02T00:00:00.000Z',
      kind: 'check',
      check: '1',
      of: 'loop',
      generation,
      crc: of,
      tolerance: { degrees: 1 },
      verdict,
      figures: [],
      warnings: [],
    };
    return { ...on.state, history: afterEntry(on.state.history, entry) };
  };
  const failed = checked('failed');
  expect(glance(failed)).toMatchObject({ shape: 'bad', place: 'Done', result: { shape: 'bad' } });
  expect(glance(failed).result!.words).toContain('a check in the field did not pass');
  expect(nextStep(failed).words).toContain('Do not survey with it');
  for (const state of [checked('passed'), checked('failed', '00000000')]) {
    expect(glance(state)).toMatchObject({ shape: 'good', next: 'Done: calibrated and proven' });
  }
});

it('puts what is wrong before all else, in words and by its shape', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting');
  expect(shortWords(glance(on.state))).toBe('Take, 4 of 56');
  on.board.dropAfter(100);
  await on.ask('take rest');
  const lost = glance(on.state);
  expect(lost).toMatchObject({
    shape: 'bad',
    trouble: 'The link was lost',
    offer: { does: 'link' },
  });
  expect(shortWords(lost)).toMatch(/^The link was lost · Take, \d+ of 56$/);
});

it('shows a board beside steel as not good enough, and offers no more than a closer look', async () => {
  const on = await BenchInProcess.opened({ disturbance: 60 });
  await on.ask('link', 'begin', 'take rest', 'fit');
  const { shape, result, offer } = glance(on.state);
  expect(result).toEqual({ shape: 'bad', words: 'Not good enough yet' });
  expect(shape).toBe('bad');
  expect(offer?.does).not.toBe('write');
  expect(offer?.does).not.toBe('begin'); // it would leave these readings behind
});
