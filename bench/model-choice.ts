import { RAW_SCALES } from '../firmware-sim/raw-readings.ts';
import { uncertaintyFrom } from '../src/calib/covariance.ts';
import { degrees } from '../src/calib/geometry.ts';
import { chooseModel } from '../src/calib/model-choice.ts';
import type { Figure } from './figure.ts';
import {
  boundCovariance,
  meanSquareErrors,
  simulateCalibration,
  trueTheta,
} from './simulated-calibration.ts';

const TRIALS = 200;

/** How often the right model is chosen, and how near the bowed fit comes to its bound. */
export function modelChoice(): Figure[] {
  const figures: Figure[] = [];
  for (const [curvature, right, wanted] of [
    [0.02, 'bowed', 95],
    [0, 'straight', 90],
  ] as const) {
    let hits = 0;
    const sum = { error: 0, bound: 0 };
    for (let seed = 1; seed <= TRIALS; seed++) {
      const calibration = simulateCalibration({ seed, curvature });
      const choice = chooseModel(calibration.readings, {
        scales: RAW_SCALES,
        noise: { acc: 16.4, mag: 6.8 },
      });
      if ('ok' in choice) continue;
      if (choice.chosen.coefficients.model === right) hits += 1;
      sum.error += meanSquareErrors(choice.chosen.coefficients, calibration).azimuth;
      sum.bound +=
        uncertaintyFrom(trueTheta(calibration), boundCovariance(calibration)).azimuth ** 2;
    }
    const rms = (total: number) => `${degrees(Math.sqrt(total / TRIALS)).toFixed(4)}°`;
    figures.push(
      {
        what: `${right} chosen with curvature terms of ${curvature}, ${TRIALS} trials`,
        value: `${((100 * hits) / TRIALS).toFixed(1)} %`,
        beside: `at least ${wanted} % wanted`,
      },
      {
        what: `rms azimuth error × cos inclination of the chosen model over the ${right} bound`,
        value: Math.sqrt(sum.error / sum.bound).toFixed(3),
        beside: `${rms(sum.error)} over ${rms(sum.bound)}; at most 1.15 wanted`,
      },
    );
  }
  return figures;
}
