import { expect, it } from 'vitest';
import { coefficientsFrom } from '../../src/calib/model.ts';
import type { FittedReading } from '../../src/calib/fit.ts';
import { whyBad } from '../../src/calib/screening.ts';

const NOISE = { acc: 0.001, mag: 0.001, aim: 0.001 };
/** Counts are lengths as they are: scales of one, no offsets, matrices of one. */
const ONE = [1, 0, 0, 0, 1, 0, 0, 0, 1];
const STRAIGHT = coefficientsFrom('straight', [1, 1, 0, 0, 0, ...ONE, 0, 0, 0, ...ONE]);

/** Why a single reading was set aside whose field is too long by so much. */
function why(excess: number): string {
  const seen = { id: '1', used: false, field: 1 + excess, gravity: 1 } as FittedReading;
  return whyBad(
    '1',
    [{ id: '1', acc: [0, 0, 1], mag: [1 + excess, 0, 0] }],
    [seen],
    STRAIGHT,
    0,
    NOISE,
  );
}

it('says that a reading was disturbed where nothing else explains it, and else that chance may', () => {
  expect(why(0.02)).toBe("the field's length is off by 2.0 %: the field was disturbed");
  expect(why(0.0049)).toBe("the field's length is off by 0.5 %: perhaps disturbed, or chance");
  expect(why(0.0051)).toBe("the field's length is off by 0.5 %: the field was disturbed");
});
