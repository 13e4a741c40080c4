import { degrees } from '../../calib/geometry.ts';
import { applyCoefficients, type Coefficients } from '../../calib/model.ts';
import type { BoardReading } from '../../protocol/board.ts';
import type { StoredEntry } from '../../records/entries.ts';
import { sameReading } from '../calibration-state.ts';
import { coefficientsOfSet, setsOfBoard } from '../logbook/sets-of-board.ts';
import type { CourseState, OutingState } from './course-state.ts';
import {
  expectedPlaces,
  matchByNearness,
  matchByOrder,
  type Angles,
  type Match,
} from './matching.ts';
import { openPlaces } from './shot-places.ts';

/** A reading of a board's memory, seen through the coefficients that it was taken with, and what it may have been. */
export interface MemoryProposal extends Angles, Match {
  reading: BoardReading;
  generation: number;
  crc: string;
}

/** More than anyone shoots in an afternoon with one board. */
const MOST = 500;

/**
 * The readings of a board's memory that the logbook has and the course does not, in the order of their numbers. Those
 * whose coefficients the logbook does not know are left out: they show no direction.
 *
 * @param entries of the board
 * @param by how they are told apart: they follow the places that are open, or each is of the place that it points along
 * @param first number of the first reading that may be one of the course's
 */
export function readingsForCourse(
  entries: readonly StoredEntry[],
  board: string,
  { layout, outings }: CourseState,
  outing: OutingState,
  by: 'order' | 'nearness',
  first = 0,
): MemoryProposal[] {
  const { sets } = setsOfBoard(entries);
  const taken = entries
    .flatMap((entry) => (entry.kind === 'memory saved' ? entry.readings : []))
    .filter(
      (reading) =>
        reading.reading >= first && !outings.some((each) => hasReading(each, board, reading)),
    )
    .sort((a, b) => a.reading - b.reading);
  const seen = taken.flatMap((reading) => {
    const set = sets.find(({ generations }) => generations.includes(reading.generation));
    const coefficients = set && coefficientsOfSet(set);
    const angles = coefficients && anglesThrough(coefficients, reading);
    return angles ? [{ reading, generation: reading.generation, crc: set.crc, ...angles }] : [];
  });
  const some = seen.slice(-MOST);
  const expected = expectedPlaces(
    layout,
    outings.flatMap(({ shots }) => shots),
  );
  const matches =
    by === 'order'
      ? matchByOrder(some, openPlaces(layout, outing.shots, { board }), expected)
      : matchByNearness(some, expected);
  return some.map((each, i) => ({ ...each, ...matches[i] }));
}

/** Whether a shot of the outing is this very reading. */
export const hasReading = (
  { shots }: Pick<OutingState, 'shots'>,
  board: string,
  reading: BoardReading,
): boolean =>
  shots.some(
    ({ instrument, source }) =>
      'board' in instrument &&
      instrument.board === board &&
      'reading' in source &&
      sameReading(source.reading, reading) &&
      source.reading.reading === reading.reading,
  );

/** What a reading shows through coefficients, degrees; undefined where that is no direction. */
export function anglesThrough(
  coefficients: Coefficients,
  { acc, mag }: Pick<BoardReading, 'acc' | 'mag'>,
): Angles | undefined {
  const { azimuth, inclination } = applyCoefficients(coefficients, acc, mag);
  if (azimuth === undefined || inclination === undefined) return undefined;
  return { azimuth: degrees(azimuth), inclination: degrees(inclination) };
}
