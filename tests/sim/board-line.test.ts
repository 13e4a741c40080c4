import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { KINDS } from '../../firmware-sim/kinds.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { BadLine, boardFrom, changedSettings } from '../../sim/board-line.ts';

describe('a board, as a person writes it,', () => {
  test('is an ordinary one where nothing is written', () => {
    expect(boardFrom('')).toEqual({ kind: KINDS[0], settings: defaultSettings, drop: 0 });
  });

  test('has each setting, fault and kind that is named, and later words win', () => {
    const { kind, settings, drop } = boardFrom(
      'seed=3,lose=0.5 drop=0.001',
      'kind=ring,seed=7,delay=20,accMounting=+x+y+z',
    );
    expect(kind.name).toBe('ring');
    expect(drop).toBe(0.001);
    expect(settings).toEqual({
      ...defaultSettings,
      seed: 7,
      accMounting: '+x+y+z',
      faults: { ...defaultSettings.faults, lose: 0.5, delayMs: 20 },
    });
  });

  test('has what is wrong with it', () => {
    expect(boardFrom('fault=mag-lag').settings).toEqual({
      ...defaultSettings,
      boardFault: 'mag-lag',
    });
  });

  test('has what its kind is like below what is written, wherever the kind stands', () => {
    const [coarse] = KINDS.filter(({ name }) => name === 'coarse');
    expect(boardFrom('kind=coarse').settings).toMatchObject(coarse!.settings);
    expect(boardFrom('accNoise=2', 'kind=coarse').settings.accNoise).toBe(2);
  });

  test.each([
    ['kind=none', 'plain, ring, coarse, bare'],
    ['dip=steep', 'dip is a number'],
    ['dip=91', 'between -90 and 90'],
    ['depth=3', 'There is no setting “depth”'],
    ['toString=3', 'There is no setting “toString”'],
    ['dip', 'name=value'],
    ['drop=2', '0 to 1'],
    ['accMounting=up', 'up'],
    ['seed=1.5', 'whole number'],
    ['fault=bent', 'acc-stuck, mag-stuck'],
  ])('is refused as %s, with what may stand there', (line, words) => {
    expect(() => boardFrom(line)).toThrow(BadLine);
    expect(() => boardFrom(line)).toThrow(words);
  });

  test('is made, or refused as badly written, whatever is typed', () => {
    fc.assert(
      fc.property(fc.string(), (text) => {
        try {
          changedSettings(defaultSettings, text);
        } catch (error) {
          expect(error).toBeInstanceOf(BadLine);
        }
      }),
    );
  });
});

test('what was set before is left as it is by a change, and by one that is refused', () => {
  const before = structuredClone(defaultSettings);
  expect(changedSettings(before, 'lose=0.25').faults.lose).toBe(0.25);
  expect(() => changedSettings(before, 'lose=0.5,dip=100')).toThrow(BadLine);
  expect(before).toEqual(defaultSettings);
});
