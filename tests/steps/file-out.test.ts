import fc from 'fast-check';
import { expect, it } from 'vitest';
import { fileName } from '../../src/steps/file-out.ts';

it('names a file so that any system takes it, whatever a board is called', () => {
  expect(fileName(['coefficients', '../a:b\\c', 'fit 1'], 'json')).toBe(
    'coefficients _a_b_c fit 1.json',
  );
  expect(fileName(['logbook', undefined, '', '2031-05-12'], 'json')).toBe(
    'logbook 2031-05-12.json',
  );
  fc.assert(
    fc.property(fc.string({ unit: 'binary', maxLength: 200 }), (board) => {
      expect(fileName(['readings', board], 'csv')).toMatch(/^readings( [\w -]{1,40})?\.csv$/);
    }),
  );
});
