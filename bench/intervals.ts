import { RAW_SCALES } from '../firmware-sim/raw-readings.ts';
import { randomStream } from '../firmware-sim/random.ts';
import { interval95, standardErrors } from '../src/calib/covariance.ts';
import { fit } from '../src/calib/fit.ts';
import { bodyVectors, radians, turn } from '../src/calib/geometry.ts';
import { applyCoefficients } from '../src/calib/model.ts';
import { cubePlan, type PlannedSighting } from '../src/calib/plan.ts';
import type { Figure } from './figure.ts';
import { simulateCalibration } from './simulated-calibration.ts';

const TRIALS = 1000;
/** Attitudes judged per trial; few, since those of one trial share their error. */
const ATTITUDES = 4;

/** Eight corners of the cube, three rolls each: 24 well spread readings. */
const cornersPlan: PlannedSighting[] = cubePlan()
  .filter(
    ({ azimuth, inclination }) =>
      Math.abs(Math.sin(2 * azimuth)) > 0.5 && Math.abs(inclination) < 1,
  )
  .map((sighting, i) => ({
    ...sighting,
    rolls: [0, 1, 2].map(
      (third) => ((third * 2 * Math.PI) / 3 + (i * Math.PI) / 5) % (2 * Math.PI),
    ),
  }));

const sensors = {
  good: { accNoise: 1, magNoise: 0.2, aim: 0.1 },
  coarse: { accNoise: 4, magNoise: 0.8, aim: 0.3 },
};

/** How often the 95 % interval holds the truth. */
export function intervals(): Figure[] {
  return Object.entries(sensors).flatMap(([name, sensor]) =>
    [cornersPlan, cubePlan()].map((plan) => {
      const held = { azimuth: 0, inclination: 0 };
      let judged = 0;
      let refused = 0;
      for (let seed = 1; seed <= TRIALS; seed++) {
        const calibration = simulateCalibration({ seed, ...sensor }, { plan });
        const result = fit(calibration.readings, {
          scales: RAW_SCALES,
          noise: { acc: 16.4, mag: 6.8 },
        });
        if (!result.ok) {
          refused += 1;
          continue;
        }
        const random = randomStream(seed, 'judged attitude');
        for (let k = 0; k < ATTITUDES; k++) {
          const a = random.between(0, 2 * Math.PI);
          const i = Math.asin(random.between(-1, 1) * Math.sin(radians(70)));
          const r = random.between(0, 2 * Math.PI);
          const { g, b } = bodyVectors(a, i, r, radians(calibration.settings.dip));
          const { acc, mag } = calibration.instrument.exact(g, b);
          const found = applyCoefficients(result.coefficients, acc, mag);
          const error = standardErrors(result.uncertainty, a, i, r);
          const off = {
            azimuth: turn(a, found.azimuth!) * Math.cos(i),
            inclination: found.inclination! - i,
          };
          for (const angle of ['azimuth', 'inclination'] as const) {
            const half = interval95(error[angle], result.uncertainty.freedom[angle]);
            if (Math.abs(off[angle]) <= half) held[angle] += 1;
          }
          judged += 1;
        }
      }
      const count = plan.reduce((sum, { rolls }) => sum + rolls.length, 0);
      const percent = (n: number) => `${((100 * n) / judged).toFixed(1)} %`;
      return {
        what: `95 % interval holds the truth, ${name} sensor, ${count} readings, ${TRIALS} trials: azimuth, inclination`,
        value: `${percent(held.azimuth)}, ${percent(held.inclination)}`,
        beside: `93 to 97 % wanted${refused > 0 ? `; ${refused} refused` : ''}`,
      };
    }),
  );
}
