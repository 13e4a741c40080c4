import { EigenvalueDecomposition, Matrix } from 'ml-matrix';
import { answerFrom, type Fit, type FitRefusal } from './answer.ts';
import { CalibrationProblem, DIP, type NoiseScales, type Prior } from './calibration-problem.ts';
import type { Reading } from './reading.ts';
import { levenbergMarquardt } from './solver.ts';
import { inScale, observe, stateFrom } from './state.ts';

/**
 * Offsets alone, from a few readings: after a battery change the hard iron has moved, and all else stays as a whole
 * calibration found it, as surely as it found it.
 */

/** What must be known of the earlier calibration. */
export type EarlierCalibration = Pick<Fit, 'coefficients' | 'dip' | 'noise' | 'uncertainty'>;

/** How far an offset may have moved: standard deviation, of gravity or of the field. Wide: the readings decide. */
const MOVED = 1;
/** Another place or day: standard deviation of the dip, radians. */
const DIP_MOVED = 0.2;
/** Two attitudes leave six offsets open; these few, well apart, do not. */
const FEWEST = 3;

/**
 * Fits the offsets (and the dip) again, with everything else of an earlier fit as prior: its covariance widened by what
 * may have moved, and its noise taken over, since a few readings tell nothing of it.
 *
 * @param earlier a whole calibration of the same board
 * @param readings raw counts of the same board, ids unique; sightings help but are not needed
 */
export function recalibrateOffsets(
  earlier: EarlierCalibration,
  readings: readonly Reading[],
): Fit | FitRefusal {
  if (readings.length < FEWEST) {
    return {
      ok: false,
      cause: 'too_few',
      message: `${readings.length} readings do not determine six offsets and the dip.`,
      next: `Take at least ${FEWEST} readings in directions far apart; eight make a good job of it.`,
    };
  }
  const { coefficients, uncertainty, dip } = earlier;
  const scales = { acc: coefficients.accScale, mag: coefficients.magScale };
  const noise: NoiseScales = {
    acc: earlier.noise.acc / scales.acc,
    mag: earlier.noise.mag / scales.mag,
    aim: earlier.noise.aim ?? NO_AIM,
  };
  const scaled = inScale(readings, scales);
  const data = observe(
    scaled,
    scaled.map(() => true),
    earlier.noise.aim !== undefined,
  );
  const { attitudes } = stateFrom(scaled, coefficients, dip);
  const theta = Float64Array.from(uncertainty.theta);
  const prior = { theta, information: informationAfterMove(uncertainty.covariance, theta.length) };
  const problem = new CalibrationProblem(data, theta, attitudes, prior);
  problem.noise = noise;
  const summary = levenbergMarquardt(problem);
  const leverage = problem.leverage();
  return answerFrom({
    readings,
    scales,
    iterations: summary.iterations,
    setAside: [],
    warnings: [
      `Only the offsets were fitted again, from ${readings.length} readings; gains, cross-axis terms and the sight are those of the earlier calibration.`,
    ],
    prior,
    estimate: {
      data,
      problem,
      noise,
      summary,
      // the noise was found by the earlier fit, with the freedom that it says
      redundancy: {
        acc: uncertainty.freedom.inclination,
        mag: uncertainty.freedom.azimuth,
        aim: uncertainty.freedom.inclination,
      },
      ...(leverage ? { checks: leverage.chiSquare } : {}),
    },
  });
}

/** Aiming error where the earlier fit had no sightings to find it from: common practice by hand. */
const NO_AIM = (0.1 * Math.PI) / 180;

/** Turns that no reading showed have no variance; they are held this firmly, relative to their size. */
const HELD = 1e-6;

/** Inverse of the covariance, widened where offsets and dip may have moved. */
function informationAfterMove(covariance: readonly number[], width: number): Prior['information'] {
  const widened = Matrix.from1DArray(width, width, covariance as number[]);
  const widen = (i: number, by: number) => widened.set(i, i, widened.get(i, i) + by ** 2);
  for (let row = 3; row < DIP; row += 4) widen(row, MOVED);
  widen(DIP, DIP_MOVED);
  // scaled to ones on the diagonal, so that small unknowns count as much as large ones
  const size = widened.diagonal().map((value) => Math.sqrt(Math.max(value, Number.MIN_VALUE)));
  for (let i = 0; i < width; i++) {
    for (let c = 0; c < width; c++) widened.set(i, c, widened.get(i, c) / (size[i]! * size[c]!));
  }
  const eigen = new EigenvalueDecomposition(widened, { assumeSymmetric: true });
  const inverse = Matrix.diag(eigen.realEigenvalues.map((value) => 1 / Math.max(value, HELD)));
  const V = eigen.eigenvectorMatrix;
  const information = V.mmul(inverse).mmul(V.transpose());
  for (let i = 0; i < width; i++) {
    for (let c = 0; c < width; c++) {
      information.set(i, c, information.get(i, c) / (size[i]! * size[c]!));
    }
  }
  return Float64Array.from(information.to1DArray());
}
