import { holmAdjusted } from '../../calib/holm.ts';
import { interval95, studentProbability } from '../../calib/quantiles.ts';
import {
  instrumentKey,
  type CourseFigure,
  type CourseInstrument,
  type CourseQuantity,
} from '../../records/course-notes.ts';
import { combined } from '../checks/estimate.ts';
import type { CourseState, OutingState, SettledState } from './course-state.ts';

/** What has changed on a course from one outing to another. */

/** One figure that both outings have; degrees. */
export interface YearChange {
  what:
    'leg azimuth' | 'leg inclination' | 'station' | 'instrument azimuth' | 'instrument inclination';
  name: string;
  before: number;
  now: number;
  /** Now less before, with half its 95 % interval. */
  change: number;
  half: number;
  /** p-value of no change, adjusted for all that is compared (Holm). */
  p: number;
  changed: boolean;
}

export interface YearsApart {
  from: string;
  to: string;
  changes: readonly YearChange[];
  /** What could not be compared, and why, a sentence each. */
  notCompared: readonly string[];
}

/** Chance that anything at all is found changed that is not. */
const LEVEL = 0.05;

/** A settled outing against the one settled before it; undefined where there is none. */
export function yearsApart(
  { outings }: Pick<CourseState, 'outings'>,
  now: OutingState,
  nameOf: (instrument: CourseInstrument) => string,
): YearsApart | undefined {
  const settled = outings.flatMap(({ id, day, settled }) =>
    settled ? [{ id, day, settled }] : [],
  );
  const at = settled.findIndex(({ id }) => id === now.id);
  const before = settled[at - 1];
  return before && compared(before, settled[at]!, nameOf);
}

/**
 * Two settled outings, figure by figure: Welch's test of each difference, adjusted for all by Holm. Azimuths are of
 * magnetic north: between days it moves, so that where the declinations of both are known azimuths are compared from
 * true north.
 */
export function compared(
  before: { day: string; settled: SettledState },
  now: { day: string; settled: SettledState },
  nameOf: (instrument: CourseInstrument) => string,
): YearsApart {
  const [a, b] = [before.settled, now.settled];
  const moved = a.declination && b.declination ? b.declination.degrees - a.declination.degrees : 0;
  const found: Omit<YearChange, 'p' | 'changed'>[] = [];
  const chances: number[] = [];
  const add = (
    what: YearChange['what'],
    name: string,
    one: CourseFigure | undefined,
    two: CourseFigure | undefined,
    shift = 0,
    isRound = false,
  ) => {
    if (!one || !two) return;
    const plain = two.value + shift - one.value;
    const change = isRound ? ((((plain + 180) % 360) + 360) % 360) - 180 : plain;
    const { error, freedom } = combined([partOf(one), partOf(two)]);
    if (error === 0) return; // both were held fast beforehand
    const t = Math.abs(change) / error;
    chances.push(2 * (1 - studentProbability(t, Math.min(1e6, Math.max(1, freedom)))));
    found.push({ what, name, before: one.value, now: two.value, change, half: interval95(error, freedom) }); // prettier-ignore
  };
  const alike = (one: CourseQuantity, two: CourseQuantity) =>
    one.alone && two.alone
      ? ([one.alone, two.alone] as const)
      : one.above && two.above && one.above.other === two.above.other
        ? ([one.above, two.above] as const)
        : undefined;
  for (const leg of b.result.legs) {
    const other = a.result.legs.find(({ from, to }) => from === leg.from && to === leg.to);
    if (!other) continue;
    const name = `${leg.from} to ${leg.to}`;
    const azimuth = alike(other.azimuth, leg.azimuth);
    const isAlone = leg.azimuth.alone !== undefined;
    if (azimuth) add('leg azimuth', name, ...azimuth, isAlone ? moved : 0, true);
    const inclination = alike(other.inclination, leg.inclination);
    if (inclination) add('leg inclination', name, ...inclination);
  }
  for (const station of b.result.stations) {
    const other = a.result.stations.find((each) => each.station === station.station);
    const pair = other && alike(other, station);
    if (pair) add('station', station.station, ...pair);
  }
  for (const each of b.result.instruments) {
    const other = a.result.instruments.find(
      ({ instrument }) => instrumentKey(instrument) === instrumentKey(each.instrument),
    );
    for (const angle of ['azimuth', 'inclination'] as const) {
      const [one, two] = [other?.[angle], each[angle]];
      if (one?.against === two?.against) {
        add(`instrument ${angle}`, nameOf(each.instrument), one, two);
      }
    }
  }
  const adjusted = holmAdjusted(chances);
  const notCompared = [
    ...(b.result.legs.some(({ azimuth }) => azimuth.alone) && !(a.declination && b.declination)
      ? [
          'Azimuths are compared from magnetic north, which itself moves from year to year: a change that all legs share may be that.',
        ]
      : []),
    ...(b.result.legs.some(({ azimuth }) => azimuth.above)
      ? [
          'Azimuths of legs stand only against each other, so that a turn of all of them alike is not seen.',
        ]
      : []),
  ];
  return {
    from: before.day,
    to: now.day,
    changes: found.map((each, i) => ({ ...each, p: adjusted[i]!, changed: adjusted[i]! <= LEVEL })),
    notCompared,
  };
}

const partOf = ({ error, freedom }: CourseFigure) => ({ error, freedom: freedom ?? Infinity });

const WHAT: Readonly<Record<YearChange['what'], string>> = {
  'leg azimuth': 'Azimuth of',
  'leg inclination': 'Inclination of',
  station: 'Disturbance at',
  'instrument azimuth': 'Azimuths of',
  'instrument inclination': 'Inclinations of',
};

/** A change in words. */
export const changeWords = ({ what, name, change, half }: YearChange): string =>
  `${WHAT[what]} ${name}: changed by ${change < 0 ? '−' : '+'}${Math.abs(change).toFixed(2)}° ±\u00a0${half.toFixed(2)}°`;
