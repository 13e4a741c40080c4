import { RAW_SCALES } from '../firmware-sim/raw-readings.ts';
import { uncertaintyFrom } from '../src/calib/covariance.ts';
import { fit } from '../src/calib/fit.ts';
import { degrees } from '../src/calib/geometry.ts';
import type { Figure } from './figure.ts';
import {
  boundCovariance,
  meanSquareErrors,
  simulateCalibration,
  trueTheta,
} from './simulated-calibration.ts';

const TRIALS = 200;

/** How near to the Cramér–Rao bound the fit comes: errors over many seeded calibrations of 56 readings. */
export function fitAccuracy(): Figure[] {
  const sum = { azimuth: 0, inclination: 0, boundAzimuth: 0, boundInclination: 0 };
  let refused = 0;
  let warned = 0;
  let setAside = 0;
  for (let seed = 1; seed <= TRIALS; seed++) {
    const calibration = simulateCalibration({ seed });
    const result = fit(calibration.readings, {
      scales: RAW_SCALES,
      noise: { acc: 16.4, mag: 6.8 },
    });
    if (!result.ok) {
      refused += 1;
      continue;
    }
    warned += result.warnings.length > 0 ? 1 : 0;
    setAside += result.setAside.length;
    const error = meanSquareErrors(result.coefficients, calibration);
    const bound = uncertaintyFrom(trueTheta(calibration), boundCovariance(calibration));
    sum.azimuth += error.azimuth;
    sum.inclination += error.inclination;
    sum.boundAzimuth += bound.azimuth ** 2;
    sum.boundInclination += bound.inclination ** 2;
  }
  const fitted = TRIALS - refused;
  const rms = (total: number) => `${degrees(Math.sqrt(total / fitted)).toFixed(4)}°`;
  return [
    {
      what: `rms azimuth error × cos inclination, ${fitted} calibrations of 56 readings, over the Cramér–Rao bound`,
      value: Math.sqrt(sum.azimuth / sum.boundAzimuth).toFixed(3),
      beside: `${rms(sum.azimuth)} over ${rms(sum.boundAzimuth)}; at most 1.10 wanted`,
    },
    {
      what: 'rms inclination error over the bound, same calibrations',
      value: Math.sqrt(sum.inclination / sum.boundInclination).toFixed(3),
      beside: `${rms(sum.inclination)} over ${rms(sum.boundInclination)}; at most 1.10 wanted`,
    },
    {
      what: 'refused, warned, and good readings set aside, same calibrations',
      value: `${refused}, ${warned}, ${setAside}`,
      beside: `of ${TRIALS}, ${TRIALS} and ${TRIALS * 56}`,
    },
  ];
}
