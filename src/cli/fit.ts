import { readReadings } from '../records/readings-csv.ts';
import { writeCoefficients } from '../records/coefficients-file.ts';
import { fitFile, type FileFitOptions } from '../steps/fit-file.ts';
import { readBytes, writeText } from './files.ts';
import { fitReport } from './fit-report.ts';
import { fitSummary } from './fit-summary.ts';
import { failed, type Outcome } from './outcome.ts';

/** `fit`: readings in, coefficients out, and what to think of them. Nothing is written unless all went well. */
export function fit(
  readingsPath: string,
  outPath: string,
  options: FileFitOptions & { json?: boolean },
): Outcome {
  const input = readBytes(readingsPath);
  if (!input.ok) return failed(input.message);
  const file = readReadings(input.bytes);
  if (!file.ok) return failed(`${readingsPath}: ${file.message}`);
  const result = fitFile(file, options);
  if (!result.ok) {
    return failed(`${readingsPath}: ${result.message} ${result.next} Nothing was changed.`);
  }
  const report = fitReport(result, file);
  const written = writeText(outPath, writeCoefficients(result.coefficients));
  if (!written.ok) return failed(written.message);
  const out = options.json
    ? `${JSON.stringify(report, null, 2)}\n`
    : fitSummary(result, report, { readings: readingsPath, coefficients: outPath });
  return { code: 0, out };
}
