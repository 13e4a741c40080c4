import { fit, type Fit, type FitRefusal } from '../calib/fit.ts';
import { mountingMatrix } from '../calib/model.ts';
import type { Mounting } from '../calib/reading.ts';
import { readingsForFit, type ReadingsFile } from '../records/readings-csv.ts';

/** From a file of readings to a fit: what the file, the person and nobody says about how the chips sit. */

export interface Mountings {
  acc: Mounting;
  mag: Mounting;
}

export interface FileFitOptions {
  mounting?: Mountings;
  /** Leave every reading in, however bad it looks. */
  keepAll?: boolean;
}

/** Both chips with their axes along the body's. */
const AS_BODY: Mountings = { acc: '+x+y+z', mag: '+x+y+z' };

/** Reads mountings as on the command line: `acc=+x-y-z,mag=+y+x-z`, in either order; undefined where it is not that. */
export function parseMountings(text: string): Mountings | undefined {
  const parts = text.split(',').map((part) => part.split('='));
  const found = Object.fromEntries(parts) as Partial<Record<string, string>>;
  const { acc, mag } = found;
  const whole = parts.length === 2 && parts.every((part) => part.length === 2);
  if (!whole || acc === undefined || mag === undefined) return undefined;
  return mountingMatrix(acc) && mountingMatrix(mag) ? { acc, mag } : undefined;
}

/** Fits a file of readings. Where nothing says how the chips sit, chip axes are taken for body axes, with a warning. */
export function fitFile(file: ReadingsFile, options: FileFitOptions = {}): Fit | FitRefusal {
  const readings = readingsForFit(file);
  const run = (mounting: Mountings | undefined) =>
    fit(readings, {
      ...(file.scales && { scales: file.scales }),
      ...(mounting && { mounting }),
      screening: !options.keepAll,
    });
  const result = run(options.mounting);
  if (result.ok || result.cause !== 'ambiguous' || options.mounting) return result;
  const assumed = run(AS_BODY);
  // What the assumption breaks on says less than the question that was open before it.
  if (!assumed.ok) return assumed.cause === 'contradiction' ? result : assumed;
  const warning =
    'Neither a plan nor a mounting says how the chips sit, so the axes of both chips were taken for body axes (+x+y+z: x along the sight, y to the right, z down). Where that is not so, every angle is wrong: give plan_ columns, or --mounting.';
  return { ...assumed, warnings: [warning, ...assumed.warnings] };
}
