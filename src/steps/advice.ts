import { degrees } from '../calib/geometry.ts';
import type { FitRecord } from '../records/entries.ts';
import { degreesText, listed } from './finding.ts';
import { departs } from './residual-words.ts';
import { TOLERANCE, type Limits } from './tolerance.ts';

/** Why a calibration is not as good as it should be, most telling first, and what to do about it. */
export interface Advice {
  /** The likely cause, as the end of a sentence. */
  cause: string;
  then: string;
  /** How many readings more would do, where more of them are what helps. */
  more?: number;
}

/** What stands out in a fit: figures over their limits, and noise over what is declared. */
export interface Signs {
  fit: Omit<FitRecord, 'id'>;
  /** Chip axes were taken for body axes, since nothing says how they sit. */
  assumedAxes: boolean;
  /** Standard deviations of the lengths over what they may be. */
  varies: { field: number; gravity: number };
  /** Which figures are over their limits. */
  over: { field: boolean; dip: boolean; gravity: boolean; spread: boolean; angle: boolean };
  /** Noise found over noise declared, where it is declared and chance does not explain it; else undefined. */
  louder: { acc: boolean; mag: boolean } | undefined;
  limits: Limits;
  /** Half of the 95 % interval of azimuth × cos inclination and of inclination, the wider one, degrees. */
  interval: number;
  /** How many readings of a leg to average until noise and calibration together are within the tolerance. */
  average: number;
}

export function adviceFor(signs: Signs): Advice[] {
  const { fit, assumedAxes, varies, over, louder, limits, interval, average } = signs;
  const advice: Advice[] = [];
  if (assumedAxes) {
    advice.push({
      cause: 'nothing says how the chips sit',
      then: 'Give the plan’s aims with the readings, or say how the chips are mounted, and fit again.',
    });
  }
  const drift = driftAdvice(fit);
  // what is wrong with one sensor shows in the other's residuals too, but less
  const mostly = varies.gravity >= varies.field ? 'gravity' : 'field';
  const bends = mostly === 'gravity' && departs(fit.residualTests, 'attitude_gravity').length > 0;
  const placed = !bends && departs(fit.residualTests, 'attitude_field', 'attitude_dip').length > 0;
  if (drift && !drift.doubtful) advice.push(drift.advice);
  if (bends) advice.push(bendAdvice(fit));
  // a noisy magnetometer makes the length of the field vary as well; it does so alike in all attitudes
  const fieldVaries = over.field || (over.dip && !over.gravity);
  const bothLouder = louder?.acc === true && louder.mag;
  if (placed || (fieldVaries && louder?.mag !== false && !bothLouder)) {
    advice.push({
      cause: 'iron near the sensor, or a disturbed site',
      then: 'Go away from buildings, vehicles, steel and batteries, take off watch, knife and phone, and take the readings again. A site is clean where the field keeps its length as you walk about.',
    });
  }
  if (advice.length === 0 && bothLouder) {
    advice.push({
      cause: 'noise well over what the board declares, in both sensors',
      then: 'Rest it against something firm, in a clean place, and wait a moment before each reading; if it stays so, the sensors are noisier than the board says.',
    });
  } else if (!bends && (louder?.acc || (over.gravity && louder === undefined))) {
    advice.push({
      cause: 'a board that was not held still',
      then: 'Rest it against something firm, wait a moment before each reading, and take those with the largest misfit again.',
    });
  }
  const aim = fit.noise.aim === undefined ? 0 : degrees(fit.noise.aim);
  if (aim > TOLERANCE.aim * Math.max(1, limits.angle)) {
    advice.push({
      cause: `the aim, which scattered by ${degreesText(aim)}`,
      then: 'Aim at a small mark some metres away, at the same one for every roll of a sighting, with the instrument rested.',
    });
  }
  const { doubtful = [] } = fit.heldOut ?? {};
  if (doubtful.length > 0) {
    const which = `sighting${doubtful.length > 1 ? 's' : ''} ${listed(doubtful)}`;
    advice.push({
      cause: `${which}, at odds with all the others`,
      then: `Take ${which} again, or set those readings aside with the reason.`,
    });
  }
  const stands = fit.readings.filter(
    ({ used, misfit }) => used && (misfit ?? 0) > TOLERANCE.misfit,
  );
  if (stands.length > 0 && advice.length === 0) {
    const which = `reading${stands.length > 1 ? 's' : ''} ${listed(stands.slice(0, 5).map(({ id }) => id))}`;
    advice.push({
      cause: `${which}, far off the others`,
      then: `Take ${which} again, or set aside with the reason.`,
    });
  }
  // a plan goes through attitudes in order, and a sighting's readings share their place: attitude and site explain it too
  if (drift?.doubtful && advice.length === 0) advice.push(drift.advice);
  if (advice.length === 0) advice.push(...noiseAdvice(fit, over, limits, interval));
  if (average > 1 && average <= MOST_TO_AVERAGE) {
    advice.push({
      cause: 'the sensors’ noise, in a single reading',
      then: `Take the mean of ${average} readings for each leg.`,
    });
  }
  return advice;
}

/** More readings of one leg than this nobody takes. */
const MOST_TO_AVERAGE = 30;

/**
 * The largest statistic among tests that found something, zero where none did. Those compared with each other are F-tests
 * with about the same degrees of freedom, so that their statistics compare where their p-values are all as good as zero.
 */
const strongest = ({ residualTests }: Signs['fit'], ...starts: string[]): number =>
  Math.max(0, ...departs(residualTests, ...starts).map(({ statistic }) => statistic ?? 0));

/**
 * Something changed from reading to reading: with temperature or with time, whichever explains more. `doubtful` where
 * the one sign of it is that neighbours go together.
 */
function driftAdvice(fit: Signs['fit']): { advice: Advice; doubtful: boolean } | undefined {
  const [order, warmth] = [strongest(fit, 'order'), strongest(fit, 'temperature')];
  if (warmth > order) return { advice: WARMTH, doubtful: false };
  if (order === 0 && departs(fit.residualTests, 'serial').length === 0) return undefined;
  return { advice: ORDER, doubtful: order === 0 };
}

const WARMTH: Advice = {
  cause: 'sensors that drift with temperature',
  then: 'Let board and battery come to the temperature of the place, then take the readings again without a break.',
};

const ORDER: Advice = {
  cause:
    'a change between the first reading and the last, such as warming up, a knock, or iron that moved',
  then: 'Let it warm up, leave battery, pens and keys where they are, and take the readings again in one go.',
};

/** The length of gravity depends on attitude. */
function bendAdvice({ coefficients, modelChoice }: Signs['fit']): Advice {
  if (coefficients.model === 'straight' && modelChoice?.why === 'forced') {
    return {
      cause: 'an accelerometer whose response is curved, fitted by a straight model',
      then: 'Let the model be chosen from the readings, or ask for bowed.',
    };
  }
  if (coefficients.model === 'straight' && modelChoice?.why !== 'not_clear') {
    return {
      cause: 'an accelerometer whose response is curved',
      then: 'Take more sightings, each with its four rolls, so that a bowed model can be told from a straight one.',
    };
  }
  return {
    cause:
      'an accelerometer that bends in a way neither model has, or a board that moved in some attitudes',
    then: 'Hold it still in every attitude; if it stays so, the accelerometer is near the end of its range, or not sound.',
  };
}

/** Where nothing else explains it: the sensors are as noisy as they are. */
function noiseAdvice(
  fit: Signs['fit'],
  over: Signs['over'],
  limits: Limits,
  interval: number,
): Advice[] {
  if (!Object.values(over).some(Boolean)) return [];
  const n = fit.readings.filter(({ used }) => used).length;
  // standard errors fall with the square root of the number of readings
  const more = Math.ceil(n * ((interval / limits.angle) ** 2 - 1));
  const helps = over.angle && more <= MOST_MORE;
  const then = helps
    ? `Take about ${more} readings more, in the attitudes that are thinly covered.`
    : over.angle
      ? 'No sensible number of readings makes up for it: take better sensors, or be content with a coarser tolerance.'
      : 'Rest the instrument, wait a moment before each reading, or let the board average more samples.';
  return [{ cause: 'the noise of the sensors', then, ...(helps && { more }) }];
}

/** More readings than this nobody takes. */
const MOST_MORE = 300;
