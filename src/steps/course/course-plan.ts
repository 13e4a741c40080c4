import { isSameLeg, type CourseLayout } from '../../records/course-notes.ts';
import type { CourseState } from './course-state.ts';
import { expectedPlaces } from './matching.ts';
import { standsAt } from './simulated-course.ts';

/** The picture of a course from above: right in bearing, as far as bearings are known, and not to scale. */
export interface CoursePlan {
  stations: readonly PlannedStation[];
  legs: readonly { from: PlannedStation; to: PlannedStation; isKnown: boolean }[];
  /** What is to be known of it, in words. */
  words: string;
}

/** `x` to the east, `y` to the south; all within 0 to 1. */
export interface PlannedStation {
  name: string;
  x: number;
  y: number;
}

/** How much less the length of a leg matters than its bearing. */
const LENGTH_WEIGHT = 0.02;
const SWEEPS = 400;

/**
 * Places the stations so that legs point along their azimuths, each about as long as another: least squares, one station
 * after the other in turn until they rest.
 */
export function planOf({ layout, outings }: CourseState): CoursePlan {
  const { stations, legs } = layout;
  const shots = outings.flatMap((outing) => outing.shots);
  const expected = expectedPlaces(layout, shots);
  const azimuths = legs.map(
    (leg) =>
      leg.azimuth?.degrees ??
      expected.find(({ place }) => place.way === 'fore' && isSameLeg(place.leg, leg))?.angles
        .azimuth,
  );
  const at = stations.map((name) => standsAt(layout, name));
  const pulls = legs.flatMap(({ from, to }, i) => {
    const azimuth = azimuths[i];
    if (azimuth === undefined) return [];
    const along = { north: cosine(azimuth), east: sine(azimuth) };
    return [{ from: stations.indexOf(from), to: stations.indexOf(to), along }];
  });
  for (let sweep = 0; sweep < SWEEPS && pulls.length > 0; sweep++) {
    at.forEach((_, i) => {
      // the normal equations of this station alone, the others held
      let [nn, ne, ee, bn, be] = [0, 0, 0, 0, 0];
      for (const { from, to, along } of pulls) {
        if (from !== i && to !== i) continue;
        const other = at[from === i ? to : from]!;
        const sign = from === i ? -1 : 1;
        const { north, east } = along;
        const [wn, we, wx] = [
          east * east + LENGTH_WEIGHT * north * north,
          north * north + LENGTH_WEIGHT * east * east,
          (LENGTH_WEIGHT - 1) * north * east,
        ];
        const goal = { north: other.north + sign * north, east: other.east + sign * east };
        nn += wn;
        ee += we;
        ne += wx;
        bn += wn * goal.north + wx * goal.east;
        be += wx * goal.north + we * goal.east;
      }
      const determinant = nn * ee - ne * ne;
      if (determinant < 1e-9) return; // nothing holds it but where it is
      at[i] = { north: (bn * ee - be * ne) / determinant, east: (be * nn - bn * ne) / determinant };
    });
  }
  const placed = fitted(stations, at);
  return {
    stations: placed,
    legs: legs.map(({ from, to }, i) => ({
      from: placed[stations.indexOf(from)]!,
      to: placed[stations.indexOf(to)]!,
      isKnown: azimuths[i] !== undefined,
    })),
    words: planWords(layout, azimuths),
  };
}

/** Into a square, whatever their extent, north at the top. */
function fitted(
  names: readonly string[],
  at: readonly { north: number; east: number }[],
): PlannedStation[] {
  const [norths, easts] = [at.map(({ north }) => north), at.map(({ east }) => east)];
  const [top, left] = [Math.max(...norths), Math.min(...easts)];
  const extent = Math.max(top - Math.min(...norths), Math.max(...easts) - left, 1e-6);
  const [padX, padY] = [
    (1 - (Math.max(...easts) - left) / extent) / 2,
    (1 - (top - Math.min(...norths)) / extent) / 2,
  ];
  return names.map((name, i) => ({
    name,
    x: padX + (at[i]!.east - left) / extent,
    y: padY + (top - at[i]!.north) / extent,
  }));
}

function planWords({ stations, legs }: CourseLayout, azimuths: readonly (number | undefined)[]) {
  const known = azimuths.filter((each) => each !== undefined).length;
  const size = `${stations.length} stations, ${legs.length} ${legs.length === 1 ? 'leg' : 'legs'}.`;
  if (known === 0) {
    return `${size} No bearing is known yet: the stations stand round a circle in their order.`;
  }
  const rest =
    known < legs.length ? ` ${legs.length - known} of the legs have none yet (dashed).` : '';
  return `${size} Seen from above, north at the top: bearings are right, lengths are not to scale.${rest}`;
}

const cosine = (degrees: number) => Math.cos((degrees * Math.PI) / 180);
const sine = (degrees: number) => Math.sin((degrees * Math.PI) / 180);
