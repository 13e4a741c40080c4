import {
  instrumentKey,
  type CourseInstrument,
  type CourseLayout,
} from '../../records/course-notes.ts';
import type { Attitude } from '../../protocol/simulator.ts';
import { instrumentsOf, type OutingState } from './course-state.ts';
import type { ShotPlace } from './shot-places.ts';

/** A course for whoever has no hardware, and how the hand of a simulated board finds its marks. Degrees. */

/** Six legs, iron at one station, and one instrument whose sight is bent: what they are is told once it is settled. */
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
  const known = layout.legs.find((each) => each.from === leg.from && each.to === leg.to)?.azimuth;
  const fore =
    known?.north === 'magnetic'
      ? known.degrees
      : (Math.atan2(to.east - from.east, to.north - from.north) * 180) / Math.PI;
  return (fore + (way === 'back' ? 540 : 360)) % 360;
}

/** How the simulated hand holds a board for a shot, and what of it stands for iron or a bent sight. */
export function heldFor(
  layout: CourseLayout,
  outing: Pick<OutingState, 'shots'>,
  place: ShotPlace,
  instrument: CourseInstrument,
): { aim: Attitude; turned: number } {
  const { madeUp } = layout;
  const iron = madeUp?.turned.find(({ station }) => station === place.at)?.degrees ?? 0;
  const turned = iron + (isBent(outing, instrument) ? (madeUp?.bent ?? 0) : 0);
  const known = layout.legs.find(
    (each) => each.from === place.leg.from && each.to === place.leg.to,
  )?.inclination;
  const [from, to] = [
    layout.stations.indexOf(place.leg.from),
    layout.stations.indexOf(place.leg.to),
  ];
  const fore = known?.degrees ?? RISE * ((to % 2) - (from % 2));
  return {
    aim: {
      azimuth: (pictureAzimuth(layout, place) + turned + 360) % 360,
      inclination: place.way === 'fore' ? fore : -fore,
      roll: 0,
    },
    turned,
  };
}

/** The second instrument of the day is the one with the bent sight. */
function isBent(outing: Pick<OutingState, 'shots'>, instrument: CourseInstrument): boolean {
  const keys = instrumentsOf(outing).map(instrumentKey);
  const own = keys.indexOf(instrumentKey(instrument));
  return (own < 0 ? keys.length : own) === 1;
}

/** What a made-up course was made of, once it is settled; nothing for one that is real. */
export function madeUpWords(layout: CourseLayout, outing: Pick<OutingState, 'shots'>): string[] {
  const { madeUp } = layout;
  if (!madeUp) return [];
  const second = instrumentsOf(outing)[1];
  const name = second && ('board' in second ? second.board : second.name);
  return [
    ...madeUp.turned.map(
      ({ station, degrees }) =>
        `Station ${station} was made to turn every azimuth by ${degrees.toFixed(2)}°, as iron there would.`,
    ),
    ...(name
      ? [
          `${name} was held ${madeUp.bent.toFixed(2)}° to the right of every mark, as if its sight were bent: its azimuths show so much too much.`,
        ]
      : []),
  ];
}
