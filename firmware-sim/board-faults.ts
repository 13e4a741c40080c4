import type { BoardFault } from '../src/protocol/simulator.ts';
import type { Chip, Mounting } from './sensors.ts';
import type { Triple } from './world.ts';

/** What goes wrong when a board is put together, as physics: one fault at a time. Chip axes are 0, 1, 2. */

export interface ChipAilment {
  /** The chip as it was put on the board, of the one that should be there. */
  built?(chip: Chip): Chip;
  /** What is told in place of a sample's whole count. */
  told?(whole: number, axis: number, scale: number): number;
  /** Its noise, as a multiple of what it should be. */
  noiseTimes?: number;
  /** What axis 1 trembles beside its noise, as a multiple of that. */
  trembles?: number;
  /** How long it takes to come within 1/e of a new value, milliseconds. */
  lateMs?: number;
}

export interface Ailment {
  acc?: ChipAilment;
  mag?: ChipAilment;
  /** Volts. */
  volt?: number;
  /** What is told of the supply and of the temperature, whatever they are. */
  voltSaid?: number;
  temperatureSaid?: number;
}

const otherwise =
  (change: (mounting: Mounting) => Mounting) =>
  (chip: Chip): Chip => ({ ...chip, mounting: change(chip.mounting) });

type Axis = 0 | 1 | 2;

/** Two axes of the chip stand for each other. */
const exchanged = (a: Axis, b: Axis) =>
  otherwise((mounting) =>
    mounting.map(({ axis, sign }) => ({ axis: axis === a ? b : axis === b ? a : axis, sign })),
  );
const reversed = (...axes: readonly Axis[]) =>
  otherwise((mounting) =>
    mounting.map(({ axis, sign }) => ({
      axis,
      sign: axes.includes(axis) ? (-sign as 1 | -1) : sign,
    })),
  );
const opposite = (part: Mounting[number]) => ({ axis: part.axis, sign: -part.sign as 1 | -1 });
/** About the body's z axis. */
const quarterTurn = otherwise(([x, y, z]) => [y!, opposite(x!), z!]);
const halfTurn = otherwise(([x, y, z]) => [opposite(x!), opposite(y!), z!]);

const shifted =
  (by: Triple) =>
  (chip: Chip): Chip => {
    const [x, y, z] = chip.offset;
    return { ...chip, offset: [x + by[0], y + by[1], z + by[2]] };
  };
const scaled =
  (times: number) =>
  (chip: Chip): Chip => ({ ...chip, scale: chip.scale * times });

/** An axis tells one value, a part of the chip's scale. */
const stuck =
  (at: Axis, value: number) =>
  (whole: number, axis: number, scale: number): number =>
    axis === at ? Math.round(value * scale) : whole;
/** Axis 0 goes no farther than this part of the scale. */
const clipped =
  (limit: number) =>
  (whole: number, axis: number, scale: number): number => {
    const end = Math.round(limit * scale);
    return axis === 0 ? Math.max(-end, Math.min(end, whole)) : whole;
  };

/** The whole of each fault. A bus that nobody holds reads as ones, which is −1; a chip never asked reads as it was set up, zero. */
export const AILMENTS: Readonly<Record<BoardFault, Ailment>> = {
  none: {},
  'acc-silent': { acc: { told: () => -1 } },
  'mag-silent': { mag: { told: () => 0 } },
  'acc-stuck': { acc: { told: stuck(1, 0.37) } },
  'mag-stuck': { mag: { told: stuck(2, -0.52) } },
  'acc-clipped': { acc: { told: clipped(0.6) } },
  'mag-clipped': { mag: { told: clipped(0.5) } },
  'mag-full': { mag: { built: shifted([0, 0, 15]) } },
  'acc-noisy': { acc: { trembles: 8 } },
  'mag-noisy': { mag: { trembles: 8 } },
  'acc-quiet': { acc: { noiseTimes: 0.05 } },
  'mag-quiet': { mag: { noiseTimes: 0 } },
  'acc-swapped': { acc: { built: exchanged(0, 1) } },
  'mag-swapped': { mag: { built: exchanged(1, 2) } },
  'acc-reversed': { acc: { built: reversed(2) } },
  'mag-reversed': { mag: { built: reversed(0) } },
  'acc-mirrored': { acc: { built: reversed(0, 1, 2) } },
  'mag-mirrored': { mag: { built: reversed(0, 1, 2) } },
  'acc-turned': { acc: { built: quarterTurn } },
  'mag-turned': { mag: { built: halfTurn } },
  'acc-offset': { acc: { built: shifted([0.5, 0, 0]) } },
  'mag-offset': { mag: { built: shifted([1.2, -1.8, 0.8]) } },
  'acc-lag': { acc: { lateMs: 800 } },
  'mag-lag': { mag: { lateMs: 800 } },
  'acc-scale': { acc: { built: scaled(0.5) } },
  'mag-scale': { mag: { built: scaled(4) } },
  'supply-low': { volt: 3 },
  'supply-wrong': { voltSaid: 0 },
  'temperature-0': { temperatureSaid: 0 },
  'temperature-85': { temperatureSaid: 85 },
  'temperature-40-below': { temperatureSaid: -40 },
};

/** What a chip that comes behind shows: a low pass of the first order, followed from moment to moment. */
export class FollowingLate {
  #last: { at: number; shown: Triple } | undefined;

  /** @param lateMs its time constant, milliseconds */
  constructor(private readonly lateMs: number) {}

  /** What is shown at that moment, milliseconds, where since the last one there was `exact`. At first it is caught up. */
  follow(exact: Triple, at: number): Triple {
    const { at: before, shown } = this.#last ?? { at, shown: exact };
    const left = Math.exp(-Math.max(0, at - before) / this.lateMs);
    const [x, y, z] = [0, 1, 2].map((i) => exact[i]! + (shown[i]! - exact[i]!) * left);
    const now: Triple = [x!, y!, z!];
    this.#last = { at: Math.max(at, before), shown: now };
    return now;
  }
}
