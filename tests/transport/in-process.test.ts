import { expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { byteLinkContract } from './contract.ts';
import { PROBE } from './probe.ts';

byteLinkContract('the simulated board in the same thread', () => {
  const clock = new VirtualClock();
  const { link, board } = inProcessBoard(defaultSettings, clock);
  return {
    link,
    probe: PROBE,
    drop: async () => board.dropAfter(0),
    run: (work) => clock.run(work),
    settle: async () => clock.advance(1000),
    end: () => {},
  };
});

test('a board without power cannot be opened, and says so', async () => {
  const { link, board } = inProcessBoard(defaultSettings, new VirtualClock());
  board.cutPower();
  await expect(link.open({ bytes: () => {}, closed: () => {} })).rejects.toThrow('no power');
});

test('a setting out of range makes no board', () => {
  expect(() => inProcessBoard({ ...defaultSettings, dip: 200 }, new VirtualClock())).toThrow(
    RangeError,
  );
});
