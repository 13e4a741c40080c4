import { holmAdjusted } from '../../calib/holm.ts';
import { interval95, studentProbability } from '../../calib/quantiles.ts';
import {
  instrumentKey,
  type CourseFigure,
  type CourseInstrument,
  type CourseLayout,
  type CourseQuantity,
  type CourseResult,
} from '../../records/course-notes.ts';
import { isSameData } from '../../records/logbook.ts';
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
 * true north. Where legs hang from the same bearing of magnetic north on both days they cannot show that it moved: what it
 * moved by is then in the constants of the instruments that read it, less as declination grows, and is added to these.
 *
 * A constant against the others is a difference from them, so that it is compared only where they are the same ones.
 */
export function compared(
  before: { day: string; settled: SettledState },
  now: { day: string; settled: SettledState },
  nameOf: (instrument: CourseInstrument) => string,
): YearsApart {
  const [a, b] = [before.settled, now.settled];
  const declinations = a.declination && b.declination && [a.declination, b.declination];
  const moved = declinations ? declinations[1].degrees - declinations[0].degrees : 0;
  const [hung, hangs] = [magneticBearings(a.layout), magneticBearings(b.layout)];
  const isSameBearing = hung.length > 0 && isSameData(hung, hangs);
  const shift = isSameBearing ? { legs: 0, constants: moved } : { legs: moved, constants: 0 };
  const found: Omit<YearChange, 'p' | 'changed'>[] = [];
  const chances: number[] = [];
  const add = (
    what: YearChange['what'],
    name: string,
    one: CourseFigure | undefined,
    two: CourseFigure | undefined,
    shifted = 0,
    isRound = false,
  ) => {
    if (!one || !two) return;
    const plain = two.value + shifted - one.value;
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
    if (azimuth) add('leg azimuth', name, ...azimuth, isAlone ? shift.legs : 0, true);
    const inclination = alike(other.inclination, leg.inclination);
    if (inclination) add('leg inclination', name, ...inclination);
  }
  for (const station of b.result.stations) {
    const other = a.result.stations.find((each) => each.station === station.station);
    const pair = other && alike(other, station);
    if (pair) add('station', station.station, ...pair);
  }
  const isSameCompany = {
    azimuth: isSameData(companyOf(a.result, 'azimuth'), companyOf(b.result, 'azimuth')),
    inclination: isSameData(companyOf(a.result, 'inclination'), companyOf(b.result, 'inclination')),
  };
  for (const each of b.result.instruments) {
    const other = a.result.instruments.find(
      ({ instrument }) => instrumentKey(instrument) === instrumentKey(each.instrument),
    );
    for (const angle of ['azimuth', 'inclination'] as const) {
      const [one, two] = [other?.[angle], each[angle]];
      if (one?.against !== two?.against) continue;
      if (two?.against === 'others' && !isSameCompany[angle]) continue;
      const isAzimuth = angle === 'azimuth' && two?.against === 'zero';
      const shifted = isAzimuth ? shift.constants : 0;
      add(`instrument ${angle}`, nameOf(each.instrument), one, two, shifted);
    }
  }
  const adjusted = holmAdjusted(chances);
  const isMagnetic = hung.length > 0 || hangs.length > 0;
  const isOutOfCompany = (['azimuth', 'inclination'] as const).some(
    (angle) =>
      !isSameCompany[angle] &&
      [a, b].every(({ result }) =>
        result.instruments.some((each) => each[angle]?.against === 'others'),
      ),
  );
  const notCompared = [
    ...(isMagnetic && !(isSameBearing && declinations)
      ? [
          'A bearing known from magnetic north was right on the day it was taken: magnetic north moves, often by 0.1° to 0.2° a year. A change that all legs share, or all instruments, may be that.',
        ]
      : []),
    ...(!isMagnetic && b.result.legs.some(({ azimuth }) => azimuth.alone) && !declinations
      ? [
          'Azimuths are compared from magnetic north, which itself moves from year to year: a change that all legs share may be that.',
        ]
      : []),
    ...(b.result.legs.some(({ azimuth }) => azimuth.above)
      ? [
          'Azimuths of legs stand only against each other, so that a turn of all of them alike is not seen.',
        ]
      : []),
    ...(isOutOfCompany
      ? [
          'Instruments that are told only against the others are not compared: the others were not the same ones.',
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

/** The bearings that are known from magnetic north, by their legs. */
const magneticBearings = ({ legs }: CourseLayout) =>
  legs.flatMap(({ from, to, azimuth }) =>
    azimuth?.north === 'magnetic' ? [{ from, to, azimuth }] : [],
  );

/** The instruments whose angles go into a mean of all. */
const companyOf = ({ instruments }: CourseResult, angle: 'azimuth' | 'inclination'): string[] =>
  instruments
    .filter((each) => each[angle])
    .map(({ instrument }) => instrumentKey(instrument))
    .sort();

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
