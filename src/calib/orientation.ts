import { angles, angleBetween, length, sightDirection, turn } from './geometry.ts';
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
export interface AimDisagreement {
  inclination: number;
  /** Azimuths, counted from each other. */
  relativeAzimuth: number;
  /** Azimuths, counted from magnetic north. */
  azimuth: number;
  roll: number;
}

export interface Disagreement extends AimDisagreement {
  /** The angle between down and field is not the same in every reading. */
  angle: number;
  /** The sight does not keep its direction through a sighting. */
  sight: number;
}

/** Directions of down and field in the body. */
interface Vectors {
  g: Vec3;
  b: Vec3;
}

/**
 * @param vectors one pair per reading
 * @param known what is known of the same readings
 */
export function disagreement(vectors: readonly Vectors[], known: readonly Known[]): Disagreement {
  const betweens = vectors.map(({ g, b }) => angleBetween(g, b));
  const middle = betweens.reduce((sum, between) => sum + between, 0) / betweens.length;
  const sightings = new Map<string, Vec3[]>();
  vectors.forEach(({ g, b }, i) => {
    const { sighting } = known[i];
    const sight = sightDirection(g, b);
    if (sighting !== undefined && sight) {
      sightings.set(sighting, [...(sightings.get(sighting) ?? []), sight]);
    }
  });
  // sights that cancel have no mean direction: nothing could disagree more
  const spreads = [...sightings.values()]
    .filter((sights) => sights.length > 1)
    .map((sights) => directionStatistics(sights)?.spread ?? Math.PI / 2);
  return {
    angle: rms(betweens.map((between) => between - middle)),
    sight: rms(spreads),
    ...againstAims(vectors, known),
  };
}

/** The part of a {@link disagreement} that aims tell. */
export function againstAims(vectors: readonly Vectors[], known: readonly Known[]): AimDisagreement {
  const inclinations: number[] = [];
  const rolls: number[] = [];
  const azimuths: number[] = [];
  const weights: number[] = [];
  for (let i = 0; i < vectors.length; i++) {
    const { aim } = known[i];
    if (!aim) continue;
    const found = angles(vectors[i].g, vectors[i].b);
    if (found.inclination === undefined) continue;
    const weight = Math.cos(aim.inclination ?? found.inclination);
    if (aim.inclination !== undefined) inclinations.push(found.inclination - aim.inclination);
    if (aim.azimuth !== undefined && found.azimuth !== undefined) {
      azimuths.push(turn(aim.azimuth, found.azimuth));
      weights.push(weight);
    }
    if (aim.roll !== undefined && found.roll !== undefined) {
      rolls.push(turn(aim.roll, found.roll) * weight);
    }
  }
  const north = circularMean(azimuths, weights);
  return {
    inclination: rms(inclinations),
    relativeAzimuth: rms(azimuths.map((error, i) => turn(north, error) * weights[i])),
    azimuth: rms(azimuths.map((error, i) => error * weights[i])),
    roll: rms(rolls),
  };
}

/**
 * Mean of the roll that the aims asked for less the roll found: the turn about the sight that would mend it.
 *
 * @param downs directions of down in the body, one per reading
 */
export function rollOffset(downs: readonly Vec3[], known: readonly Known[]): number | undefined {
  const errors: number[] = [];
  const weights: number[] = [];
  for (let i = 0; i < downs.length; i++) {
    const { aim } = known[i];
    if (aim?.roll === undefined) continue;
    const g = downs[i];
    const level = Math.sqrt(g[1] * g[1] + g[2] * g[2]);
    // near the vertical, where the weight is small, a roll means little
    const weight = aim.inclination === undefined ? level / length(g) : Math.cos(aim.inclination);
    if (!(weight > 0.1) || !(level > 0)) continue;
    errors.push(turn(Math.atan2(g[1], g[2]), aim.roll));
    weights.push(weight);
  }
  return errors.length > 0 ? circularMean(errors, weights) : undefined;
}

function circularMean(errors: readonly number[], weights: readonly number[]): number {
  let [sine, cosine] = [0, 0];
  for (let i = 0; i < errors.length; i++) {
    sine += weights[i] * Math.sin(errors[i]);
    cosine += weights[i] * Math.cos(errors[i]);
  }
  return Math.atan2(sine, cosine);
}

function rms(values: readonly number[]): number {
  let squares = 0;
  for (const value of values) squares += value * value;
  return values.length === 0 ? 0 : Math.sqrt(squares / values.length);
}

/** How closely a calibrated matrix follows a mounting: 1 as declared, under 0.9 turned by more than 25°. */
export const closeness = (matrix: readonly number[], mounting: readonly number[]): number =>
  matrix.reduce((sum, value, i) => sum + value * mounting[i]!, 0) /
  Math.sqrt(3 * matrix.reduce((sum, value) => sum + value * value, 0));
