import { chooseModel } from '../src/calib/model-choice.ts';
import { ErrorTally } from './error-tally.ts';
import type { Figure } from './figure.ts';
import { DECLARED, simulateCalibration } from './simulated-calibration.ts';

const TRIALS = 200;

/** How often the right model is chosen, and how near the chosen fit comes to its bound. */
export function modelChoice(): Figure[] {
  return (
    [
      [0.02, 'bowed', 95],
      [0, 'straight', 90],
    ] as const
  ).flatMap(([curvature, right, wanted]) => {
    const tally = new ErrorTally();
    let hits = 0;
    for (let seed = 1; seed <= TRIALS; seed++) {
      const calibration = simulateCalibration({ seed, curvature });
      const choice = chooseModel(calibration.readings, DECLARED);
      if ('ok' in choice) continue;
      if (choice.chosen.coefficients.model === right) hits += 1;
      tally.add(choice.chosen.coefficients, calibration);
    }
    return [
      {
        what: `${right} chosen with curvature terms of ${curvature}, ${TRIALS} trials`,
        value: `${((100 * hits) / TRIALS).toFixed(1)} %`,
        beside: `at least ${wanted} % wanted`,
      },
      {
        what: `rms azimuth error × cos inclination of the chosen model over the ${right} bound, ${tally.count} of those trials`,
        value: tally.ratio('azimuth'),
        beside: `${tally.words('azimuth')}; at most 1.15 wanted`,
      },
    ];
  });
}
