import type { AimDegrees, CheckTerms, Landings } from '../../records/entries.ts';

/** Where a check is aimed, place by place, as it follows from its terms. Degrees. */

/** Degrees; metres to what is aimed at, where something depends on that. */
export type CheckAim = Required<AimDegrees> & { distance?: number };

export interface CheckPlace {
  /** Names it within the check. */
  place: string;
  /** Readings of one group were taken along one line at one roll. */
  group: string;
  /** What is aimed at, and from where: names of marks. `from` is absent where one stands in one place all the time. */
  mark: string;
  from?: string;
  roll: number;
  /** Only once a person has said that the battery is changed. */
  afterSwap?: true;
  /** Where a simulated hand aims: real marks are where they are, made-up ones are here. */
  aim: CheckAim;
}

const QUARTERS = [0, 90, 180, 270] as const;

/** The places of a check, in the order in which they are taken. */
export function placesOf(terms: CheckTerms): CheckPlace[] {
  switch (terms.check) {
    case 'rolls':
      return times(terms.each, (round) =>
        QUARTERS.map((roll) => ({
          place: `${roll}° ${round}`,
          group: String(roll),
          mark: terms.mark,
          roll,
          aim: { azimuth: 20, inclination: 10, roll },
        })),
      );
    case 'fore and back':
      return [
        ...times(terms.each, (round) => [sight('A', 'B', `fore ${round}`, 40, 6)]),
        ...times(terms.each, (round) => [sight('B', 'A', `back ${round}`, 220, -6)]),
      ];
    case 'known bearings':
      return terms.marks.flatMap(({ mark, bearing }, i) =>
        times(terms.each, (round) => [
          {
            place: `${i + 1} ${round}`,
            group: String(i),
            mark,
            roll: 0,
            aim: { azimuth: magneticOf(bearing, terms), inclination: 0, roll: 0 },
          },
        ]),
      );
    case 'battery swap':
      return (['before', 'after'] as const).flatMap((part) =>
        times(terms.each, (round) =>
          (['A', 'B'] as const).flatMap((mark) =>
            QUARTERS.map((roll) => ({
              place: `${part} ${mark} ${roll}° ${round}`,
              group: `${mark} ${roll}`,
              mark,
              roll,
              ...(part === 'after' && { afterSwap: true as const }),
              aim: { azimuth: mark === 'A' ? 20 : 110, inclination: 0, roll },
            })),
          ),
        ),
      );
    case 'loop':
      return loopPlaces(terms);
    case 'range':
      return terms.lengths.flatMap((distance, i) =>
        times(terms.each, (round) => [
          {
            place: `${i + 1} ${round}`,
            group: String(i),
            mark: `the end of baseline ${i + 1} (${distance} m)`,
            roll: 0,
            aim: { azimuth: 20, inclination: 0, roll: 0, distance },
          },
        ]),
      );
    case 'beam':
      return (['sight', 'beam'] as const).flatMap((held) =>
        times(terms.each, (round) =>
          QUARTERS.map((roll, i) => beamPlace(held, roll, i, round, terms.far)),
        ),
      );
  }
}

/**
 * A bearing from the north that the terms name, as an azimuth from magnetic north, degrees in [0, 360): true = grid +
 * convergence (grid north east of true north is positive), magnetic = true − declination (magnetic north east of true
 * north is positive).
 */
export function magneticOf(
  bearing: number,
  {
    north,
    declination,
    convergence,
  }: Pick<CheckTerms & { check: 'known bearings' }, 'north' | 'declination' | 'convergence'>,
): number {
  const isTrue = north === 'grid' ? bearing + convergence : bearing;
  const magnetic = north === 'magnetic' ? bearing : isTrue - declination;
  return ((magnetic % 360) + 360) % 360;
}

function times(count: number, of: (round: number) => CheckPlace[]): CheckPlace[] {
  return Array.from({ length: count }, (_, i) => of(i + 1)).flat();
}

function sight(
  from: string,
  mark: string,
  place: string,
  azimuth: number,
  inclination: number,
): CheckPlace {
  const [group] = place.split(' ');
  return { place, group: group!, from, mark, roll: 0, aim: { azimuth, inclination, roll: 0 } };
}

/** The farther mark, by the sight or with the beam on it: then the sight stands beside the mark by what the beam lands off. */
function beamPlace(
  held: 'sight' | 'beam',
  roll: (typeof QUARTERS)[number],
  i: number,
  round: number,
  { distance, landed }: Landings,
): CheckPlace {
  const { right, up } = held === 'sight' ? { right: 0, up: 0 } : landed[i]!;
  const angle = (millimetres: number) => (Math.atan(millimetres / 1000 / distance) * 180) / Math.PI;
  return {
    place: `${held} ${roll}° ${round}`,
    group: `${held} ${roll}`,
    mark: held === 'sight' ? 'the farther mark by the sight' : 'the farther mark with the beam',
    roll,
    aim: { azimuth: 20 - angle(right), inclination: 0 - angle(up), roll },
  };
}

/** Each leg fore from its beginning, then back from its end, where the next begins. */
function loopPlaces({ lengths, each, ways }: CheckTerms & { check: 'loop' }): CheckPlace[] {
  const headings = loopHeadings(lengths);
  const legs = lengths.length;
  const name = (i: number) => String((i % legs) + 1);
  return lengths.flatMap((_, i) => {
    const [here, next] = [name(i), name(i + 1)];
    const azimuth = headings[i]!;
    const along = (way: 'fore' | 'back') =>
      times(each, (round) => {
        const place = `${way} ${i + 1} ${round}`;
        const at =
          way === 'fore'
            ? sight(here, next, place, azimuth, 0)
            : sight(next, here, place, (azimuth + 180) % 360, 0);
        return [{ ...at, group: `${way} ${i + 1}`, aim: { ...at.aim, distance: lengths[i]! } }];
      });
    return ways === 'fore' ? along('fore') : [...along('fore'), ...along('back')];
  });
}

/**
 * Azimuths of the sides of the polygon with these sides whose corners lie on a circle, which encloses its centre or has
 * it beyond its longest side, degrees in [0, 360).
 */
function loopHeadings(lengths: readonly number[]): number[] {
  const longest = lengths.reduce((a, b) => Math.max(a, b), 0);
  // angle that a side takes up at the centre of a circle of radius r
  const angle = (length: number, r: number) => 2 * Math.asin(Math.min(1, length / (2 * r)));
  const others = (r: number) =>
    lengths.reduce((sum, length) => sum + angle(length, r), 0) - angle(longest, r);
  const isCentred = others(longest / 2) >= Math.PI;
  // how far the sides are from going once round, for a circle of radius r: rises where it is beyond, falls where not
  const excess = (r: number) =>
    isCentred ? others(r) + angle(longest, r) - 2 * Math.PI : angle(longest, r) - others(r);
  let [low, high] = [longest / 2, 1e4 * longest];
  for (let i = 0; i < 200; i++) {
    const middle = (low + high) / 2;
    if (excess(middle) > 0) low = middle;
    else high = middle;
  }
  const at = lengths.indexOf(longest);
  const turns = lengths.map((length, i) => {
    const own = angle(length, high);
    return !isCentred && i === at ? 2 * Math.PI - own : own;
  });
  let heading = 30;
  return turns.map((each, i) => {
    if (i > 0) heading += ((turns[i - 1]! + each) / 2) * (180 / Math.PI);
    return ((heading % 360) + 360) % 360;
  });
}
