import {
  readCoefficients,
  type CoefficientsFault,
  type CoefficientsFile,
} from '../records/coefficients-file.ts';
import { readReadings, type ReadingsCause, type ReadingsFile } from '../records/readings-csv.ts';
import { readSavedBoard } from '../records/saved-board.ts';
import { readBytes } from './files.ts';

/** Files of the kind that a command wants. One of another kind that we know is called by its name. */

const KINDS = {
  coefficients: 'coefficients',
  readings: 'readings',
  board: 'what was on a board when it was saved',
} as const;

export type FileKind = keyof typeof KINDS;

export interface NotWanted {
  ok: false;
  message: string;
  /** What the file is instead; absent where it is none that we know, or cannot be read. */
  found?: FileKind;
}

/** Found in files whose header is that of readings. */
const PAST_THE_HEADER: readonly ReadingsCause[] = [
  'no_readings',
  'ragged_row',
  'blank',
  'decimal_comma',
  'not_a_number',
  'out_of_range',
  'duplicate_id',
];

/** What a file is, going by what is in it; nothing for a file that we do not know. */
export function kindOf(bytes: Uint8Array): FileKind | undefined {
  if (readCoefficients(bytes).ok) return 'coefficients';
  if (readSavedBoard(bytes).ok) return 'board';
  const readings = readReadings(bytes);
  return readings.ok || PAST_THE_HEADER.includes(readings.cause) ? 'readings' : undefined;
}

export function readingsIn(path: string): ({ ok: true } & ReadingsFile) | NotWanted {
  const input = readBytes(path);
  if (!input.ok) return input;
  const file = readReadings(input.bytes);
  return file.ok ? file : notWanted(path, input.bytes, 'readings', file.message);
}

export function coefficientsIn(path: string): ({ ok: true } & CoefficientsFile) | NotWanted {
  const input = readBytes(path);
  if (!input.ok) return input;
  const file = readCoefficients(input.bytes);
  return file.ok ? file : notCoefficients(path, input.bytes, file);
}

/** What to say of a file that holds no coefficients. */
export function notCoefficients(
  path: string,
  bytes: Uint8Array,
  { message }: CoefficientsFault,
): NotWanted {
  return notWanted(path, bytes, 'coefficients', message);
}

function notWanted(path: string, bytes: Uint8Array, wanted: FileKind, fault: string): NotWanted {
  const found = kindOf(bytes);
  if (found === undefined || found === wanted) return { ok: false, message: `${path}: ${fault}` };
  return {
    ok: false,
    message: `${path} holds ${KINDS[found]}, and a file of ${wanted} belongs in its place. Nothing was changed.`,
    found,
  };
}
