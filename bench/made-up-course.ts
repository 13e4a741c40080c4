import { randomStream } from '../firmware-sim/random.ts';
import type { Course, CourseShot, CourseTerms, Way } from '../src/calib/check-course.ts';

/**
 * A made-up afternoon on a check course: a loop of six stations, shot by eight instruments, each leg from both ends
 * twice. Its physics are its own and in vectors: a sight that a hand aims a little beside the mark, a field that the
 * station turns about the vertical and that turns through the afternoon, an instrument that shows both off by its own
 * constants. Nothing of the adjustment is used.
 */
export interface MadeUpSettings {
  seed: number;
  /** Degrees: standard deviation of aim and instrument together, to either side and up and down. */
  noise?: number;
  /** Degrees: standard deviation of the stations' disturbances. */
  disturbance?: number;
  /** Degrees, by instrument. */
  constants?: readonly number[];
  indices?: readonly number[];
  /** By instrument: how many times as noisy as the others. */
  noisier?: readonly number[];
  /** Part of all shots that are wrong: written down the wrong way round, of another leg, or simply misread. */
  blunders?: number;
  /** Degrees by which the field has turned after some part (0 to 1) of the afternoon. */
  drift?: (part: number) => number;
  /** Shots of the first leg, fore, by the first instrument, spread over the afternoon. */
  reference?: number;
  instruments?: number;
  /** How often each leg is shot from either end. */
  each?: number;
}

export interface MadeUpCourse {
  course: Course;
  truth: {
    /** Radians, by name. */
    azimuth: Map<string, number>;
    inclination: Map<string, number>;
    constant: Map<string, number>;
    index: Map<string, number>;
    disturbance: Map<string, number>;
    /** Ids of the shots that are wrong. */
    blunders: Set<string>;
    /** Radians, from its mean over all shots. */
    drift: (time: number) => number;
  };
}

const RADIAN = Math.PI / 180;
const STATIONS = ['A', 'B', 'C', 'D', 'E', 'F'];
/** Azimuth and inclination of each leg, degrees, from its station to the next. */
const LEGS = [
  [12.4, 4.5],
  [75.9, -22.0],
  [131.2, 31.5],
  [198.6, -8.3],
  [247.3, 55.0],
  [320.8, -41.7],
] as const;
/** Seconds. */
const AFTERNOON = 4 * 3600;

export function madeUpCourse(settings: MadeUpSettings): MadeUpCourse {
  const {
    seed,
    noise = 0.3,
    disturbance = 0.2,
    blunders = 0,
    instruments = 8,
    each = 2,
  } = settings;
  const random = (name: string) => randomStream(seed, name);
  const names = Array.from({ length: instruments }, (_, i) => `instrument ${i + 1}`);
  const legs = LEGS.map((_, i) => ({
    id: `leg ${i + 1}`,
    from: STATIONS[i],
    to: STATIONS[(i + 1) % STATIONS.length],
  }));
  const drawn = random('disturbances');
  const turnedAt = new Map(STATIONS.map((name) => [name, disturbance * RADIAN * drawn.normal()]));
  const hand = random('hand');
  const drift = (time: number) => (settings.drift?.(time / AFTERNOON) ?? 0) * RADIAN;

  const shoot = (instrument: number, leg: number, way: Way, time: number) => {
    const [azimuth, inclination] = LEGS[leg].map((angle) => angle * RADIAN);
    const back = way === 'back';
    const sign = back ? -1 : 1;
    // the line of the leg: north, east, up; and what lies across it, level and upright
    const along = [
      sign * Math.cos(inclination) * Math.cos(azimuth),
      sign * Math.cos(inclination) * Math.sin(azimuth),
      sign * Math.sin(inclination),
    ];
    const level = Math.hypot(along[0], along[1]);
    const across = [-along[1] / level, along[0] / level, 0];
    const upright = [(-along[2] * along[0]) / level, (-along[2] * along[1]) / level, level];
    const off = noise * RADIAN * (settings.noisier?.[instrument] ?? 1);
    const [aside, above] = [off * hand.normal(), off * hand.normal()];
    const sight = along.map((value, k) => value + aside * across[k] + above * upright[k]);
    // the field's level part, turned to the left by what azimuths then show too much
    const turned = turnedAt.get(back ? legs[leg].to : legs[leg].from)! + drift(time);
    const north = [Math.cos(turned), -Math.sin(turned)];
    const shown =
      Math.atan2(
        north[0] * sight[1] - north[1] * sight[0],
        north[0] * sight[0] + north[1] * sight[1],
      ) +
      (settings.constants?.[instrument] ?? 0) * RADIAN;
    return {
      azimuth: (shown + 4 * Math.PI) % (2 * Math.PI),
      inclination:
        Math.asin(sight[2] / Math.hypot(...sight)) + (settings.indices?.[instrument] ?? 0) * RADIAN,
    };
  };

  const shots: CourseShot[] = [];
  const wrong = new Set<string>();
  const luck = random('blunders');
  const add = (instrument: number, leg: number, way: Way, time: number, mayErr: boolean) => {
    const id = `shot ${shots.length + 1}`;
    let shown = shoot(instrument, leg, way, time);
    if (luck.uniform() < blunders && mayErr) {
      wrong.add(id);
      const kind = luck.below(3);
      const other = (leg + 1 + luck.below(LEGS.length - 1)) % LEGS.length;
      if (kind === 0) shown = shoot(instrument, leg, way === 'fore' ? 'back' : 'fore', time);
      else if (kind === 1) shown = shoot(instrument, other, way, time);
      else {
        const by = () => (luck.below(2) ? 1 : -1) * luck.between(3, 30) * RADIAN;
        shown = { azimuth: (shown.azimuth + by() + 2 * Math.PI) % (2 * Math.PI), inclination: shown.inclination + by() }; // prettier-ignore
      }
    }
    shots.push({ id, instrument: names[instrument], leg: legs[leg].id, way, time, ...shown });
  };
  // the instruments follow each other round the loop
  const step = AFTERNOON / (LEGS.length + instruments);
  names.forEach((_, instrument) => {
    LEGS.forEach((__, leg) => {
      const begun = (instrument + leg) * step;
      (['fore', 'back'] as const).forEach((way, w) => {
        for (let k = 0; k < each; k++) {
          add(instrument, leg, way, begun + ((w * each + k) * step) / (2 * each), true);
        }
      });
    });
  });
  const reference = settings.reference ?? 0;
  for (let k = 0; k < reference; k++) {
    add(0, 0, 'fore', (AFTERNOON * k) / Math.max(1, reference - 1), false);
  }
  const mean = shots.reduce((sum, { time }) => sum + drift(time!), 0) / shots.length;
  const byInstrument = (values: readonly number[] | undefined, extra = 0) =>
    new Map(names.map((name, i) => [name, (values?.[i] ?? 0) * RADIAN + extra]));
  return {
    course: { stations: STATIONS, legs, instruments: names, shots },
    truth: {
      azimuth: new Map(legs.map(({ id }, i) => [id, LEGS[i][0] * RADIAN])),
      inclination: new Map(legs.map(({ id }, i) => [id, LEGS[i][1] * RADIAN])),
      // the field at its mean over the afternoon is what constants are counted from
      constant: byInstrument(settings.constants, mean),
      index: byInstrument(settings.indices),
      disturbance: turnedAt,
      blunders: wrong,
      drift: (time) => drift(time) - mean,
    },
  };
}

/**
 * What is said beforehand of such a course: the azimuth of the first leg, known to 0.05° (and off by as much, by chance),
 * and that the six disturbances of 0.2° come to nothing, give or take 0.2° over the root of six.
 */
export function datumOf(seed: number): Pick<CourseTerms, 'legs' | 'disturbances'> {
  const sigma = 0.05 * RADIAN;
  const value = LEGS[0][0] * RADIAN + sigma * randomStream(seed, 'known leg').normal();
  return {
    legs: [{ leg: 'leg 1', azimuth: { value, sigma } }],
    disturbances: { by: 'zero mean', sigma: (0.2 * RADIAN) / Math.sqrt(STATIONS.length) },
  };
}

export const TOLERANCE = { azimuth: 0.5 * RADIAN, inclination: 0.5 * RADIAN };
