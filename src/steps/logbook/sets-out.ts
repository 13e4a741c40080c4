import { writeCoefficients } from '../../records/coefficients-file.ts';
import { coefficientsHeader } from '../../records/coefficients-header.ts';
import { coefficientsMatrices } from '../../records/coefficients-matrices.ts';
import type { BoardHistory } from '../calibration-state.ts';
import { basisOf } from '../fit-file.ts';
import { fileName, type FileOut } from '../file-out.ts';
import { fitRequest } from '../fitting.ts';
import { ORDINARY_TOLERANCE } from '../tolerance.ts';
import { coefficientsOfSet, setName, type SetOfBoard } from './sets-of-board.ts';

/** A set of coefficients as a file to take out, for this program or for other firmware. */

/** In which ways a set goes out: our coefficients file, plain matrices, a C header. */
export const WAYS_OUT = ['file', 'matrices', 'header'] as const;
export type WayOut = (typeof WAYS_OUT)[number];

/** What each is called on screen. */
export const WAY_OUT_LABELS: Record<WayOut, string> = {
  file: 'Take out as file (JSON)',
  matrices: 'As plain matrices',
  header: 'As a C header',
};

/** @param board serial number of the board it is for */
export function setOut(each: SetOfBoard, board: string, way: WayOut): FileOut {
  const coefficients = coefficientsOfSet(each);
  const about = { board, name: setName(each) };
  const named = (ending: string) => fileName(['coefficients', board, each.crc], ending);
  switch (way) {
    case 'file':
      return {
        name: named('json'),
        content: writeCoefficients(coefficients),
        type: 'application/json',
      };
    case 'matrices':
      return {
        name: named('txt'),
        content: coefficientsMatrices(coefficients, about),
        type: 'text/plain',
      };
    case 'header':
      return {
        name: named('h'),
        content: coefficientsHeader(coefficients, about),
        type: 'text/plain',
      };
  }
}

/** The newest fit of a calibration as a coefficients file; undefined where there is none, or readings changed since. */
export function coefficientsFileOf({
  calibration,
  identity,
}: BoardHistory): FileOut<string> | undefined {
  const { fit } = calibration ?? {};
  if (!calibration || !fit || fit.stale) return undefined;
  const tolerance = calibration.tolerance ?? ORDINARY_TOLERANCE;
  const { readings } = fitRequest(calibration, identity);
  return {
    name: fileName(['coefficients', calibration.board, fit.id], 'json'),
    content: writeCoefficients(fit.coefficients, basisOf(fit, readings, tolerance)),
    type: 'application/json',
  };
}
