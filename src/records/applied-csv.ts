import { degrees } from '../calib/geometry.ts';
import type { Applied } from '../calib/model.ts';

/** Readings seen through coefficients, as cells of CSV: what `apply` prints, and every file that begins with it. */
export const APPLIED_COLUMNS = [
  'azimuth',
  'inclination',
  'roll',
  'gravity',
  'field',
  'dip',
] as const;

export const appliedCells = ({
  azimuth,
  inclination,
  roll,
  gravity,
  field,
  dip,
}: Applied): string[] => [
  bearing(azimuth),
  angle(inclination),
  bearing(roll),
  gravity.toFixed(8),
  field.toFixed(8),
  angle(dip),
];

/** Degrees with six decimals; nothing for an angle without meaning. */
function angle(radians: number | undefined): string {
  if (radians === undefined) return '';
  const text = degrees(radians).toFixed(6);
  return text === '-0.000000' ? '0.000000' : text;
}

/** An angle in [0, 360): one that would round up to 360 is 0. */
function bearing(radians: number | undefined): string {
  const text = angle(radians);
  return text === '360.000000' ? '0.000000' : text;
}
