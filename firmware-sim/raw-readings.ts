import type { Attitude, SimulatorSettings } from '../src/protocol/simulator.ts';
import { Hand } from './hand.ts';
import { randomStream } from './random.ts';
import {
  type Chip,
  drawChip,
  exactCounts,
  REFERENCE_TEMPERATURE,
  sampleAndAverage,
  SAMPLES,
  type Tolerances,
} from './sensors.ts';
import { cleanField, DOWN, inBody, type Rotation, type Triple } from './world.ts';

/**
 * Readings straight from the chips, with no firmware and no link between: for whoever puts a calibration to the test
 * many thousand times.
 */

export interface RawReading {
  acc: Triple;
  mag: Triple;
  /** Where the instrument really was, body to world. */
  rotation: Rotation;
}

/** A pair of chips at a place, and the counts that they give without any noise. */
export interface Instrument {
  acc: Chip;
  mag: Chip;
  /** Counts, not rounded, for unit-length directions of down and of the field in the body. */
  exact(down: Triple, field: Triple): { acc: Triple; mag: Triple };
}

/** Scales as an ordinary simulated board declares them: counts in 1 g, and in the nominal field. */
export const RAW_SCALES = { acc: 16384, mag: 3400 };

/** How far ordinary chips are off: offsets 5 % of gravity and 30 % of the field. */
export const ORDINARY: { acc: Tolerances; mag: Tolerances } = {
  acc: { offset: 0.05, gain: 0.05, cross: 0.02, askew: 1.5, drift: 0 },
  mag: { offset: 0.3, gain: 0.05, cross: 0.02, askew: 1.5, drift: 0 },
};

/** Draws the chips of a board by its seed. */
export function drawInstrument(
  settings: Pick<SimulatorSettings, 'seed' | 'accMounting' | 'magMounting' | 'curvature'>,
  tolerances = ORDINARY,
): Instrument {
  const { seed, accMounting, magMounting, curvature } = settings;
  const draw = (sensor: 'acc' | 'mag', mounting: string, bend: number) =>
    drawChip(
      randomStream(seed, `raw ${sensor}`),
      mounting,
      RAW_SCALES[sensor],
      tolerances[sensor],
      bend,
    );
  const acc = draw('acc', accMounting, curvature);
  const mag = draw('mag', magMounting, 0);
  return {
    acc,
    mag,
    exact: (down, field) => ({
      acc: exactCounts(acc, down, REFERENCE_TEMPERATURE),
      mag: exactCounts(mag, field, REFERENCE_TEMPERATURE),
    }),
  };
}

/**
 * One reading per aim, each aimed by a hand with the errors of the settings.
 *
 * @param aims degrees; a sighting's readings share azimuth and inclination
 */
export function rawReadings(
  instrument: Instrument,
  settings: SimulatorSettings,
  aims: readonly Attitude[],
): RawReading[] {
  const stream = (name: string) => randomStream(settings.seed, `raw ${name}`);
  const hand = new Hand({ aim: stream('aim'), roll: stream('roll'), tremor: stream('tremor') });
  const noise = { acc: stream('acc noise'), mag: stream('mag noise') };
  const field = cleanField({ dip: settings.dip, strength: 1, disturbance: 0 });
  const sigma = {
    acc: (settings.accNoise / 1000) * RAW_SCALES.acc,
    mag: (settings.magNoise / 100) * RAW_SCALES.mag,
  };
  return aims.map((aim) => {
    hand.hold(aim, { aim: settings.aim, roll: settings.rollAim, tremor: 0 });
    const rotation = hand.rotationAt(0);
    const exact = instrument.exact(inBody(rotation, DOWN), inBody(rotation, field));
    const sampled = (sensor: 'acc' | 'mag') =>
      sampleAndAverage(new Array<Triple>(SAMPLES).fill(exact[sensor]), sigma[sensor], noise[sensor])
        .mean;
    return { acc: sampled('acc'), mag: sampled('mag'), rotation };
  });
}
