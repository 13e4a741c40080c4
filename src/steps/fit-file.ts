import type { FitRefusal } from '../calib/fit.ts';
import { radians } from '../calib/geometry.ts';
import { mountingMatrix } from '../calib/model.ts';
import { recalibrateOffsets } from '../calib/recalibration.ts';
import type { Mounting } from '../calib/reading.ts';
import { validityOf } from '../calib/validity.ts';
import type { CalibrationBasis } from '../records/calibration-basis.ts';
import type { CoefficientsFile } from '../records/coefficients-file.ts';
import type { FitRecord, ToleranceChoice } from '../records/entries.ts';
import { readingsForFit, type ReadingsFile } from '../records/readings-csv.ts';
import {
  covering,
  fitAndExamine,
  withoutResiduals,
  type Examined,
  type ExaminedReading,
} from './examination.ts';

/** From a file of readings to a fit: what the file, the person and nobody says about how the chips sit. */

export interface Mountings {
  acc: Mounting;
  mag: Mounting;
}

export interface FileFitOptions {
  mounting?: Mountings;
  /** Leave every reading in, however bad it looks. */
  keepAll?: boolean;
  /** Absent where the better one is to be chosen. */
  model?: 'straight' | 'bowed';
}

export type FileFit = Examined & {
  /** Nothing said how the chips sit, so that their axes were taken for body axes. */
  assumedAxes: boolean;
};

/** Both chips with their axes along the body's. */
export const AS_BODY: Mountings = { acc: '+x+y+z', mag: '+x+y+z' };

/** Reads mountings as on the command line: `acc=+x-y-z,mag=+y+x-z`, in either order; undefined where it is not that. */
export function parseMountings(text: string): Mountings | undefined {
  const parts = text.split(',').map((part) => part.split('='));
  const found = Object.fromEntries(parts) as Partial<Record<string, string>>;
  const { acc, mag } = found;
  const whole = parts.length === 2 && parts.every((part) => part.length === 2);
  if (!whole || acc === undefined || mag === undefined) return undefined;
  return mountingMatrix(acc) && mountingMatrix(mag) ? { acc, mag } : undefined;
}

/** The readings of a file, in its order, as the examination takes them. */
export const readingsIn = (file: ReadingsFile): ExaminedReading[] =>
  readingsForFit(file).map((reading, i) => {
    const { temperature } = file.readings[i]!;
    return { ...reading, ...(temperature !== undefined && { temperature }) };
  });

/** Fits a file of readings. Where nothing says how the chips sit, chip axes are taken for body axes, with a warning. */
export function fitFile(file: ReadingsFile, options: FileFitOptions = {}): FileFit | FitRefusal {
  const readings = readingsIn(file);
  const run = (mounting: Mountings | undefined) =>
    fitAndExamine(readings, {
      ...(file.scales && { scales: file.scales }),
      ...(mounting && { mounting }),
      ...(options.model && { model: options.model }),
      screening: !options.keepAll,
    });
  const result = run(options.mounting);
  if (result.ok) return { ...result, assumedAxes: false };
  if (result.cause !== 'ambiguous' || options.mounting) return result;
  const assumed = run(AS_BODY);
  // What the assumption breaks on says less than the question that was open before it.
  if (!assumed.ok) return assumed.cause === 'contradiction' ? result : assumed;
  const warning =
    'Neither a plan nor a mounting says how the chips sit, so the axes of both chips were taken for body axes (+x+y+z: x along the sight, y to the right, z down). Where that is not so, every angle is wrong: give plan_ columns, or --mounting.';
  return { ...assumed, assumedAxes: true, warnings: [warning, ...assumed.warnings] };
}

/** Fits the offsets alone to a file of a few readings, all else as an earlier calibration has it. */
export function refitOffsets(
  file: ReadingsFile,
  { coefficients, basis }: Required<CoefficientsFile>,
): FileFit | FitRefusal {
  const readings = readingsIn(file);
  const result = recalibrateOffsets({ coefficients, ...basis }, readings);
  if (!result.ok) return result;
  const { aim } = basis.noise;
  return {
    ...result,
    // all noise was taken over, and so was the sight
    noise: { ...result.noise, ...(aim !== undefined && { aim }) },
    ...withoutResiduals(result, readings, basis.validity),
    assumedAxes: false,
  };
}

/**
 * What a coefficients file is to say of the calibration behind it.
 *
 * @param given the readings that the fit was made of
 * @param earlier the one whose offsets alone were fitted again: its directions are still covered
 */
export function basisOf(
  fit: Pick<FitRecord, 'coefficients' | 'dip' | 'noise' | 'uncertainty' | 'readings'>,
  given: readonly ExaminedReading[],
  tolerance: ToleranceChoice,
  earlier?: CalibrationBasis,
): CalibrationBasis {
  const { dip, noise, uncertainty } = fit;
  // a 95 % interval is about twice the standard error to either side
  const standardError = radians(tolerance.degrees / 2);
  const own = validityOf(fit, given, {
    standardError: { azimuth: standardError, inclination: standardError },
  });
  const { uncertainty: _, ...validity } = earlier ? covering(own, earlier.validity) : own;
  const readings = fit.readings.filter(({ used }) => used).length;
  return { readings, dip, noise, uncertainty, validity };
}
