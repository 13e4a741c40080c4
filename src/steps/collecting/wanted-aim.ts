import { column, degrees, direction, radians, unit } from '../../calib/geometry.ts';
import type { Vec3 } from '../../calib/reading.ts';
import type { TakenReading } from '../../records/entries.ts';
import { keptReadings, type BoardHistory } from '../calibration-state.ts';
import type { PlaceState } from '../place-state.ts';
import { shownAim } from '../shown-aim.ts';
import type { Wanted } from './aim-offset.ts';
import { attitudeNow, sourcesOf, type AttitudeSource, type Source } from './attitude-now.ts';

/** The aim that is wanted now, as it is held against the aim now. Degrees. */

export interface WantedAim extends Wanted {
  /** The plan's line, or the line that the sighting's readings so far were taken along: so many. */
  from: 'plan' | { readings: number };
  /** That line as a unit vector of the world. */
  line: Vec3;
}

/** Steeper lines turn their azimuth with every breath. */
const STEEP = 85;

/**
 * The place of the plan, or of the proof, that is asked for next. As soon as its sighting has a reading, and something
 * tells how it was held, the line wanted is the one really sighted: a mark is seldom where the plan would have it, and the
 * other rolls go along the line of the first. It is seen as the aim now is, through the same coefficients.
 */
export function wantedAim(state: PlaceState): WantedAim | undefined {
  const { history } = state;
  const place = shownAim(history);
  if (!place) return undefined;
  const { aim, sighting } = place;
  const planned = direction(radians(aim.azimuth), radians(aim.inclination));
  const rows = rowsOf(history, place.purpose).filter((row) => row.sighting === sighting);
  const [source] = sourcesOf(state);
  const lines = source ? rows.flatMap((row) => lineOf(row, source)) : [];
  const sum = lines.reduce<Vec3>((a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]], [0, 0, 0]);
  const line = unit(sum);
  if (lines.length === 0 || !line.every(Number.isFinite)) {
    return { ...aim, from: 'plan', line: planned };
  }
  const from = { readings: lines.length };
  const inclination = degrees(Math.asin(Math.max(-1, Math.min(1, -line[2]))));
  // along a vertical line the plan's azimuth says from where roll is counted
  if (Math.max(Math.abs(aim.inclination), Math.abs(inclination)) > STEEP) {
    return { ...aim, from, line };
  }
  const azimuth = (degrees(Math.atan2(line[1], line[0])) + 360) % 360;
  return { azimuth, inclination, roll: aim.roll, from, line };
}

function rowsOf({ calibration }: BoardHistory, purpose: 'fit' | 'proof'): readonly TakenReading[] {
  if (!calibration) return [];
  return purpose === 'fit' ? keptReadings(calibration) : calibration.proofReadings;
}

function lineOf({ reading: { acc, mag } }: TakenReading, source: Source): Vec3[] {
  const { rotation } = attitudeNow({ acc, mag }, [source]) ?? {};
  return rotation ? [column(rotation, 0)] : [];
}

/** What the line wanted goes by, as a sentence. */
export function wantedWords(wanted: WantedAim, now: AttitudeSource | undefined): string {
  const { from, azimuth, inclination } = wanted;
  if (from === 'plan') {
    return now === 'provisional' || now === 'in force'
      ? 'The line is the plan’s: a mark near it will do. The other rolls then go by the line that was really sighted.'
      : '';
  }
  const so =
    from.readings === 1
      ? 'the reading of this sighting was'
      : `the ${from.readings} readings of this sighting were`;
  const where =
    Math.abs(inclination) > STEEP
      ? `${degrees(Math.acos(Math.min(1, Math.abs(wanted.line[2])))).toFixed(0)}° from straight ${inclination > 0 ? 'up' : 'down'}`
      : `azimuth ${(Math.round(azimuth) % 360).toFixed(0)}°, ${tilt(inclination)}`;
  return `The line is the one that ${so} really taken along: ${where}. Aim at the same mark.`;
}

function tilt(inclination: number): string {
  const size = Math.abs(inclination).toFixed(0);
  return size === '0' ? 'level' : `${size}° ${inclination > 0 ? 'up' : 'down'}`;
}
