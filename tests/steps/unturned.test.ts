import { expect, it } from 'vitest';
import { readingRows } from '../../src/steps/reading-rows.ts';
import { UNTURNED_WORDS } from '../../src/steps/unturned.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { BenchInProcess } from './bench-in-process.ts';

const doubted = (on: BenchInProcess) =>
  readingRows(on.calibration, on.state.history.identity).flatMap(({ id, doubt }) =>
    doubt ? [id] : [],
  );

it('asks whether the board was turned when a reading is like the one before, though aimed otherwise', async () => {
  const on = await BenchInProcess.opened();
  const far = inProcessBoard(defaultSettings, on.clock);
  on.kinds.socket = () => far.link;
  await on.run(on.bench.link('socket', { address: 'ws://localhost:1' }));
  await on.ask('begin', 'take one');
  expect(on.state.said).not.toContain(UNTURNED_WORDS);
  await on.ask('take one'); // and nobody turned it
  expect(on.state.said).toBe(
    `Reading 2 taken: north, level, rolled a quarter right. ${UNTURNED_WORDS} If not, set it aside in the table and retake it.`,
  );
  expect(doubted(on)).toEqual(['2']);
  await on.run(
    on.place.mark({ does: 'set aside', reading: '2', reason: 'Held at the wrong roll' }),
  );
  expect(doubted(on)).toEqual([]);
});

it('has no such doubt of a board that was turned, in any place of the plan and of the proof', async () => {
  const on = await BenchInProcess.opened({ magNoise: 0.01, accNoise: 0.01 });
  const said: string[] = [];
  on.bench.subscribe(() => said.push(on.state.said));
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove');
  expect(on.calibration.proofReadings).toHaveLength(12);
  expect(doubted(on)).toEqual([]);
  expect(said.filter((each) => each.includes(UNTURNED_WORDS))).toEqual([]);
});

it('has no such doubt of a reading taken again in the same place', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take one');
  await on.run(on.place.mark({ does: 'set aside', reading: '1', reason: 'It moved' }));
  await on.ask('take gaps');
  expect(on.calibration.readings).toHaveLength(2);
  expect(on.state.said).not.toContain(UNTURNED_WORDS);
});
