import {
  isSameLeg,
  type CourseInstrument,
  type CourseLayout,
  type CourseTerms,
} from '../../records/course-notes.ts';
import type { Attitude } from '../../protocol/simulator.ts';
import { instrumentsOf, type OutingState } from './course-state.ts';
import { placeOn, type ShotPlace } from './shot-places.ts';

/** A course for whoever has no hardware, and how the hand of a simulated board finds its marks. Degrees. */

/** Iron at one station, and one instrument whose sight is bent: what they are is told once it is settled. */
export const MADE_UP_COURSE: CourseLayout = {
  name: 'A made-up course',
  stations: ['A', 'B', 'C', 'D'],
  legs: [
    { from: 'A', to: 'B' },
    { from: 'B', to: 'C' },
    { from: 'C', to: 'D' },
    { from: 'D', to: 'A' },
    { from: 'A', to: 'C' },
    { from: 'B', to: 'D' },
  ],
  each: 2,
  madeUp: { turned: [{ station: 'C', degrees: 1.5 }], bent: 1.2 },
};

export const MADE_UP_TERMS: CourseTerms = {
  stations: { clean: ['A'], sigma: 0.1 },
  tolerance: 0.5,
};

/** By how much up every other station lies, so that legs are not level: degrees of a leg between two unlike ones. */
const RISE = 6;

/** Where stations stand in the picture: on a circle in their order, the first to the north. Unit radius, north and east. */
export function standsAt(
  { stations }: Pick<CourseLayout, 'stations'>,
  station: string,
): { north: number; east: number } {
  const angle = (2 * Math.PI * stations.indexOf(station)) / stations.length;
  return { north: Math.cos(angle), east: Math.sin(angle) };
}

/** The azimuth from one station to another in that picture; what is known of the leg comes first. */
export function pictureAzimuth(layout: CourseLayout, { leg, way }: Pick<ShotPlace, 'leg' | 'way'>) {
  const [from, to] = [standsAt(layout, leg.from), standsAt(layout, leg.to)];
  const known = layout.legs.find((each) => isSameLeg(each, leg))?.azimuth;
  const fore =
    known?.north === 'magnetic'
      ? known.degrees
      : (Math.atan2(to.east - from.east, to.north - from.north) * 180) / Math.PI;
  return (fore + (way === 'back' ? 540 : 360)) % 360;
}

/** What stands for iron at the station where a place is shot from. */
const ironAt = ({ madeUp }: CourseLayout, { at }: Pick<ShotPlace, 'at'>): number =>
  madeUp?.turned.find(({ station }) => station === at)?.degrees ?? 0;

/**
 * How the simulated hand holds a board for a shot, and by how much that is beside the mark, for iron or a bent sight.
 *
 * @param isBent whether it is this board whose sight is bent, where the course is made up
 */
export function heldFor(
  layout: CourseLayout,
  place: ShotPlace,
  isBent: boolean,
): { aim: Attitude; turned: number } {
  const turned = ironAt(layout, place) + (isBent ? (layout.madeUp?.bent ?? 0) : 0);
  const known = layout.legs.find((each) => isSameLeg(each, place.leg))?.inclination;
  const [from, to] = [place.leg.from, place.leg.to].map((name) => layout.stations.indexOf(name));
  const fore = known?.degrees ?? RISE * ((to! % 2) - (from! % 2));
  return {
    aim: {
      azimuth: (pictureAzimuth(layout, place) + turned + 360) % 360,
      inclination: place.way === 'fore' ? fore : -fore,
      roll: 0,
    },
    turned,
  };
}

/** What a made-up course was made of, once it is settled; nothing for one that is real. */
export function madeUpWords(
  layout: CourseLayout,
  { shots }: Pick<OutingState, 'shots'>,
  nameOf: (instrument: CourseInstrument) => string,
): string[] {
  const { madeUp } = layout;
  if (!madeUp) return [];
  const bent = instrumentsOf({
    shots: shots.filter(({ leg, way, source }) => {
      const turned = 'turned' in source ? (source.turned ?? 0) : 0;
      return Math.abs(turned - ironAt(layout, placeOn(leg, way))) > madeUp.bent / 2;
    }),
  });
  return [
    ...madeUp.turned.map(
      ({ station, degrees }) =>
        `Station ${station} was made to turn every azimuth by ${degrees.toFixed(2)}°, as iron there would.`,
    ),
    ...bent.map(
      (each) =>
        `${nameOf(each)} was held ${madeUp.bent.toFixed(2)}° to the right of every mark, as if its sight were bent: its azimuths show so much too much.`,
    ),
  ];
}
