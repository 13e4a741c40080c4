import { type CourseLayout } from '../../records/course-notes.ts';
import type { ShotState } from './course-state.ts';
import { legBetween, placeOn, type ShotPlace } from './shot-places.ts';

/** Which reading of a board's memory was a shot of which place. Degrees. */

export interface Angles {
  azimuth?: number;
  inclination?: number;
}

/** What is proposed for one reading: nothing where no place is near, and why a person should look at it. */
export interface Match {
  place?: ShotPlace;
  doubt?: string;
}

/** A place with what an instrument shows there, as far as other shots tell. */
export interface ExpectedPlace {
  place: ShotPlace;
  angles: Required<Angles>;
}

/** Instruments and hands differ by less, degrees; what is further off was aimed elsewhere. */
const NEAR = 5;
/** A place that is nearer than another by less may be either, degrees. */
const APART = 3;

/** Readings as they follow each other, to places as they follow each other. */
export function matchByOrder(
  readings: readonly Angles[],
  places: readonly ShotPlace[],
  expected: readonly ExpectedPlace[],
): Match[] {
  return readings.map((reading, i) => {
    const place = places[i];
    if (!place) return { doubt: 'There are more readings than places: none is left for this one.' };
    const there = expectedAt(place, expected);
    const off = there && distance(reading, there.angles);
    if (off === undefined || off <= NEAR) return { place };
    const nearest = nearestTo(reading, expected)[0];
    const other =
      nearest && nearest.off <= NEAR ? `, and is nearer to ${placeName(nearest.place)}` : '';
    return { place, doubt: `It points ${off.toFixed(0)}° away from there${other}.` };
  });
}

/** Each reading to the place that it points along, whatever the order; a doubt where two are about as near, or none is. */
export function matchByNearness(
  readings: readonly Angles[],
  expected: readonly ExpectedPlace[],
): Match[] {
  return readings.map((reading) => {
    const [first, second] = nearestTo(reading, expected);
    if (!first) return { doubt: 'Nothing is known yet of where the legs point.' };
    if (first.off > NEAR) {
      return {
        doubt: `No leg is near: the nearest, ${placeName(first.place)}, is ${first.off.toFixed(0)}° away.`,
      };
    }
    if (second && second.off - first.off < APART) {
      return {
        place: first.place,
        doubt: `${placeName(second.place)} is about as near (${second.off.toFixed(1)}° against ${first.off.toFixed(1)}°).`,
      };
    }
    return { place: first.place };
  });
}

/**
 * What each place shows, by the shots of any instrument, and where none are, from the other end of its leg or from what
 * is known of it from magnetic north.
 */
export function expectedPlaces(layout: CourseLayout, shots: readonly ShotState[]): ExpectedPlace[] {
  return layout.legs.flatMap((leg) => {
    const fore = shots.flatMap((shot) => {
      const { at, aimed } = placeOn(shot.leg, shot.way);
      const place = legBetween({ legs: [leg] }, at, aimed);
      if (shot.setAside !== undefined || !place) return [];
      return [place.way === 'fore' ? anglesIn(shot) : reversed(anglesIn(shot))];
    });
    const azimuth =
      meanAzimuth(fore.flatMap((each) => each.azimuth ?? [])) ??
      (leg.azimuth?.north === 'magnetic' ? leg.azimuth.degrees : undefined);
    const inclination =
      mean(fore.flatMap((each) => each.inclination ?? [])) ?? leg.inclination?.degrees ?? 0;
    if (azimuth === undefined) return [];
    const angles = { azimuth, inclination };
    return [
      { place: placeOn(leg, 'fore'), angles },
      { place: placeOn(leg, 'back'), angles: reversed(angles) as Required<Angles> },
    ];
  });
}

export const placeName = ({ at, aimed }: ShotPlace): string => `${at} to ${aimed}`;

/** What is different about a shot of a place that was shot by this instrument before; undefined where nothing is. */
export function unlike(
  angles: Angles,
  place: ShotPlace,
  shots: readonly ShotState[],
  layout: CourseLayout,
): string | undefined {
  const there = expectedAt(place, expectedPlaces(layout, shots));
  const off = there && distance(angles, there.angles);
  return off === undefined || off <= NEAR
    ? undefined
    : `It points ${off.toFixed(0)}° away from what the other shots of ${placeName(place)} show: is that the right mark?`;
}

const anglesIn = ({ azimuth, inclination }: Angles): Angles => ({
  ...(azimuth !== undefined && { azimuth }),
  ...(inclination !== undefined && { inclination }),
});

function reversed({ azimuth, inclination }: Angles): Angles {
  return {
    ...(azimuth !== undefined && { azimuth: (azimuth + 180) % 360 }),
    ...(inclination !== undefined && { inclination: -inclination }),
  };
}

const expectedAt = (place: ShotPlace, expected: readonly ExpectedPlace[]) =>
  expected.find((each) => each.place.at === place.at && each.place.aimed === place.aimed);

function nearestTo(reading: Angles, expected: readonly ExpectedPlace[]) {
  return expected
    .flatMap(({ place, angles }) => {
      const off = distance(reading, angles);
      return off === undefined ? [] : [{ place, off }];
    })
    .sort((a, b) => a.off - b.off);
}

/** Angle between two lines, or, of one with no azimuth, between their inclinations; degrees. */
function distance(a: Angles, b: Required<Angles>): number | undefined {
  const rise = a.inclination === undefined ? 0 : a.inclination - b.inclination;
  if (a.azimuth === undefined) return a.inclination === undefined ? undefined : Math.abs(rise);
  const level = Math.cos((b.inclination * Math.PI) / 180);
  return Math.hypot(rise, level * difference(b.azimuth, a.azimuth));
}

/** In [−180, 180). */
const difference = (from: number, to: number): number =>
  ((((to - from + 180) % 360) + 360) % 360) - 180;

const mean = (values: readonly number[]): number | undefined =>
  values.length === 0 ? undefined : values.reduce((sum, value) => sum + value, 0) / values.length;

function meanAzimuth(values: readonly number[]): number | undefined {
  const [first] = values;
  if (first === undefined) return undefined;
  const about = mean(values.map((value) => difference(first, value)))!;
  return (((first + about) % 360) + 360) % 360;
}
