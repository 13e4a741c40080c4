import { applyCoefficients } from '../calib/model.ts';
import { APPLIED_COLUMNS, appliedCells } from '../records/applied-csv.ts';
import { joinCsv } from '../records/rfc4180.ts';
import { outsideWords } from '../steps/outside-words.ts';
import { coefficientsIn, readingsIn } from './input-files.ts';
import { failed, type Outcome } from './outcome.ts';

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
  const rows = applied.map((each) => [each.id, ...appliedCells(each)]);
  const { basis } = set;
  const beyond = basis
    ? outsideWords({ ...basis.validity, uncertainty: basis.uncertainty }, applied)
    : [];
  return {
    code: 0,
    out: joinCsv([['id', ...APPLIED_COLUMNS], ...rows]),
    err: beyond.map((each) => `Outside what these coefficients hold for: ${each}.\n`).join(''),
  };
}
