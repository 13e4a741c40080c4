import type { CourseInstrument, CourseLayout } from '../../../src/records/course-notes.ts';
import type { ShotState } from '../../../src/steps/course/course-state.ts';
import { placesOf } from '../../../src/steps/course/shot-places.ts';

/** A course whose truth is known, and shots on it, for tests. Degrees. */

export const SQUARE: CourseLayout = {
  name: 'four stakes in a meadow',
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
};

/** Azimuth from magnetic north and inclination of each leg of {@link SQUARE}, in its order. */
export const TRUTH: readonly { azimuth: number; inclination: number }[] = [
  { azimuth: 40, inclination: 6 },
  { azimuth: 132, inclination: -3 },
  { azimuth: 221, inclination: 0 },
  { azimuth: 309, inclination: -2 },
  { azimuth: 86, inclination: 2 },
  { azimuth: 358, inclination: 4 },
];

export interface Wrongs {
  /** What azimuths, inclinations of an instrument show too much. */
  constants?: Record<string, number>;
  indices?: Record<string, number>;
  /** What azimuths at a station show too much. */
  stations?: Record<string, number>;
  noise?: number;
  seed?: number;
  truth?: readonly { azimuth: number; inclination: number }[];
}

export const hexId = (n: number): string => n.toString(16).padStart(32, '0');

export function shotsOf(
  layout: CourseLayout,
  names: readonly string[],
  {
    constants = {},
    indices = {},
    stations = {},
    noise = 0.2,
    seed = 1,
    truth = TRUTH,
  }: Wrongs = {},
  outing = hexId(0xa),
): ShotState[] {
  const chance = normals(seed);
  let n = seed * 100_000;
  return names.flatMap((name) =>
    placesOf(layout).map((place): ShotState => {
      const leg = layout.legs.findIndex(
        ({ from, to }) => from === place.leg.from && to === place.leg.to,
      );
      const { azimuth, inclination } = truth[leg]!;
      const isBack = place.way === 'back';
      const shown =
        azimuth +
        (isBack ? 180 : 0) +
        (constants[name] ?? 0) +
        (stations[place.at] ?? 0) +
        noise * chance();
      const instrument: CourseInstrument = { name };
      return {
        id: hexId(++n),
        outing,
        leg: place.leg,
        way: place.way,
        instrument,
        azimuth: ((shown % 360) + 360) % 360,
        inclination:
          (isBack ? -inclination : inclination) + (indices[name] ?? 0) + noise * chance(),
        source: { from: 'hand' },
      };
    }),
  );
}

/** Standard normal numbers: mulberry32 and the polar way of Box and Muller. */
function normals(seed: number): () => number {
  let state = seed >>> 0;
  const uniform = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
  return () => {
    for (;;) {
      const [u, w] = [2 * uniform() - 1, 2 * uniform() - 1];
      const s = u * u + w * w;
      if (s > 0 && s < 1) return u * Math.sqrt((-2 * Math.log(s)) / s);
    }
  };
}
