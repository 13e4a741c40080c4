import { uncertaintyFrom } from '../src/calib/covariance.ts';
import { degrees } from '../src/calib/geometry.ts';
import type { Coefficients } from '../src/calib/model.ts';
import {
  boundCovariance,
  meanSquareErrors,
  trueTheta,
  type SimulatedCalibration,
} from './simulated-calibration.ts';

type Angle = 'azimuth' | 'inclination';

/** Errors of many calibrations beside their Cramér–Rao bounds. */
export class ErrorTally {
  count = 0;
  readonly #errors = { azimuth: 0, inclination: 0 };
  readonly #bounds = { azimuth: 0, inclination: 0 };

  /** @param known those of its readings that a fit could know something from: the bound is theirs */
  add(found: Coefficients, calibration: SimulatedCalibration, known = calibration): void {
    const error = meanSquareErrors(found, calibration);
    const bound = uncertaintyFrom(trueTheta(calibration), boundCovariance(known));
    for (const angle of ['azimuth', 'inclination'] as const) {
      this.#errors[angle] += error[angle];
      this.#bounds[angle] += bound[angle] ** 2;
    }
    this.count += 1;
  }

  /** Root mean square error over root mean square bound. */
  ratio(angle: Angle): string {
    return Math.sqrt(this.#errors[angle] / this.#bounds[angle]).toFixed(3);
  }

  /** Both in degrees. */
  words(angle: Angle): string {
    const rms = (sum: number) => `${degrees(Math.sqrt(sum / this.count)).toFixed(4)}°`;
    return `${rms(this.#errors[angle])} over ${rms(this.#bounds[angle])}`;
  }
}
