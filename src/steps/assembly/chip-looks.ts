import { plus, times } from '../../calib/geometry.ts';
import type { Vec3 } from '../../calib/reading.ts';
import type { BoardIdentity } from '../../protocol/board.ts';
import type { AssemblyPose, PoseLooks } from '../../records/entries.ts';
import { POSES } from './assembly-history.ts';
import type { PoseMean } from './chip-axes.ts';

/** What was looked at, chip by chip. */

/** The last looks of a pose are what counts of it: by then the board is still. */
export const STEADY = 4;
/** Of the looks at rest so many tell the noise: those before may still be settling. */
export const FOR_NOISE = 14;

/** Sensors of a board as it declares them. */
export type DeclaredChips = Pick<
  BoardIdentity,
  'accScale' | 'magScale' | 'accNoise' | 'magNoise' | 'accMounting' | 'magMounting'
>;
export type Looked = ReadonlyMap<AssemblyPose, PoseLooks>;
export type Look = PoseLooks['looks'][number];
export type ChipName = 'acc' | 'mag';
export type Axis = 0 | 1 | 2;

export const AXES = [0, 1, 2] as const;
/** The names of a chip’s axes. */
export const NAMES = ['x', 'y', 'z'] as const;

/** What one chip showed. */
export class ChipLooks {
  readonly scale: number;
  readonly noise: number;
  readonly #series: ReadonlyMap<AssemblyPose, readonly Vec3[]>;

  constructor(
    readonly chip: ChipName,
    readonly looked: Looked,
    declared: DeclaredChips,
  ) {
    this.scale = chip === 'acc' ? declared.accScale : declared.magScale;
    this.noise = chip === 'acc' ? declared.accNoise : declared.magNoise;
    this.#series = new Map(
      POSES.flatMap((pose) => {
        const looks = looked.get(pose)?.looks.map((look) => look[chip]) ?? [];
        return looks.length > 0 ? [[pose, looks] as const] : [];
      }),
    );
  }

  get poses(): readonly AssemblyPose[] {
    return [...this.#series.keys()];
  }

  /** Counts in that pose, in order. */
  in(pose: AssemblyPose): readonly Vec3[] {
    return this.#series.get(pose) ?? [];
  }

  along(axis: Axis, pose: AssemblyPose, last: number): readonly number[] {
    return this.in(pose)
      .slice(-last)
      .map((counts) => counts[axis]);
  }

  /** Means of the steady looks, in units of the declared scale. */
  get means(): readonly PoseMean[] {
    return this.poses.map((pose) => ({ pose, mean: this.meanIn(pose) }));
  }

  meanIn(pose: AssemblyPose): Vec3 {
    const looks = this.in(pose).slice(-STEADY);
    return times(looks.reduce(plus), 1 / (looks.length * this.scale));
  }

  /** How far an axis goes from its lowest pose to its highest, in units of the declared scale. */
  reach(axis: Axis): number {
    const values = this.means.map(({ mean }) => mean[axis]);
    return Math.max(...values) - Math.min(...values);
  }

  /** The same number again and again in that pose, where noise as declared would not let it be. */
  repeats(axis: Axis, pose: AssemblyPose): boolean {
    const looks = this.looked.get(pose)?.looks.slice(-STEADY) ?? [];
    const values = looks.map((look) => look[this.chip][axis]);
    if (values.length < STEADY || values.some((value) => value !== values[0])) return false;
    const samples = looks[0]?.samples ?? 1;
    const each = this.noise * Math.sqrt(samples);
    const scatter = looks.map(
      (look) => look[this.chip === 'acc' ? 'accScatter' : 'magScatter']?.[axis],
    );
    if (samples > 1 && each >= 2 && scatter.every((value) => value === 0)) return true;
    // values as they come: as fine as a hundredth of a count, or whole ones
    const step = this.in(pose).flat().every(Number.isInteger) ? 1 : 0.01;
    const alike = (step / this.noise / Math.sqrt(2 * Math.PI)) ** (STEADY - 1);
    return alike < 1e-6;
  }
}

/** Mean of the steady looks of a chip, in units of its declared scale. */
export function meanOf(looks: readonly Look[], chip: ChipName, declared: DeclaredChips): Vec3 {
  const steady = looks.slice(-STEADY).map((look) => look[chip]);
  const scale = chip === 'acc' ? declared.accScale : declared.magScale;
  return times(steady.reduce(plus), 1 / (steady.length * scale));
}
