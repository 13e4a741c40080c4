import { CalibrationProblem, DIP, type Observations } from '../src/calib/calibration-problem.ts';
import { attitudesEverywhere } from '../src/calib/covariance.ts';
import { bodyVectors, degrees, radians, turn } from '../src/calib/geometry.ts';
import { applyCoefficients, type Coefficients } from '../src/calib/model.ts';
import { cubePlan } from '../src/calib/plan.ts';
import type { Reading, Vec3 } from '../src/calib/reading.ts';
import type { SimulatorSettings } from '../src/protocol/simulator.ts';
import {
  drawInstrument,
  type Instrument,
  ORDINARY,
  RAW_SCALES,
  rawReadings,
  type RawReading,
} from '../firmware-sim/raw-readings.ts';
import { exactCounts, REFERENCE_TEMPERATURE } from '../firmware-sim/sensors.ts';
import { defaultSettings } from '../firmware-sim/settings.ts';

/** A calibration of a simulated instrument by the cube plan, with its truth: for benches and tests. */
export interface SimulatedCalibration {
  settings: SimulatorSettings;
  instrument: Instrument;
  readings: Reading[];
  raw: RawReading[];
}

/** What an ordinary board declares of its chips: their scales, and 1 mg and 0.2 % of the field as noise. */
export const DECLARED = { scales: RAW_SCALES, noise: { acc: 16.4, mag: 6.8 } };

export function simulateCalibration(
  change: Partial<SimulatorSettings> = {},
  { tolerances = ORDINARY, plan = cubePlan() } = {},
): SimulatedCalibration {
  const settings = { ...defaultSettings, ...change };
  const instrument = drawInstrument(settings, tolerances);
  const aims = plan.flatMap(({ name, azimuth, inclination, rolls }) =>
    rolls.map((roll) => ({ sighting: name, aim: { azimuth, inclination, roll } })),
  );
  const raw = rawReadings(
    instrument,
    settings,
    aims.map(({ aim }) => ({
      azimuth: degrees(aim.azimuth),
      inclination: degrees(aim.inclination),
      roll: degrees(aim.roll),
    })),
  );
  const readings = raw.map(({ acc, mag }, i) => ({
    id: String(i + 1),
    sighting: aims[i]!.sighting,
    aim: aims[i]!.aim,
    acc,
    mag,
  }));
  return { settings, instrument, readings, raw };
}

/** Forward parameters θ of an instrument at a dip: bowed where its accelerometer is, else straight. */
export function trueTheta({ instrument, settings }: SimulatedCalibration): Float64Array {
  const bowed = instrument.acc.curvature.some((q) => q !== 0);
  const theta = new Float64Array(bowed ? DIP + 4 : DIP + 1);
  // the straight part alone is linear in the vectors, so that three axes and zero show it whole
  const linear = { ...instrument.acc, curvature: [0, 0, 0] as const };
  const exact = (v: Vec3) => ({
    acc: exactCounts(linear, v, REFERENCE_TEMPERATURE),
    mag: exactCounts(instrument.mag, v, REFERENCE_TEMPERATURE),
  });
  const zero = exact([0, 0, 0]);
  (
    [
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
    ] as const
  ).forEach((axis, c) => {
    const counts = exact(axis);
    for (let i = 0; i < 3; i++) {
      theta[4 * i + c] = (counts.acc[i]! - zero.acc[i]!) / RAW_SCALES.acc;
      theta[12 + 4 * i + c] = (counts.mag[i]! - zero.mag[i]!) / RAW_SCALES.mag;
    }
  });
  if (bowed) theta.set(instrument.acc.curvature, DIP + 1);
  for (let i = 0; i < 3; i++) {
    theta[4 * i + 3] = zero.acc[i]! / RAW_SCALES.acc;
    theta[12 + 4 * i + 3] = zero.mag[i]! / RAW_SCALES.mag;
  }
  theta[DIP] = radians(settings.dip);
  return theta;
}

/** The Cramér–Rao bound's covariance of θ: at the truth, with the true noise and the attitudes really taken. */
export function boundCovariance(calibration: SimulatedCalibration): Float64Array {
  const { settings, raw, readings } = calibration;
  const names = [...new Set(readings.map(({ sighting }) => sighting))];
  const data: Observations = {
    count: raw.length,
    acc: Float64Array.from(raw.flatMap(({ acc }) => acc.map((c) => c / RAW_SCALES.acc))),
    mag: Float64Array.from(raw.flatMap(({ mag }) => mag.map((c) => c / RAW_SCALES.mag))),
    sighting: Int32Array.from(readings.map(({ sighting }) => names.indexOf(sighting))),
    sightings: names.length,
  };
  const attitudes = Float64Array.from(raw.flatMap(({ rotation }) => rotation.flat()));
  const problem = new CalibrationProblem(data, trueTheta(calibration), attitudes);
  problem.noise = {
    acc: settings.accNoise / 1000,
    mag: settings.magNoise / 100,
    aim: radians(settings.aim),
  };
  return problem.covariance()!;
}

/** Mean squares of azimuth error × cos inclination and of inclination error over all attitudes, radians squared. */
export function meanSquareErrors(
  coefficients: Coefficients,
  { instrument, settings }: SimulatedCalibration,
): { azimuth: number; inclination: number } {
  const all = attitudesEverywhere();
  let [azimuth, inclination] = [0, 0];
  for (const [a, i, r] of all) {
    const { g, b } = bodyVectors(a, i, r, radians(settings.dip));
    const { acc, mag } = instrument.exact(g, b);
    const found = applyCoefficients(coefficients, acc, mag);
    azimuth += (turn(a, found.azimuth!) * Math.cos(i)) ** 2;
    inclination += (found.inclination! - i) ** 2;
  }
  return { azimuth: azimuth / all.length, inclination: inclination / all.length };
}
