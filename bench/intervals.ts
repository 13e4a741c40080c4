import { fork } from 'node:child_process';
import { availableParallelism } from 'node:os';
import { randomStream } from '../firmware-sim/random.ts';
import { RAW_SCALES } from '../firmware-sim/raw-readings.ts';
import { standardErrors } from '../src/calib/covariance.ts';
import { interval95 } from '../src/calib/quantiles.ts';
import { fit } from '../src/calib/fit.ts';
import { bodyVectors, radians, turn } from '../src/calib/geometry.ts';
import { applyCoefficients } from '../src/calib/model.ts';
import { cubePlan, type PlannedSighting } from '../src/calib/plan.ts';
import type { Vec3 } from '../src/calib/reading.ts';
import type { Figure } from './figure.ts';
import {
  DECLARED,
  simulateCalibration,
  type SimulatedCalibration,
} from './simulated-calibration.ts';

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

const PLANS = { 24: cornersPlan, 56: cubePlan() } as const;

/** Noise in thousandths of 1 g and percent of the field, aim in degrees. */
const SENSORS = {
  good: { accNoise: 1, magNoise: 0.2, aim: 0.1 },
  coarse: { accNoise: 4, magNoise: 0.8, aim: 0.3 },
} as const;

/**
 * One kind of calibration, and some of its trials. `dithered`: noise of that size before the counts are rounded, as a
 * converter with many bits has it. Undithered: no noise at all, but counts rounded so coarsely that the rounding's
 * standard deviation (a step over √12) is of that size; then errors are no chance, but a staircase.
 */
export interface IntervalTrials {
  sensor: keyof typeof SENSORS;
  readings: keyof typeof PLANS;
  dithered: boolean;
  from: number;
  to: number;
}

/** How often the 95 % interval held the truth. */
export interface Held {
  azimuth: number;
  inclination: number;
  judged: number;
  refused: number;
}

export function countHeld({ sensor, readings, dithered, from, to }: IntervalTrials): Held {
  const held: Held = { azimuth: 0, inclination: 0, judged: 0, refused: 0 };
  for (let seed = from; seed < to; seed++) {
    const calibration = taken(seed, sensor, readings, dithered);
    const result = fit(calibration.readings, DECLARED);
    if (!result.ok) {
      held.refused += 1;
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
      held.judged += 1;
    }
  }
  return held;
}

function taken(
  seed: number,
  sensor: IntervalTrials['sensor'],
  readings: IntervalTrials['readings'],
  dithered: boolean,
): SimulatedCalibration {
  const plan = PLANS[readings];
  const { accNoise, magNoise, aim } = SENSORS[sensor];
  if (dithered) return simulateCalibration({ seed, accNoise, magNoise, aim }, { plan });
  const exact = simulateCalibration({ seed, accNoise: 0, magNoise: 0, aim }, { plan });
  const step = {
    acc: Math.sqrt(12) * (accNoise / 1000) * RAW_SCALES.acc,
    mag: Math.sqrt(12) * (magNoise / 100) * RAW_SCALES.mag,
  };
  const rounded = (counts: Vec3, to: number) =>
    counts.map((count) => Math.round(count / to) * to) as unknown as Vec3;
  return {
    ...exact,
    readings: exact.readings.map((reading) => ({
      ...reading,
      acc: rounded(reading.acc, step.acc),
      mag: rounded(reading.mag, step.mag),
    })),
  };
}

/** How often the 95 % interval holds the truth. */
export async function intervals(): Promise<Figure[]> {
  const figures: Figure[] = [];
  for (const dithered of [true, false]) {
    for (const sensor of ['good', 'coarse'] as const) {
      for (const readings of [24, 56] as const) {
        const { azimuth, inclination, judged, refused } = await counted({ sensor, readings, dithered }); // prettier-ignore
        const percent = (n: number) => `${((100 * n) / judged).toFixed(1)} %`;
        figures.push({
          what: `95 % interval holds the truth, ${sensor} sensor, ${dithered ? 'dithered' : 'undithered'}, ${readings} readings, ${TRIALS} trials: azimuth, inclination`,
          value: `${percent(azimuth)}, ${percent(inclination)}`,
          beside: `${dithered ? '93 to 97 % wanted' : 'reported apart: rounding alone, no chance in it'}${refused > 0 ? `; ${refused} refused` : ''}`,
        });
      }
    }
  }
  return figures;
}

/** All trials of a kind, on every core. */
async function counted(kind: Omit<IntervalTrials, 'from' | 'to'>): Promise<Held> {
  const processes = availableParallelism();
  const bound = (part: number) => 1 + Math.floor((part * TRIALS) / processes);
  const parts = await Promise.all(
    Array.from({ length: processes }, (_, part) =>
      inProcess({ ...kind, from: bound(part), to: bound(part + 1) }),
    ),
  );
  const sum = (of: keyof Held) => parts.reduce((total, part) => total + part[of], 0);
  return {
    azimuth: sum('azimuth'),
    inclination: sum('inclination'),
    judged: sum('judged'),
    refused: sum('refused'),
  };
}

/** In a process that runs as this one does. */
function inProcess(trials: IntervalTrials): Promise<Held> {
  return new Promise((resolve, reject) => {
    const child = fork(new URL('./intervals-process.ts', import.meta.url));
    child
      .on('message', (held) => resolve(held as Held))
      .on('error', reject)
      .on('exit', (code) => reject(new Error(`a process of the bench ended early, with ${code}`)));
    child.send(trials);
  });
}
