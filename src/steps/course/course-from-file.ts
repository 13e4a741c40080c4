import type { FileShot } from '../../records/course-csv.ts';
import { isSameLeg, type CourseLayout, type CourseLeg } from '../../records/course-notes.ts';
import type { ShotState } from './course-state.ts';
import { legBetween } from './shot-places.ts';

/** A course that is known from a file of shots alone, with nobody who laid it out. */

/**
 * The course that shots are of: legs by what is known of them, then as they come first in the file.
 *
 * @param known legs of a file of their own; where one stands the other way round than it was shot first, it stays so
 */
export function courseFromShots(
  shots: readonly FileShot[],
  known: readonly CourseLeg[],
  convergence?: number,
): CourseLayout {
  const legs: CourseLeg[] = [...known];
  for (const { from, to } of shots) {
    const isThere = legs.some(
      (leg) => isSameLeg(leg, { from, to }) || isSameLeg(leg, { from: to, to: from }),
    );
    if (!isThere) legs.push({ from, to });
  }
  return {
    name: '',
    stations: [...new Set(legs.flatMap(({ from, to }) => [from, to]))],
    legs,
    each: 1,
    ...(convergence !== undefined && { convergence }),
  };
}

/** The shots of a file on its course, each known by the line that it stands on. */
export const shotsOnCourse = (
  shots: readonly FileShot[],
  layout: CourseLayout,
  file: string,
): ShotState[] =>
  shots.map(({ line, instrument, from, to, azimuth, inclination, taken, setAside }) => {
    const { leg, way } = legBetween(layout, from, to)!; // the layout was made from these
    return {
      id: String(line),
      outing: '',
      leg,
      way,
      instrument: { name: instrument },
      ...(azimuth !== undefined && { azimuth }),
      ...(inclination !== undefined && { inclination }),
      ...(taken !== undefined && { taken }),
      ...(setAside !== undefined && { setAside }),
      source: { from: 'file', file, line },
    };
  });
