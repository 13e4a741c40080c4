import type { Angle, Course, CourseShot, CourseTerms, Known, Way } from './check-course.ts';
import { turn } from './geometry.ts';
import type { Terms } from './least-squares-adjustment.ts';
import type { Weighed } from './robust-adjustment.ts';

/**
 * A check course as rows for an adjustment: one angle of every shot, and what is known of it beforehand. Azimuth is
 * circular: it is taken from a first answer, good to well within half a turn, and the unknowns are what is added to it.
 */

/** What row j stands for. */
export type RowOf =
  | { kind: 'shot'; shot: number }
  /** A value known beforehand; `station`: a clean one; `stations`: the mean of the disturbances, without a name. */
  | { kind: 'leg' | 'instrument' | 'station' | 'stations'; name: string }
  | { kind: 'declination' };

export interface CourseSystem {
  angle: Angle;
  unknowns: number;
  legAt(i: number): number;
  instrumentAt(i: number): number;
  /** Stations have unknowns of azimuth alone; so have the knots of the field's drift. */
  stationAt(i: number): number;
  knotAt(i: number): number;
  /** In words, such as `leg A–B`. */
  names: string[];
  rows: readonly Terms[];
  weighed: readonly Weighed[];
  of: readonly RowOf[];
  conditions: readonly { terms: Terms; value: number }[];
  /** First answer, by unknown. */
  first: readonly number[];
  /** What a shot of an instrument along a leg would show: the unknowns it adds up, and half a turn where shot back. */
  shown(leg: number, way: Way, instrument: number, time?: number): { terms: Terms; turned: number };
  /** Standard deviation of a shot along a leg, as expected. */
  sigmaAlong(leg: number): number;
}

/** Times at which the drift of the field bends. */
export type Knots = readonly number[];

/** A standard uncertainty so small (0.00006°) that the value is held fast: weights must not lie too far apart. */
export const FAST = 1e-6;

/** A shot so steep that its azimuth is good to no better than this is left out: 10°. */
export const STEEP = Math.PI / 18;

export const NOISE = { azimuth: (0.3 * Math.PI) / 180, inclination: (0.3 * Math.PI) / 180 };

/** The middle inclination of each leg's shots, as seen from its beginning; level where none was shown. */
export function legInclinations({ legs, shots }: Course): number[] {
  return legs.map(({ id }) => {
    const shown = shots
      .flatMap(({ leg, way, inclination }) =>
        leg === id && inclination !== undefined
          ? [way === 'back' ? -inclination : inclination]
          : [],
      )
      .sort((a, b) => a - b);
    const n = shown.length;
    return n === 0 ? 0 : (shown[(n - 1) >> 1] + shown[n >> 1]) / 2;
  });
}

/**
 * @param knots of the drift of the field; none where it is constant
 * @param slopes inclination of each leg
 */
export function systemOf(
  angle: Angle,
  course: Course,
  terms: CourseTerms,
  slopes: readonly number[],
  knots: Knots = [],
): CourseSystem {
  const { legs, instruments, stations, shots } = course;
  const index = {
    leg: new Map(legs.map(({ id }, i) => [id, i])),
    instrument: new Map(instruments.map((id, i) => [id, i])),
    station: new Map(stations.map((id, i) => [id, i])),
  };
  const ofAzimuth = angle === 'azimuth';
  const declination = terms.declinationSigma ?? 0;
  const knownLegs = (terms.legs ?? []).filter((known) => known[angle]);
  const hasDeclination = ofAzimuth && declination > 0 && knownLegs.length > 0;
  const legAt = (i: number) => i;
  const instrumentAt = (i: number) => legs.length + i;
  const stationAt = (i: number) => legs.length + instruments.length + i;
  const knotAt = (i: number) => stationAt(stations.length) + i;
  const base = ofAzimuth ? knotAt(knots.length) : stationAt(0);
  const unknowns = base + (hasDeclination ? 1 : 0);

  const common = terms.noise?.[angle] ?? NOISE[angle];
  const steepness = (leg: number) => (ofAzimuth ? Math.max(1e-9, Math.cos(slopes[leg])) : 1);
  const shown: CourseSystem['shown'] = (leg, way, instrument, time) => {
    const back = way === 'back';
    const sum: [number, number][] = [
      [legAt(leg), !ofAzimuth && back ? -1 : 1],
      [instrumentAt(instrument), 1],
    ];
    if (ofAzimuth) {
      sum.push([stationAt(index.station.get(back ? legs[leg].to : legs[leg].from)!), 1]);
      if (time !== undefined) {
        for (const [knot, part] of between(knots, time)) sum.push([knotAt(knot), part]);
      }
    }
    return { terms: sum, turned: ofAzimuth && back ? Math.PI : 0 };
  };

  const rows: Terms[] = [];
  const weighed: Weighed[] = [];
  const of: RowOf[] = [];
  const conditions: { terms: Terms; value: number }[] = [];
  const used = shots.flatMap((shot, at) => {
    const leg = index.leg.get(shot.leg)!;
    const sigma = (shot.sigma?.[angle] ?? common) / steepness(leg);
    return shot[angle] === undefined || (ofAzimuth && sigma > STEEP) ? [] : [{ shot, at, leg, sigma }]; // prettier-ignore
  });
  const start = ofAzimuth
    ? firstAzimuths(
        course,
        used.map(({ shot }) => shot),
      )
    : { legs: legs.map(() => 0), instruments: instruments.map(() => 0) };
  const first = new Array<number>(unknowns).fill(0);
  legs.forEach((_, i) => (first[legAt(i)] = start.legs[i]));
  instruments.forEach((_, i) => (first[instrumentAt(i)] = start.instruments[i]));
  const beyond = (from: number, to: number) => (ofAzimuth ? turn(from, to) : to - from);

  for (const { shot, at, leg, sigma } of used) {
    const instrument = index.instrument.get(shot.instrument)!;
    const { terms: sum, turned } = shown(leg, shot.way, instrument, shot.time);
    const expected = start.legs[leg] + start.instruments[instrument] + turned;
    rows.push(sum);
    weighed.push({ value: beyond(expected, shot[angle]!), sigma, instrument: shot.instrument });
    of.push({ kind: 'shot', shot: at });
  }
  const know = (sum: Terms, value: number, sigma: number, row: RowOf) => {
    if (sigma < FAST) {
      conditions.push({ terms: sum, value });
    } else {
      rows.push(sum);
      weighed.push({ value, sigma });
      of.push(row);
    }
  };
  const knowUnknown = (at: number, { value, sigma }: Known, row: RowOf, extra: Terms = []) =>
    know([[at, 1], ...extra], beyond(first[at], value), sigma, row);
  for (const known of knownLegs) {
    const extra: Terms = hasDeclination ? [[base, 1]] : [];
    const at = legAt(index.leg.get(known.leg)!);
    knowUnknown(at, known[angle]!, { kind: 'leg', name: known.leg }, extra);
  }
  if (hasDeclination) know([[base, 1]], 0, declination, { kind: 'declination' });
  for (const known of terms.instruments ?? []) {
    if (!known[angle]) continue;
    const at = instrumentAt(index.instrument.get(known.instrument)!);
    knowUnknown(at, known[angle], { kind: 'instrument', name: known.instrument });
  }
  const { disturbances } = terms;
  if (ofAzimuth && disturbances?.by === 'clean stations') {
    for (const { station, sigma } of disturbances.stations) {
      know([[stationAt(index.station.get(station)!), 1]], 0, sigma, {
        kind: 'station',
        name: station,
      });
    }
  }
  if (ofAzimuth && disturbances?.by === 'zero mean') {
    const shotFrom = stations.flatMap((station, i) =>
      used.some(({ shot, leg }) => station === legs[leg][shot.way === 'back' ? 'to' : 'from'])
        ? [i]
        : [],
    );
    const mean = shotFrom.map((i) => [stationAt(i), 1 / shotFrom.length] as const);
    if (mean.length > 0) know(mean, 0, disturbances.sigma, { kind: 'stations', name: '' });
  }
  if (ofAzimuth && knots.length > 0) {
    // the field is counted from its mean over all timed shots between the knots: beyond them it is only carried on
    const parts = knots.map(() => 0);
    const timed = used.filter(
      ({ shot: { time } }) => time !== undefined && time >= knots[0] && time <= knots.at(-1)!,
    );
    for (const { shot } of timed) {
      for (const [knot, part] of between(knots, shot.time!)) parts[knot] += part / timed.length;
    }
    conditions.push({ terms: parts.map((part, i) => [knotAt(i), part] as const), value: 0 });
  }
  const names = [
    ...legs.map(({ id }) => `leg ${id}`),
    ...instruments.map((id) => `instrument ${id}`),
    ...(ofAzimuth ? stations.map((id) => `station ${id}`) : []),
    ...(ofAzimuth ? knots.map((_, i) => `field at time ${i + 1}`) : []),
    ...(hasDeclination ? ['declination'] : []),
  ];
  return { angle, unknowns, legAt, instrumentAt, stationAt, knotAt, names, rows, weighed, of, conditions, first, shown, sigmaAlong: (leg) => common / steepness(leg) }; // prettier-ignore
}

/** Straight between knots; before the first and after the last as there. */
function between(knots: Knots, time: number): (readonly [knot: number, part: number])[] {
  const after = knots.findIndex((knot) => time <= knot);
  if (after <= 0) return knots.length === 0 ? [] : [[after === 0 ? 0 : knots.length - 1, 1]];
  const part = (time - knots[after - 1]) / (knots[after] - knots[after - 1]);
  return [
    [after - 1, 1 - part],
    [after, part],
  ];
}

/**
 * A first answer for the azimuth of each leg and the constant of each instrument, from middles that gross errors move
 * little: the instrument with most shots is taken as right, the legs it shot follow, then the instruments that shot
 * those, and so on; where that ends short, from another instrument again.
 */
function firstAzimuths(
  { legs, instruments }: Course,
  shots: readonly CourseShot[],
): { legs: number[]; instruments: number[] } {
  const azimuths = new Map<string, number>();
  const constants = new Map<string, number>();
  const along = ({ azimuth, way }: CourseShot) => azimuth! + (way === 'back' ? Math.PI : 0);
  const byShots = [...instruments].sort((a, b) => countOf(b) - countOf(a));
  function countOf(name: string): number {
    return shots.filter(({ instrument }) => instrument === name).length;
  }
  for (const base of byShots) {
    if (constants.has(base)) continue;
    constants.set(base, 0);
    for (let grew = true; grew;) {
      grew = false;
      for (const { id } of legs) {
        if (azimuths.has(id)) continue;
        const seen = shots.flatMap((shot) => {
          const constant = constants.get(shot.instrument);
          return shot.leg === id && constant !== undefined ? [along(shot) - constant] : [];
        });
        if (seen.length === 0) continue;
        azimuths.set(id, circularMiddle(seen));
        grew = true;
      }
      for (const name of byShots) {
        if (constants.has(name)) continue;
        const seen = shots.flatMap((shot) => {
          const azimuth = azimuths.get(shot.leg);
          return shot.instrument === name && azimuth !== undefined ? [along(shot) - azimuth] : [];
        });
        if (seen.length === 0) continue;
        constants.set(name, circularMiddle(seen));
        grew = true;
      }
    }
  }
  return {
    // on one branch, so that sums and means of them are what they seem
    legs: legs.map(({ id }) => turn(0, azimuths.get(id) ?? 0)),
    instruments: instruments.map((name) => turn(0, constants.get(name) ?? 0)),
  };
}

/** The one of some angles to which the others are nearest, all distances added. */
export function circularMiddle(angles: readonly number[]): number {
  const distance = (from: number) =>
    angles.reduce((sum, angle) => sum + Math.abs(turn(from, angle)), 0);
  return angles.reduce((best, angle) => (distance(angle) < distance(best) ? angle : best));
}
