import { expect, it } from 'vitest';
import type { Entry } from '../../src/records/entries.ts';
import { NOTHING_SINCE, sinceAfter } from '../../src/records/since-calibrated.ts';

const within = { board: 'B1', time: '2031-05-01T09:00:00.000Z', calibration: 'c1' };
const staged = (fit: string): Entry => ({
  ...within,
  kind: 'staged',
  fit,
  set: { model: 'straight', values: [1, 1, ...Array<number>(24).fill(0)] },
  crc: '0000000A',
});

it('finds no temperatures under an id that no fit has, also where every object has something of that name', () => {
  for (const id of ['fit 1', 'constructor', 'toString', '__proto__']) {
    const { fitting } = sinceAfter(NOTHING_SINCE, staged(id));
    expect(fitting).toEqual({ calibration: 'c1', spans: {}, staged: { crc: '0000000A' } });
    expect(structuredClone(fitting)).toEqual(fitting); // else no logbook could keep it
  }
});

it('finds the temperatures of the fit that is staged, whatever its id', () => {
  for (const id of ['fit 1', 'constructor', '__proto__']) {
    const temperature = { coldest: 3, warmest: 21 };
    const fit = { ...within, kind: 'fit', id, holdsFor: { temperature } } as unknown as Entry;
    const { fitting } = [fit, staged(id)].reduce(sinceAfter, NOTHING_SINCE);
    expect(fitting!.staged).toEqual({ crc: '0000000A', temperature });
  }
});
