import { RAW_SCALES } from '../firmware-sim/raw-readings.ts';
import { fitEllipsoid } from '../src/calib/ellipsoid.ts';
import { fit } from '../src/calib/fit.ts';
import type { Figure } from './figure.ts';
import { simulateCalibration } from './simulated-calibration.ts';

const BOARDS = 200;

/**
 * Time of a whole fit (start, noise, screening, uncertainty) of 56 readings, beside the plain ellipsoid fits of the same
 * readings in the same run, so that the ratio outlives the machine.
 */
export function fitSpeed(): Figure[] {
  const boards = Array.from({ length: BOARDS }, (_, i) => simulateCalibration({ seed: 1000 + i }));
  const times: number[] = [];
  const ellipsoids: number[] = [];
  const iterations: number[] = [];
  let converged = 0;
  // the first pass only warms up
  for (const counted of [false, true]) {
    for (const { readings } of boards) {
      const start = performance.now();
      const result = fit(readings, { scales: RAW_SCALES, noise: { acc: 16.4, mag: 6.8 } });
      const middle = performance.now();
      fitEllipsoid(readings.map(({ acc }) => acc));
      fitEllipsoid(readings.map(({ mag }) => mag));
      const end = performance.now();
      if (!counted) continue;
      times.push(middle - start);
      ellipsoids.push(end - middle);
      if (result.ok) {
        converged += 1;
        iterations.push(result.iterations);
      }
    }
  }
  const median = (values: number[]) =>
    values.sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? NaN;
  const whole = median(times);
  return [
    {
      what: `median time of a fit of 56 readings, ${BOARDS} different boards, ${converged} converged`,
      value: `${whole.toFixed(2)} ms`,
      beside: `${(whole / median(ellipsoids)).toFixed(1)} times two plain ellipsoid fits of the same readings`,
    },
    {
      what: 'steps of the solver in such a fit, median over all rounds of the noise',
      value: String(median(iterations)),
      beside: '',
    },
  ];
}
