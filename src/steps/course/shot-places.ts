import {
  instrumentKey,
  isSameLeg,
  type CourseInstrument,
  type CourseLayout,
  type ShotWay,
} from '../../records/course-notes.ts';
import type { ShotState } from './course-state.ts';

/** Where a course is shot from, and what at, place by place. */

export interface ShotPlace {
  leg: { from: string; to: string };
  way: ShotWay;
  /** Station stood at, and the one aimed at. */
  at: string;
  aimed: string;
}

/** One leg from one of its ends. */
export const placeOn = (leg: { from: string; to: string }, way: ShotWay): ShotPlace => ({
  leg: { from: leg.from, to: leg.to },
  way,
  at: way === 'fore' ? leg.from : leg.to,
  aimed: way === 'fore' ? leg.to : leg.from,
});

/**
 * The places of a course in the order in which they are walked: each leg fore from its beginning, then back from its
 * end, where the next begins; each so often as the layout says.
 */
export const placesOf = ({ legs, each }: CourseLayout): ShotPlace[] =>
  legs.flatMap((leg) =>
    (['fore', 'back'] as const).flatMap((way) =>
      Array.from({ length: each }, () => placeOn(leg, way)),
    ),
  );

export const isSamePlace = (
  a: Pick<ShotPlace, 'leg' | 'way'>,
  b: Pick<ShotPlace, 'leg' | 'way'>,
): boolean => a.way === b.way && isSameLeg(a.leg, b.leg);

/** The places of which an instrument still lacks a shot that counts. */
export function openPlaces(
  layout: CourseLayout,
  shots: readonly ShotState[],
  instrument: CourseInstrument,
): ShotPlace[] {
  const key = instrumentKey(instrument);
  const left = shots.filter(
    (shot) => shot.setAside === undefined && instrumentKey(shot.instrument) === key,
  );
  return placesOf(layout).filter((place) => {
    const at = left.findIndex((shot) => isSamePlace(shot, place));
    if (at < 0) return true;
    left.splice(at, 1); // one shot fills one place
    return false;
  });
}

/** The leg between two stations, and the way it is shot from the first to the second. */
export function legBetween(
  { legs }: Pick<CourseLayout, 'legs'>,
  at: string,
  aimed: string,
): ShotPlace | undefined {
  for (const leg of legs) {
    if (leg.from === at && leg.to === aimed) return placeOn(leg, 'fore');
    if (leg.to === at && leg.from === aimed) return placeOn(leg, 'back');
  }
  return undefined;
}
