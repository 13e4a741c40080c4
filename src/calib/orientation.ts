import { angles, angleBetween, sightDirection, turn } from './geometry.ts';
import type { Aim, Vec3 } from './reading.ts';
import { directionStatistics } from './spread.ts';

/**
 * How well body vectors agree with what is known of the readings. The raw counts alone leave a choice of mirrors, half
 * turns and signs; each kind of knowledge rules some of them out.
 */

/** What is known of one reading. */
export interface Known {
  sighting?: string | undefined;
  aim?: Aim | undefined;
}

/**
 * Root mean square disagreement of each kind, radians; zero where nothing of that kind is known. Azimuths and rolls
 * count by the cosine of the inclination, since they lose their meaning towards the vertical.
 */
export interface Disagreement {
  /** The angle between down and field is not the same in every reading. */
  angle: number;
  /** The sight does not keep its direction through a sighting. */
  sight: number;
  inclination: number;
  /** Azimuths, counted from each other. */
  relativeAzimuth: number;
  /** Azimuths, counted from magnetic north. */
  azimuth: number;
  roll: number;
}

/**
 * @param vectors directions of down and field in the body, one pair per reading
 * @param known what is known of the same readings
 */
export function disagreement(
  vectors: readonly { g: Vec3; b: Vec3 }[],
  known: readonly Known[],
): Disagreement {
  const betweens = vectors.map(({ g, b }) => angleBetween(g, b));
  const middle = mean(betweens);

  const sightings = new Map<string, Vec3[]>();
  const inclinations: number[] = [];
  const azimuths: { error: number; weight: number }[] = [];
  const rolls: { error: number; weight: number }[] = [];
  vectors.forEach(({ g, b }, i) => {
    const { sighting, aim } = known[i]!;
    const sight = sightDirection(g, b);
    if (sighting !== undefined && sight) {
      sightings.set(sighting, [...(sightings.get(sighting) ?? []), sight]);
    }
    const found = angles(g, b);
    if (!aim || found.inclination === undefined) return;
    const weight = Math.cos(aim.inclination ?? found.inclination);
    if (aim.inclination !== undefined) inclinations.push(found.inclination - aim.inclination);
    if (aim.azimuth !== undefined && found.azimuth !== undefined) {
      azimuths.push({ error: turn(aim.azimuth, found.azimuth), weight });
    }
    if (aim.roll !== undefined && found.roll !== undefined) {
      rolls.push({ error: turn(aim.roll, found.roll), weight });
    }
  });
  const north = circularMean(azimuths);
  // sights that cancel have no mean direction: nothing could disagree more
  const spreads = [...sightings.values()]
    .filter((sights) => sights.length > 1)
    .map((sights) => directionStatistics(sights)?.spread ?? Math.PI / 2);
  return {
    angle: rms(betweens.map((between) => between - middle)),
    sight: rms(spreads),
    inclination: rms(inclinations),
    relativeAzimuth: rms(azimuths.map(({ error, weight }) => turn(north, error) * weight)),
    azimuth: rms(azimuths.map(({ error, weight }) => error * weight)),
    roll: rms(rolls.map(({ error, weight }) => error * weight)),
  };
}

/** Mean of the roll that the aims asked for less the roll found: the turn about the sight that would mend it. */
export function rollOffset(
  vectors: readonly { g: Vec3; b: Vec3 }[],
  known: readonly Known[],
): number | undefined {
  const errors = vectors.flatMap(({ g, b }, i) => {
    const aim = known[i]!.aim;
    const found = angles(g, b);
    if (aim?.roll === undefined || found.roll === undefined) return [];
    const weight = Math.cos(aim.inclination ?? found.inclination!);
    return weight > 0.1 ? [{ error: turn(found.roll, aim.roll), weight }] : [];
  });
  return errors.length > 0 ? circularMean(errors) : undefined;
}

function circularMean(values: readonly { error: number; weight: number }[]): number {
  const sum = (f: (x: number) => number) =>
    values.reduce((total, { error, weight }) => total + weight * f(error), 0);
  return Math.atan2(sum(Math.sin), sum(Math.cos));
}

const mean = (values: readonly number[]) =>
  values.reduce((sum, value) => sum + value, 0) / values.length;

const rms = (values: readonly number[]) =>
  values.length === 0 ? 0 : Math.sqrt(mean(values.map((value) => value * value)));

/** How closely a calibrated matrix follows a mounting: 1 as declared, under 0.9 turned by more than 25°. */
export const closeness = (matrix: readonly number[], mounting: readonly number[]): number =>
  matrix.reduce((sum, value, i) => sum + value * mounting[i]!, 0) /
  Math.sqrt(3 * matrix.reduce((sum, value) => sum + value * value, 0));
