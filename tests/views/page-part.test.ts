import fc from 'fast-check';
import { expect, it } from 'vitest';
import {
  boardAddress,
  courseAddress,
  partOf,
  reportAddress,
  workshopAddress,
} from '../../src/views/page-part.ts';

const anything = fc.string({ minLength: 1, unit: 'grapheme' });

it('leads every address that a link has to just the part it was made for, whatever a board or a paper is called', () => {
  fc.assert(
    fc.property(anything, anything, (a, b) => {
      expect(partOf(boardAddress(a))).toEqual({ part: 'logbook', serial: a });
      expect(partOf(reportAddress(a, b))).toEqual({ part: 'report', serial: a, calibration: b });
      expect(partOf(courseAddress(a))).toEqual({ part: 'course', paper: a });
      expect(partOf(workshopAddress(a))).toEqual({ part: 'workshop', paper: a });
      expect(partOf(workshopAddress(a, b))).toEqual({ part: 'workshop', paper: a, kit: b });
    }),
  );
  expect(partOf(workshopAddress())).toEqual({ part: 'workshop' });
});

it('shows the list, or the bench, for an address that means nothing', () => {
  expect(partOf('#workshop/%E0%A4%A/x')).toEqual({ part: 'workshop' });
  expect(partOf('#workshop//x')).toEqual({ part: 'workshop' });
  fc.assert(
    fc.property(anything, (text) => {
      expect(partOf(`#!${text}`)).toEqual({ part: 'bench' });
    }),
  );
});
