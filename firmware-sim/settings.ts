import { isBoardFault, type SimulatorSettings } from '../src/protocol/simulator.ts';
import { fingerprint } from './random.ts';
import { parseMounting } from './sensors.ts';

/** An ordinary board in an ordinary hand on a clean site: nothing is broken, nothing is perfect. */
export const defaultSettings: SimulatorSettings = {
  seed: 1,
  accNoise: 1,
  magNoise: 0.2,
  aim: 0.1,
  rollAim: 3,
  accMounting: '-x-y-z',
  magMounting: '+y-x+z',
  curvature: 0,
  dip: 65,
  disturbance: 0,
  faults: { lose: 0, double: 0, flip: 0, delayMs: 0 },
};

/** Another seed or other mountings make another board, and so does a range module. */
export function serialOf({ seed, accMounting, magMounting, hasRange }: SimulatorSettings): string {
  const mark = fingerprint(`${seed} ${accMounting} ${magMounting}${hasRange ? ' range' : ''}`);
  return `SIM-${mark.toString(16).toUpperCase().padStart(8, '0')}`;
}

/** @throws RangeError if the value lies outside, or is no number */
export function mustLie(name: string, value: number, from: number, to: number): void {
  if (!(value >= from && value <= to)) {
    throw new RangeError(
      `The simulator's ${name} lies between ${from} and ${to}, not at ${value}.`,
    );
  }
}

/** @throws RangeError naming the first setting that is out of its range */
export function checkSettings(settings: SimulatorSettings): void {
  if (!Number.isSafeInteger(settings.seed)) throw new RangeError('A seed is a whole number.');
  mustLie('accNoise', settings.accNoise, 0, 50);
  mustLie('magNoise', settings.magNoise, 0, 20);
  mustLie('aim', settings.aim, 0, 45);
  mustLie('rollAim', settings.rollAim, 0, 180);
  mustLie('curvature', settings.curvature, -0.1, 0.1);
  mustLie('dip', settings.dip, -90, 90);
  mustLie('disturbance', settings.disturbance, 0, 10_000);
  for (const fault of ['lose', 'double', 'flip'] as const)
    mustLie(fault, settings.faults[fault], 0, 1);
  mustLie('delayMs', settings.faults.delayMs, 0, 60_000);
  parseMounting(settings.accMounting);
  parseMounting(settings.magMounting);
  if (settings.boardFault !== undefined && !isBoardFault(settings.boardFault)) {
    throw new RangeError(`The simulator knows no fault “${String(settings.boardFault)}”.`);
  }
}
