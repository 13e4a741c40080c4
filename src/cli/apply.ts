import { applyCoefficients } from '../calib/model.ts';
import { degrees } from '../calib/geometry.ts';
import { outside, type OutsideReason } from '../calib/validity.ts';
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

/** Readings that lie outside what the coefficients were made for, by reason. */
type Beyond = Map<OutsideReason, string[]>;

/** How certain an angle is, is for the fit to say; here it is told what a reading was that none of the fit's were. */
const WHY: Partial<Record<OutsideReason, string>> = {
  colder: 'colder than the calibration holds for',
  warmer: 'warmer than the calibration holds for',
  down_not_covered: 'held as no reading of the calibration was',
  field_not_covered: 'turned to the field as no reading of the calibration was',
  no_direction: 'without a direction of down, or of the field',
};

/** Ids named in full; more than these are counted. */
const NAMED = 10;

function outsideWords(beyond: Beyond): string {
  return [...beyond]
    .map(([reason, ids]) => {
      const more = ids.length > NAMED ? ` and ${ids.length - NAMED} more` : '';
      return `Outside what these coefficients hold for: ${ids.slice(0, NAMED).join(', ')}${more}: ${WHY[reason]}.\n`;
    })
    .join('');
}

/**
 * `apply`: every reading of a file, seen through coefficients, as CSV. Which of them lie outside what the coefficients
 * hold for, where their file says that, goes to the other stream.
 */
export function apply(coefficientsPath: string, readingsPath: string): Outcome {
  const [one, two] = [readBytes(coefficientsPath), readBytes(readingsPath)];
  if (!one.ok) return failed(one.message);
  if (!two.ok) return failed(two.message);
  const set = readCoefficients(one.bytes);
  if (!set.ok) {
    return failed(
      readCoefficients(two.bytes).ok
        ? `The two files are the wrong way round: ${readingsPath} holds the coefficients. They come first, and then the readings. Nothing was changed.`
        : `${coefficientsPath}: ${set.message}`,
    );
  }
  const file = readReadings(two.bytes);
  if (!file.ok) return failed(`${readingsPath}: ${file.message}`);
  const beyond: Beyond = new Map();
  const rows = file.readings.map(({ id, acc, mag, temperature }) => {
    const seen = applyCoefficients(set.coefficients, acc, mag);
    if (set.basis) {
      const { uncertainty, validity } = set.basis;
      const asked = { ...seen, ...(temperature !== undefined && { temperature }) };
      for (const reason of outside({ ...validity, uncertainty }, asked)) {
        if (WHY[reason] !== undefined) beyond.set(reason, [...(beyond.get(reason) ?? []), id]);
      }
    }
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
  const notes = outsideWords(beyond);
  return { code: 0, out: joinCsv([COLUMNS, ...rows]), ...(notes !== '' && { err: notes }) };
}
