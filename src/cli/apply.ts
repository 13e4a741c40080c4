import { applyCoefficients } from '../calib/model.ts';
import { degrees } from '../calib/geometry.ts';
import { readCoefficients } from '../records/coefficients-file.ts';
import { readReadings } from '../records/readings-csv.ts';
import { joinCsv } from '../records/rfc4180.ts';
import { readBytes } from './files.ts';
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

/** `apply`: every reading of a file, seen through coefficients, as CSV. */
export function apply(coefficientsPath: string, readingsPath: string): Outcome {
  const [one, two] = [readBytes(coefficientsPath), readBytes(readingsPath)];
  if (!one.ok) return failed(one.message);
  if (!two.ok) return failed(two.message);
  const set = readCoefficients(one.bytes);
  if (!set.ok) return failed(`${coefficientsPath}: ${set.message}`);
  const file = readReadings(two.bytes);
  if (!file.ok) return failed(`${readingsPath}: ${file.message}`);
  const rows = file.readings.map(({ id, acc, mag }) => {
    const seen = applyCoefficients(set.coefficients, acc, mag);
    return [
      id,
      bearing(seen.azimuth),
      angle(seen.inclination),
      bearing(seen.roll),
      seen.gravity.toFixed(8),
      seen.field.toFixed(8),
      angle(seen.dip),
    ];
  });
  return { code: 0, out: joinCsv([COLUMNS, ...rows]) };
}
