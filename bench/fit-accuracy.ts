import { fit } from '../src/calib/fit.ts';
import { ErrorTally } from './error-tally.ts';
import type { Figure } from './figure.ts';
import { DECLARED, simulateCalibration } from './simulated-calibration.ts';

const TRIALS = 200;

/** How near to the Cramér–Rao bound the fit comes: errors over many seeded calibrations of 56 readings. */
export function fitAccuracy(): Figure[] {
  const tally = new ErrorTally();
  let warned = 0;
  let setAside = 0;
  for (let seed = 1; seed <= TRIALS; seed++) {
    const calibration = simulateCalibration({ seed });
    const result = fit(calibration.readings, DECLARED);
    if (!result.ok) continue;
    warned += result.warnings.length > 0 ? 1 : 0;
    setAside += result.setAside.length;
    tally.add(result.coefficients, calibration);
  }
  return [
    {
      what: `rms azimuth error × cos inclination, ${tally.count} calibrations of 56 readings, over the Cramér–Rao bound`,
      value: tally.ratio('azimuth'),
      beside: `${tally.words('azimuth')}; at most 1.10 wanted`,
    },
    {
      what: 'rms inclination error over the bound, same calibrations',
      value: tally.ratio('inclination'),
      beside: `${tally.words('inclination')}; at most 1.10 wanted`,
    },
    {
      what: 'refused, warned, and good readings set aside, same calibrations',
      value: `${TRIALS - tally.count}, ${warned}, ${setAside}`,
      beside: `of ${TRIALS}, ${TRIALS} and ${TRIALS * 56}`,
    },
  ];
}
