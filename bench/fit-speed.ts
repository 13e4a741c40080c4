import { readFileSync } from 'node:fs';
import { randomStream } from '../firmware-sim/random.ts';
import { RAW_SCALES } from '../firmware-sim/raw-readings.ts';
import { fit, type Fit } from '../src/calib/fit.ts';
import type { PlannedSighting } from '../src/calib/plan.ts';
import type { Reading } from '../src/calib/reading.ts';
import { solveDensely } from '../tests/reference/dense-calibration.ts';
import type { Figure } from './figure.ts';
import { bestTimes, fromAnswer, fromClosedForm, median } from './least-squares.ts';
import { simulateCalibration, type SimulatedCalibration } from './simulated-calibration.ts';

const BOARDS = 200;
/** The general-purpose library takes seconds for each. */
const SLOW_BOARDS = 2;
/** Version of that library, as installed. */
const LIBRARY = (
  JSON.parse(readFileSync('package.json', 'utf8')) as { devDependencies: Record<string, string> }
).devDependencies['ml-levenberg-marquardt'];
/** Noise as a board declares it, counts; and over scale, with the aim it is taken with. */
const DECLARED = { acc: 16.4, mag: 6.8 };
const KNOWN = {
  scales: RAW_SCALES,
  noise: { acc: DECLARED.acc / RAW_SCALES.acc, mag: DECLARED.mag / RAW_SCALES.mag, aim: 0.1 * (Math.PI / 180) }, // prettier-ignore
};
const EVIDENCE = { azimuths: 'absolute' } as const;
const OPTIONS = { scales: RAW_SCALES, noise: DECLARED };

const wholeFit = (readings: readonly Reading[]): Fit => {
  const result = fit(readings, OPTIONS);
  if (!result.ok) throw new Error(result.message);
  return result;
};

/**
 * Time of a fit, each at best of a few passes after one to warm up. "Least squares" is start and solver under known
 * noise, to compare with other solvers; "whole answer" finds the noise and the bad readings too, and the uncertainty.
 * Beside it a general-purpose library on the same readings in the same run, so that a ratio outlives the machine.
 */
export function fitSpeed(): Figure[] {
  const boards = Array.from({ length: BOARDS }, (_, i) => simulateCalibration({ seed: 1000 + i }));
  const all = boards.map(({ readings }) => readings);

  const solved = all.map((readings) => fromClosedForm(readings, KNOWN, EVIDENCE));
  const converged = solved.filter(
    (summary) => summary && ['converged', 'rounding'].includes(summary.stopped),
  );
  const leastSquares = median(
    bestTimes(all.map((readings) => () => fromClosedForm(readings, KNOWN, EVIDENCE))),
  );
  const answers = all.map(wholeFit);
  const whole = median(bestTimes(all.map((readings) => () => wholeFit(readings))));

  // the last reading comes on top of an answer without it
  const before = all.map((readings) => wholeFit(readings.slice(0, -1)));
  const refit = median(bestTimes(all.map((readings, i) => () => fromAnswer(readings, KNOWN, before[i])))); // prettier-ignore

  const library = median(bestTimes(boards.slice(0, SLOW_BOARDS).map((board) => () => densely(board)), 1)); // prettier-ignore

  const [thousand, tenThousand] = [1000, 10_000].map((count) => {
    const { readings } = simulateCalibration({ seed: count }, { plan: scattered(count / 4) });
    const [alone, answer] = bestTimes(
      [() => fromClosedForm(readings, KNOWN, EVIDENCE), () => wholeFit(readings)],
      3,
    );
    return { count, alone, answer };
  });
  const perReading = ({ count, alone }: { count: number; alone: number }) =>
    `${((1000 * alone) / count).toFixed(1)} µs`;

  return [
    {
      what: `median time of start and least squares of 56 readings, ${BOARDS} different boards, ${converged.length} converged`,
      value: `${leastSquares.toFixed(2)} ms`,
      beside: `${Math.round(library / leastSquares)} times as long with ml-levenberg-marquardt ${LIBRARY}, dense, by finite differences, ${SLOW_BOARDS} of these boards; at most 1.5 ms wanted`,
    },
    {
      what: 'steps of the solver in such a fit, median',
      value: String(median(converged.map((summary) => summary!.iterations))),
      beside: `${median(answers.map(({ iterations }) => iterations))} with the noise found`,
    },
    {
      what: 'median time of the whole answer to the same readings: noise, screening and uncertainty too',
      value: `${whole.toFixed(2)} ms`,
      beside: `${(whole / leastSquares).toFixed(1)} times start and least squares`,
    },
    {
      what: 'median time of least squares after one more reading, from the answer before',
      value: `${refit.toFixed(2)} ms`,
      beside: `${(refit / leastSquares).toFixed(2)} of that from the start; at most 1 ms wanted`,
    },
    {
      what: 'time of start and least squares of 10,000 readings in 2,500 sightings',
      value: `${tenThousand.alone.toFixed(0)} ms`,
      beside: `${perReading(tenThousand)} per reading, ${perReading(thousand)} at 1,000; whole answer ${tenThousand.answer.toFixed(0)} ms; at most 400 ms wanted`,
    },
  ];
}

/** Sightings of four rolls towards directions uniform on the sphere. */
function scattered(count: number): PlannedSighting[] {
  const random = randomStream(count, 'directions');
  return Array.from({ length: count }, (_, i) => ({
    name: String(i + 1),
    azimuth: random.between(0, 2 * Math.PI),
    inclination: Math.asin(random.between(-1, 1)),
    rolls: [0, 1, 2, 3].map((quarter) => (quarter * Math.PI) / 2),
  }));
}

function densely({ readings, settings }: SimulatedCalibration): void {
  const seen = readings.map(({ acc, mag, sighting }) => ({
    acc: acc.map((count) => count / RAW_SCALES.acc),
    mag: mag.map((count) => count / RAW_SCALES.mag),
    sighting: sighting!,
  }));
  solveDensely(seen, { acc: settings.accMounting, mag: settings.magMounting }, KNOWN.noise);
}
