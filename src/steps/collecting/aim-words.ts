import { topOf, type AimOffset, type Wanted } from './aim-offset.ts';
import type { AttitudeNow, AttitudeSource } from './attitude-now.ts';

/** The way to the wanted aim, in words. */

/** What is said at or under this many degrees is that it is there: nobody turns an instrument by half a degree on request. */
export const THERE = 1;

export interface WayWords {
  aside: string;
  upward: string;
  roll: string;
}

const UNKNOWN = 'not known';

export function wayWords(offset: AimOffset, wanted: Wanted): WayWords {
  const top = topOf(wanted);
  const foot = top === 'south' ? 'north' : 'south';
  const [right, left, up, down] = offset.byCompass
    ? ['towards east', 'towards west', `towards ${top}`, `towards ${foot}`]
    : ['right', 'left', 'up', 'down'];
  return {
    aside: way(offset.right, right, left),
    upward: way(offset.up, up, down),
    roll: rollToGo(offset.roll),
  };
}

function way(by: number | undefined, one: string, other: string): string {
  if (by === undefined) return UNKNOWN;
  if (Math.abs(by) <= THERE) return 'there';
  return `${Math.abs(by).toFixed(0)}° ${by > 0 ? one : other}`;
}

/** A turn about the sight: whole quarters, and what is over or short of them. */
function rollToGo(by: number | undefined): string {
  if (by === undefined) return UNKNOWN;
  if (Math.abs(by) <= THERE) return 'there';
  const side = by > 0 ? 'right' : 'left';
  const size = Math.abs(by);
  const quarters = Math.round(size / 90);
  if (quarters === 0) return `${size.toFixed(0)}° ${side}`;
  const whole = quarters === 1 ? `a quarter ${side}` : 'half a turn';
  const rest = Math.round(size - 90 * quarters);
  if (rest === 0) return whole;
  return rest > 0 ? `${whole} and ${rest}°` : `${whole} less ${-rest}°`;
}

const SOURCES: Record<AttitudeSource, string> = {
  provisional:
    'The aim now is worked out from the readings so far: near enough to find the attitude, no measure of it.',
  'in force':
    'The aim now is by the coefficients that the board runs: near enough to find the attitude, no measure of it.',
  board: 'The aim now is as the board itself says: no measure of it.',
  mounting:
    'Up, down and roll are from bare counts, to a few degrees; left and right come with the first readings that settle a fit.',
};

/** Where the angles shown come from, and what they are good for. */
export const sourceWords = (now: AttitudeNow | undefined): string =>
  now
    ? SOURCES[now.from]
    : 'Nothing says yet how the counts become angles, so only stillness is shown. The aim appears with the first readings that settle a fit.';
