import type { ReadingsFile } from '../records/readings-csv.ts';
import { writeCoefficients, type CoefficientsFile } from '../records/coefficients-file.ts';
import type { ToleranceChoice } from '../records/entries.ts';
import { compared } from '../steps/comparison-words.ts';
import {
  basisOf,
  fitFile,
  readingsIn as readingsOf,
  refitOffsets,
  type FileFitOptions,
} from '../steps/fit-file.ts';
import { isFile, readBytes, writeText } from './files.ts';
import { fitReport } from './fit-report.ts';
import { fitSummary } from './fit-summary.ts';
import { coefficientsIn, kindOf, readingsIn } from './input-files.ts';
import { failed, type Outcome } from './outcome.ts';

export interface FitCommand extends FileFitOptions {
  readings: string;
  out: string;
  json: boolean;
  tolerance: ToleranceChoice;
  /** Coefficients to hold the new ones against. */
  against?: string;
  /** The calibration whose offsets alone are to be fitted again; the new ones are held against it. */
  offsetsFrom?: string;
}

/** `fit`: readings in, coefficients out, and what to think of them. Nothing is written unless all went well. */
export function fit(command: FitCommand): Outcome {
  const { readings: path, tolerance, out } = command;
  const there = isFile(out) ? readBytes(out) : undefined;
  const lost = there?.ok ? kindOf(there.bytes) : undefined;
  if (lost === 'readings' || lost === 'board') {
    return failed(
      `${out} holds ${lost === 'board' ? 'what was on a board' : 'readings'}, which would be lost. Nothing was changed. Give another name with --out.`,
    );
  }
  const file = readingsIn(path);
  if (!file.ok) return failed(file.message);
  const before = command.offsetsFrom ?? command.against;
  const earlier = before === undefined ? undefined : coefficientsIn(before);
  if (earlier && !earlier.ok) return failed(earlier.message);

  const result = command.offsetsFrom === undefined ? fitFile(file, command) : offsets(file, earlier!, before!); // prettier-ignore
  if (!result.ok) return failed(`${path}: ${result.message} ${result.next} Nothing was changed.`);
  const comparison = earlier && {
    with: before!,
    outcome: compared(earlier.coefficients, result.coefficients, result.dip),
  };
  const report = fitReport(result, file, tolerance, comparison);
  const kept = command.offsetsFrom === undefined ? undefined : earlier?.basis;
  const text = writeCoefficients(
    result.coefficients,
    basisOf(result, readingsOf(file), tolerance, kept),
  );
  const written = writeText(out, text);
  if (!written.ok) return failed(written.message);
  const replaced = there?.ok === true && !Buffer.from(there.bytes).equals(Buffer.from(text));
  const where = `Coefficients written to ${out}${replaced ? ', in place of what was there before' : ''}`;
  if (command.json) {
    const json = `${JSON.stringify(report, null, 2)}\n`;
    return { code: 0, out: json, ...(replaced && { err: `${where}.\n` }) };
  }
  return { code: 0, out: fitSummary(result, report, { readings: path, where }, comparison) };
}

function offsets(file: ReadingsFile, { coefficients, basis }: CoefficientsFile, path: string) {
  if (basis) return refitOffsets(file, { coefficients, basis });
  return {
    ok: false as const,
    message: `${path} says nothing of the calibration behind it, so there is nothing to hold the rest by.`,
    next: 'Give a file that fit wrote, or fit all coefficients from a whole set of readings.',
  };
}
