import { answerFrom, type Fit, type FitRefusal } from './answer.ts';
import type { NoiseScales } from './calibration-problem.ts';
import { extent, fitEllipsoid } from './ellipsoid.ts';
import type { Mat3 } from './geometry.ts';
import { mountingMatrix, type Coefficients } from './model.ts';
import type { Mounting, Reading, Vec3 } from './reading.ts';
import { refineScreened } from './screening.ts';
import { closedFormStart, labelled, type Evidence } from './start.ts';
import { inScale, stateFrom } from './state.ts';

export type { Fit, FitRefusal, FittedReading, RefusalCause, SightingSpread } from './answer.ts';
export type { Stop } from './solver.ts';
export type { Uncertainty } from './covariance.ts';

/** From readings to coefficients that can be judged: the whole estimate of one calibration. */

export interface FitOptions {
  /** `straight` (default) has 24 coefficients; `bowed` has three more, the accelerometer's curvature. */
  model?: 'straight' | 'bowed';
  /** Counts that make u of order one; from the board's declaration. Else the ellipsoid's radius, with a warning. */
  scales?: { acc: number; mag: number };
  /** Standard deviation of a reading per axis, counts, as the board declares it: a start, not a truth. */
  noise?: { acc: number; mag: number };
  /** How the chips sit, as declared. */
  mounting?: { acc: Mounting; mag: Mounting };
  /** Whether the plan's azimuths count from magnetic north, or only from each other. Default: absolute. */
  planAzimuths?: 'absolute' | 'relative';
  /** Sign of the dip at this place: +1 where the field points down (most of the northern hemisphere). */
  dipSign?: 1 | -1;
  /** Set bad readings aside by itself (default), or use every reading given. */
  screening?: boolean;
}

/** Aiming error before anything is known of it: common practice by hand at a mark some metres off. */
const AIM = (0.1 * Math.PI) / 180;
/** Noise per axis, over scale, where the board declares none. */
const NOISE = 0.003;
/**
 * Fits coefficients to readings by maximum likelihood, with the noise found from the readings.
 *
 * @param given finite counts, ids unique; where none has a sighting, sightings are looked for
 * @throws RangeError where an id comes twice, a count is not finite, or a mounting cannot be read
 */
export function fit(given: readonly Reading[], options: FitOptions = {}): Fit | FitRefusal {
  demandUsable(given);
  const warnings: string[] = [];
  const scales = options.scales ?? radii(given);
  if (!options.scales) {
    warnings.push(
      `No scale was given; counts were divided by the radius of each sensor's ellipsoid (${round(scales.acc)} and ${round(scales.mag)}), and the coefficients hold only with these scales.`,
    );
  }
  const evidence: Evidence = {
    azimuths: options.planAzimuths ?? 'absolute',
    ...(options.dipSign ? { dipSign: options.dipSign } : {}),
    ...(options.mounting ? { mounting: matrices(options.mounting) } : {}),
  };
  const start = closedFormStart(inScale(given, scales), evidence);
  if ('cause' in start) return { ok: false, ...start };
  const readings = start.sightings ? labelled(given, start.sightings) : given;
  const scaled = inScale(readings, scales);
  if (start.sightings) {
    const found = new Set(start.sightings.filter((k) => k >= 0));
    warnings.push(
      `No sightings were given; ${found.size} were found from the order and attitudes of the readings.`,
    );
  }
  warnings.push(...start.warnings);

  const model = options.model ?? 'straight';
  // curvature starts at none
  const first: Coefficients = { ...start, model, accScale: 1, magScale: 1, q: [0, 0, 0] };
  const state = stateFrom(scaled, first, start.dip);
  const noise: NoiseScales = {
    acc: options.noise ? options.noise.acc / scales.acc : NOISE,
    mag: options.noise ? options.noise.mag / scales.mag : NOISE,
    aim: AIM,
  };
  const { estimate, iterations, setAside, tooMany } = refineScreened(
    scaled,
    start.sightFound,
    state,
    noise,
    options.screening ?? true,
  );
  if (tooMany) {
    warnings.push(
      'So many readings disagree that setting them aside one by one was stopped: the site, the board or the plan is in question as a whole.',
    );
  }
  return answerFrom({
    readings,
    scales,
    estimate,
    iterations,
    setAside,
    warnings,
    ...(evidence.mounting ? { mounting: evidence.mounting } : {}),
  });
}

function demandUsable(readings: readonly Reading[]): void {
  const ids = new Set<string>();
  for (const { id, acc, mag } of readings) {
    if (ids.has(id)) throw new RangeError(`reading ${id} comes twice`);
    ids.add(id);
    if (![...acc, ...mag].every(Number.isFinite)) {
      throw new RangeError(`reading ${id} holds a count that is not a finite number`);
    }
  }
}

function matrices({ acc, mag }: { acc: Mounting; mag: Mounting }): { acc: Mat3; mag: Mat3 } {
  const read = (mounting: Mounting) => {
    const matrix = mountingMatrix(mounting);
    if (!matrix) throw new RangeError(`'${mounting}' is not a mounting such as +y-x+z`);
    return matrix;
  };
  return { acc: read(acc), mag: read(mag) };
}

/** Radius of each sensor's ellipsoid, counts; where there is none, the extent of the points stands in. */
function radii(readings: readonly Reading[]): { acc: number; mag: number } {
  const radius = (points: Vec3[]) => {
    const ellipsoid = fitEllipsoid(points);
    return ellipsoid
      ? 3 / (ellipsoid.T[0] + ellipsoid.T[4] + ellipsoid.T[8])
      : extent(points).radius || 1;
  };
  return {
    acc: Math.fround(radius(readings.map(({ acc }) => acc))),
    mag: Math.fround(radius(readings.map(({ mag }) => mag))),
  };
}

const round = (value: number) => Number(value.toPrecision(6));
