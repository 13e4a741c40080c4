import { degrees } from '../calib/geometry.ts';
import type { FittedReading } from '../calib/fit.ts';
import type { FitRecord } from '../records/entries.ts';
import { degreesText, percentText } from './finding.ts';
import { TOLERANCE } from './tolerance.ts';

/** What speaks against a reading, in words: what about it is off, by how much, and how much chance can do. */

type Judging = Pick<FitRecord, 'coefficients' | 'noise' | 'dip'>;

/** Standard deviations that chance exceeds in one of some two hundred figures of a set about once in a hundred sets. */
const CHANCE = 4;

/** @returns the strongest evidence first; empty where nothing is off */
export function evidenceAgainst(seen: FittedReading, fit: Judging): string[] {
  const acc = fit.noise.acc / fit.coefficients.accScale;
  const mag = fit.noise.mag / fit.coefficients.magScale;
  const both = Math.hypot(acc, mag);
  const found = [
    {
      size: Math.abs(seen.gravity - 1) / acc,
      words: `gravity is ${off(seen.gravity)}: was it moving?`,
    },
    {
      size: Math.abs(seen.field - 1) / mag,
      words: `the field is ${off(seen.field)}: iron or a magnet near?`,
    },
    ...(seen.dip === undefined
      ? []
      : [
          {
            size: Math.abs(seen.dip - fit.dip) / both,
            words: `the dip is off by ${degreesText(Math.abs(degrees(seen.dip - fit.dip)))}: iron near, or moving?`,
          },
        ]),
    ...(seen.aimError === undefined
      ? []
      : [
          {
            size: seen.aimError / Math.hypot(fit.noise.aim ?? 0, both),
            words: `it points ${degreesText(degrees(seen.aimError))} from the middle of its sighting: wrong aim?`,
          },
        ]),
  ]
    .filter(({ size }) => size > CHANCE)
    .sort((a, b) => b.size - a.size)
    .map(
      ({ size, words }) =>
        `${words} (${size.toFixed(0)} times the noise; chance seldom does ${CHANCE})`,
    );
  const isOdd = (seen.misfit ?? 0) > TOLERANCE.misfit;
  if (!isOdd || found.length > 0) return found;
  return ['it agrees little with the others, and no single figure of it stands out'];
}

const off = (length: number): string =>
  `${percentText(Math.abs(length - 1))} too ${length > 1 ? 'long' : 'short'}`;
