import { applyCoefficients } from '../calib/model.ts';
import { degrees } from '../calib/geometry.ts';
import { joinCsv } from '../records/rfc4180.ts';
import { outsideWords } from '../steps/outside-words.ts';
import { coefficientsIn, readingsIn } from './input-files.ts';
import { failed, type Outcome } from './outcome.ts';

const COLUMNS = ['id', 'azimuth', 'inclination', 'roll', 'gravity', 'field', 'dip'];

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

/**
 * `apply`: every reading of a file, seen through coefficients, as CSV. Which of them lie outside what the coefficients
 * hold for, where their file says that, goes to the other stream.
 */
export function apply(coefficientsPath: string, readingsPath: string): Outcome {
  const set = coefficientsIn(coefficientsPath);
  const file = readingsIn(readingsPath);
  if (!set.ok) {
    return failed(
      set.found === 'readings' && !file.ok && file.found === 'coefficients'
        ? `The two files are the wrong way round: ${readingsPath} holds the coefficients. They come first, and then the readings. Nothing was changed.`
        : set.message,
    );
  }
  if (!file.ok) return failed(file.message);
  const applied = file.readings.map(({ id, acc, mag, temperature }) => ({
    id,
    ...applyCoefficients(set.coefficients, acc, mag),
    ...(temperature !== undefined && { temperature }),
  }));
  const rows = applied.map(({ id, azimuth, inclination, roll, gravity, field, dip }) => [
    id,
    bearing(azimuth),
    angle(inclination),
    bearing(roll),
    gravity.toFixed(8),
    field.toFixed(8),
    angle(dip),
  ]);
  const { basis } = set;
  const beyond = basis
    ? outsideWords({ ...basis.validity, uncertainty: basis.uncertainty }, applied)
    : [];
  return {
    code: 0,
    out: joinCsv([COLUMNS, ...rows]),
    err: beyond.map((each) => `Outside what these coefficients hold for: ${each}.\n`).join(''),
  };
}
