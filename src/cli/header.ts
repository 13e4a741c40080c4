import { basename } from 'node:path';
import { coefficientsHeader } from '../records/coefficients-header.ts';
import { writeNew } from './files.ts';
import { coefficientsIn } from './input-files.ts';
import { failed, type Outcome } from './outcome.ts';

export interface HeaderOptions {
  coefficients: string;
  out: string;
  /** Serial number of the board they are for, to be written in. */
  board?: string;
}

/** `header`: coefficients as a C header, for firmware that is not of this project. */
export function header({ coefficients, out, board }: HeaderOptions): Outcome {
  const file = coefficientsIn(coefficients);
  if (!file.ok) return failed(file.message);
  const about = { name: basename(coefficients), ...(board !== undefined && { board }) };
  const written = writeNew(out, coefficientsHeader(file.coefficients, about));
  if (!written.ok) return failed(`${written.message} Give another name.`);
  return { code: 0, out: `Written to ${out}. What the numbers mean is in its comment.\n` };
}
