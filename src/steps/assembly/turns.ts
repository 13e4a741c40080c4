import { angleBetween, degrees, length, plus, rotate, times } from '../../calib/geometry.ts';
import { mountingMatrix } from '../../calib/model.ts';
import type { Vec3 } from '../../calib/reading.ts';
import type { AssemblyPose, PoseLooks } from '../../records/entries.ts';
import { meanAndDeviation, median } from '../statistics.ts';
import { POSES } from './assembly-history.ts';
import { LIMITS } from './assembly-limits.ts';
import { downIn } from './chip-axes.ts';
import {
  AXES,
  FOR_NOISE,
  meanOf,
  STEADY,
  type ChipName,
  type DeclaredChips,
  type Look,
  type Looked,
} from './chip-looks.ts';
import { LIES } from './poses.ts';

/** Whether a turn was done: what a person did, told from what is wrong with the board. */

/** A turn that has to be done again, and why, as a sentence. */
export interface Again {
  pose: AssemblyPose;
  why: string;
}

/** Why a turn does not count yet. */
export type TurnProblem =
  | { problem: 'moving' }
  /** It lies as it did in that pose before. */
  | { problem: 'not turned'; as: AssemblyPose }
  /** By its accelerometer it lies otherwise; `as`: how, if that is plain. */
  | { problem: 'otherwise'; as?: string };

/** A change, in units of the declared scale, that a turn makes in one chip at least; a quarter turn in a steep field makes little. */
const TURNED = 0.15;
/** How far down may be from where it is wanted, degrees, offset and hand together. */
const ASIDE = 40;
const SIDES: readonly { down: Vec3; words: string }[] = [
  { down: [0, 0, 1], words: 'level and upright' },
  { down: [0, 0, -1], words: 'upside down' },
  { down: [1, 0, 0], words: 'with its nose down' },
  { down: [-1, 0, 0], words: 'with its nose up' },
  { down: [0, 1, 0], words: 'on its right side' },
  { down: [0, -1, 0], words: 'on its left side' },
];

/**
 * Whether a turn was done. A person may overrule it: what the sensors of a faulty board say of a turn is worth little.
 *
 * @param before what was looked at so far
 */
export function turnProblem(
  { pose, looks }: PoseLooks,
  before: Looked,
  declared: DeclaredChips,
): TurnProblem | undefined {
  if (looks.length === 0) return undefined; // refused: that is the board's
  if (!isSteady(looks, before, declared)) return { problem: 'moving' };
  const now = (chip: ChipName) => meanOf(looks, chip, declared);
  const same = alikeTo(pose, looks, before, declared);
  if (same) return { problem: 'not turned', as: same };
  const isAlive = length(now('acc')) > LIMITS.alive;
  const matrix =
    declared.accMounting === undefined ? undefined : mountingMatrix(declared.accMounting);
  if (!matrix || !isAlive) return undefined;
  const down = rotate(matrix, now('acc'));
  if (degrees(angleBetween(down, downIn(pose))) <= ASIDE) return undefined;
  const side = SIDES.find((each) => degrees(angleBetween(down, each.down)) <= ASIDE);
  return { problem: 'otherwise', ...(side && { as: side.words }) };
}

/** The pose in which both chips showed the same before; none where both are dead, as they say nothing of turns. */
function alikeTo(
  pose: AssemblyPose,
  looks: readonly Look[],
  before: Looked,
  declared: DeclaredChips,
): AssemblyPose | undefined {
  const chips = ['acc', 'mag'] as const;
  if (chips.every((chip) => length(meanOf(looks, chip, declared)) < LIMITS.alive)) return undefined;
  const differ = (other: readonly Look[], chip: ChipName) =>
    length(plus(meanOf(other, chip, declared), times(meanOf(looks, chip, declared), -1)));
  return [...before.values()].find(
    (other) =>
      other.pose !== pose &&
      other.looks.length > 0 &&
      chips.every((chip) => differ(other.looks, chip) < TURNED),
  )?.pose;
}

/** Tilts in which both chips showed what they showed in another pose, both being alive. */
export function unturned(looked: Looked, declared: DeclaredChips): Again[] {
  const tilts = POSES.filter((pose) => pose !== 'at rest' && pose !== 'quarter turn');
  return tilts.flatMap((pose) => {
    const looks = looked.get(pose)?.looks ?? [];
    if (looks.length === 0) return [];
    const isBefore = (other: AssemblyPose) => POSES.indexOf(other) < POSES.indexOf(pose);
    const others = new Map([...looked].filter(([other]) => isBefore(other)));
    const as = alikeTo(pose, looks, others, declared);
    const isAlive = (['acc', 'mag'] as const).every(
      (chip) => length(meanOf(looks, chip, declared)) > LIMITS.alive,
    );
    const why = as && `Both chips showed the same ${LIES[pose]} as ${LIES[as]}: it was not turned.`;
    return why && isAlive ? [{ pose, why }] : [];
  });
}

/** Looks at rest from the first that is steady on, and in all; and in all of a turn. */
const REST_LOOKS = FOR_NOISE + 6;
const MOST_LOOKS = { rest: 36, turn: 24 } as const;

/** Whether the pose wants another look, after those it has. */
export function wantsLook(
  pose: AssemblyPose,
  looks: readonly Look[],
  before: Looked,
  declared: DeclaredChips,
): boolean {
  if (pose !== 'at rest') {
    return looks.length < MOST_LOOKS.turn && !isSteady(looks, before, declared);
  }
  if (looks.length < REST_LOOKS) return true;
  // what is still settling would pass for noise
  const early = looks.slice(0, looks.length - REST_LOOKS + STEADY);
  return looks.length < MOST_LOOKS.rest && !isSteady(early, NOTHING, declared, 0);
}
const NOTHING: Looked = new Map();

/**
 * Whether the last looks show a board at rest: from one to the next no axis changes by more than chance lets it (noise as
 * declared, or as it was at rest), or than a hand at rest does: 2 % of the scale, about one degree.
 */
export function isSteady(
  looks: readonly Look[],
  before: Looked,
  declared: DeclaredChips,
  hand = 0.02,
): boolean {
  const last = looks.slice(-STEADY);
  if (last.length < STEADY) return false;
  const rest = before.get('at rest')?.looks ?? [];
  if (last.some((look) => trembles(look, rest, declared))) return false;
  return (['acc', 'mag'] as const).every((chip) => {
    const [scale, noise] =
      chip === 'acc'
        ? [declared.accScale, declared.accNoise]
        : [declared.magScale, declared.magNoise];
    return AXES.every((axis) => {
      const seen = meanAndDeviation(rest.slice(-FOR_NOISE).map((look) => look[chip][axis])).sd;
      const limit = Math.max(6 * Math.SQRT2 * Math.max(noise, seen || 0), hand * scale);
      return last
        .slice(1)
        .every((look, i) => Math.abs(look[chip][axis] - last[i]![chip][axis]) <= limit);
    });
  });
}

/**
 * Whether the board moved within a look: the samples of both chips scatter, on three axes together at least, more than three
 * times as much as noise has them, or had them at rest, and by more than half a degree. One bad chip alone does not do that.
 */
function trembles(look: Look, rest: readonly Look[], declared: DeclaredChips): boolean {
  const axes = (['acc', 'mag'] as const).map((chip) => {
    const [key, scale, noise] =
      chip === 'acc'
        ? (['accScatter', declared.accScale, declared.accNoise] as const)
        : (['magScatter', declared.magScale, declared.magNoise] as const);
    const scatter = look[key];
    if (!scatter) return 0;
    return AXES.filter((axis) => {
      const usual = median(rest.flatMap((each) => each[key]?.[axis] ?? [])) ?? 0;
      const limit = 3 * Math.max(noise * Math.sqrt(look.samples ?? 1), usual);
      return scatter[axis] > Math.max(limit, 0.01 * scale);
    }).length;
  });
  return axes.every((count) => count > 0) && axes[0]! + axes[1]! >= 3;
}
