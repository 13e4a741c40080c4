import { describe, expect, it } from 'vitest';
import { FollowingLate } from '../../firmware-sim/board-faults.ts';
import { BOARD_FAULTS, type BoardFault } from '../../src/protocol/simulator.ts';
import { numbers, Terminal } from './terminal.ts';

/** Looks, level, nose up and right side down, as the board said them. */
function said(boardFault?: BoardFault): string {
  const terminal = new Terminal(boardFault && { boardFault });
  terminal.hello();
  terminal.ask('sense');
  terminal.ask('sense');
  void terminal.board.hold({ azimuth: 20, inclination: 90, roll: 0 });
  terminal.ask('sense');
  void terminal.board.hold({ azimuth: 0, inclination: 0, roll: 90 });
  terminal.ask('sense');
  return terminal.heard;
}

const without = (text: string, ...names: string[]) =>
  names.reduce(
    (rest, name) => rest.replaceAll(new RegExp(` ${name}=[^ \n]*`, 'g'), ''),
    text.replaceAll(/ #[0-9A-F]{4}/g, ''),
  );

const faults = (Object.keys(BOARD_FAULTS) as BoardFault[]).filter((fault) => fault !== 'none');

describe('a simulated board', () => {
  it('says the same, byte for byte, with no fault named and with the fault “none”', () => {
    expect(said('none')).toBe(said());
  });

  it.each(faults)('changes by %s nothing but what that fault is about', (fault) => {
    const [chip] = fault.split('-');
    const own =
      chip === 'acc' || chip === 'mag'
        ? [chip, `${chip}_scatter`]
        : [fault.startsWith('supply') ? 'volt' : 'temp_c'];
    const [sound, faulty] = [said(), said(fault)];
    expect(faulty).not.toBe(sound);
    // a board that refuses to read says nothing of the rest either
    if (faulty.includes('code=')) expect(faulty).toMatch(/code=(saturated|low_power) /);
    else expect(without(faulty, ...own)).toBe(without(sound, ...own));
  });

  it('is put right again by setting that nothing is wrong with it', async () => {
    const terminal = new Terminal({ boardFault: 'acc-silent' });
    terminal.hello();
    expect(numbers(terminal.ask('sense').fields, 'acc')).toEqual([-1, -1, -1]);
    await terminal.board.adjust({ boardFault: 'none' });
    expect(Math.hypot(...numbers(terminal.ask('sense').fields, 'acc'))).toBeGreaterThan(15_000);
  });

  it('refuses a fault that there is none of', () => {
    expect(() => new Terminal({ boardFault: 'toString' as BoardFault })).toThrow('toString');
  });
});

it('a chip that comes behind nears a new value by the same part in the same time, and never leaps', () => {
  const late = new FollowingLate(100);
  expect(late.follow([0, 0, 0], 0)).toEqual([0, 0, 0]);
  expect(late.follow([1, 2, 4], 100)[0]).toBeCloseTo(1 - Math.exp(-1), 12);
  expect(late.follow([1, 2, 4], 200)[2]).toBeCloseTo(4 * (1 - Math.exp(-2)), 12);
  expect(late.follow([1, 2, 4], 150)[2]).toBeCloseTo(4 * (1 - Math.exp(-2)), 12);
});
