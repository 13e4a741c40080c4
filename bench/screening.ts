import { RAW_SCALES } from '../firmware-sim/raw-readings.ts';
import { randomStream, type Random } from '../firmware-sim/random.ts';
import { fit } from '../src/calib/fit.ts';
import type { Reading, Vec3 } from '../src/calib/reading.ts';
import { ErrorTally } from './error-tally.ts';
import type { Figure } from './figure.ts';
import {
  DECLARED,
  simulateCalibration,
  type SimulatedCalibration,
} from './simulated-calibration.ts';

const TRIALS = 200;

/** A calibration with 4 readings in a disturbed field (8 to 30 % of it) and 2 of a moving board (4 to 12 % of gravity). */
export function spoiledCalibration(seed: number): {
  calibration: SimulatedCalibration;
  readings: Reading[];
  bad: Set<string>;
} {
  const calibration = simulateCalibration({ seed });
  const random = randomStream(seed, 'spoil');
  const bad = new Map<number, 'disturbed' | 'moving'>();
  const disturbedIn = new Map<string, number>();
  while (bad.size < 6) {
    const index = random.below(56);
    const { sighting } = calibration.readings[index]!;
    if (bad.has(index)) continue;
    if (bad.size >= 4) bad.set(index, 'moving');
    else if ((disturbedIn.get(sighting!) ?? 0) < 2) {
      disturbedIn.set(sighting!, (disturbedIn.get(sighting!) ?? 0) + 1);
      bad.set(index, 'disturbed');
    }
  }
  const readings = calibration.readings.map((reading, i): Reading => {
    const kind = bad.get(i);
    if (!kind) return reading;
    const push = (counts: Vec3, size: number): Vec3 => {
      const d = randomDirection(random);
      return [counts[0] + size * d[0], counts[1] + size * d[1], counts[2] + size * d[2]];
    };
    return kind === 'disturbed'
      ? { ...reading, mag: push(reading.mag, random.between(0.08, 0.3) * RAW_SCALES.mag) }
      : { ...reading, acc: push(reading.acc, random.between(0.04, 0.12) * RAW_SCALES.acc) };
  });
  return { calibration, readings, bad: new Set([...bad.keys()].map((i) => readings[i]!.id)) };
}

function randomDirection(random: Random): Vec3 {
  const z = random.between(-1, 1);
  const a = random.between(0, 2 * Math.PI);
  const r = Math.sqrt(1 - z * z);
  return [r * Math.cos(a), r * Math.sin(a), z];
}

/** How many bad readings are found, how many good ones accused, and what is left of the error. */
export function screening(): Figure[] {
  const tally = new ErrorTally();
  let clean = 0;
  let missed = 0;
  let accused = 0;
  for (let seed = 1; seed <= TRIALS; seed++) {
    const { calibration, readings, bad } = spoiledCalibration(seed);
    const result = fit(readings, DECLARED);
    if (!result.ok) {
      missed += bad.size;
      continue;
    }
    const named = new Set(result.setAside.map(({ id }) => id));
    const lost = [...bad].filter((id) => !named.has(id)).length;
    const wrong = [...named].filter((id) => !bad.has(id)).length;
    missed += lost;
    accused += wrong;
    if (lost === 0 && wrong <= 1) clean += 1;
    const good = calibration.readings.map(({ id }) => !bad.has(id));
    tally.add(result.coefficients, calibration, {
      ...calibration,
      readings: calibration.readings.filter((_, i) => good[i]),
      raw: calibration.raw.filter((_, i) => good[i]),
    });
  }
  return [
    {
      what: `4 disturbed and 2 moving readings among 56: all six found and at most one good one named, of ${TRIALS} trials`,
      value: `${((100 * clean) / TRIALS).toFixed(1)} %`,
      beside: `${missed} missed, ${accused} accused; at least 95 % wanted`,
    },
    {
      what: `rms azimuth error × cos inclination after that, over the bound for the good readings alone, ${tally.count} trials`,
      value: tally.ratio('azimuth'),
      beside: `${tally.words('azimuth')}; at most 1.15 wanted`,
    },
  ];
}
