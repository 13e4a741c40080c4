import { length } from '../../calib/geometry.ts';
import type {
  AssemblyFault,
  AssemblyFinding,
  AssemblyPose,
  AssemblyRecord,
} from '../../records/entries.ts';
import { listed } from '../finding.ts';
import { largest } from '../statistics.ts';
import { POSES } from './assembly-history.ts';
import { LIMITS } from './assembly-limits.ts';
import { against, opposite, type FieldSitting, type Otherwise, type Sitting } from './chip-axes.ts';
import { AXES, NAMES, type Axis, type ChipName, type DeclaredChips } from './chip-looks.ts';
import { LIES } from './poses.ts';
import type { Again } from './turns.ts';

/** What is wrong with how the chips sit, with their scale and their offset; or with the turns that should tell it. */

interface SittingFound {
  findings: AssemblyFinding[];
  again: Again[];
  mounting: AssemblyRecord['mounting'];
  untold: string[];
  /** Whether what could not be told may be a fault. */
  isOpen?: boolean;
}

/**
 * How the chips sit, how they are scaled, and how large their offsets are. Absent chips are broken otherwise.
 *
 * @param tilted how the magnetometer sits by the tilts alone
 */
export function ofSitting(
  acc: Sitting | undefined,
  mag: FieldSitting | undefined,
  tilted: FieldSitting | undefined,
  declared: DeclaredChips,
): SittingFound {
  const exchanged = exchangedTurns(acc, tilted, declared);
  const wrong = wrongTurn(acc, mag);
  const again = exchanged.length > 0 ? exchanged : wrong ? [wrong] : [];
  if (again.length > 0) return { findings: [], again, mounting: {}, untold: [] };
  const isClear = (chip: Sitting | undefined): boolean =>
    chip !== undefined && chip.rms < LIMITS.fits && chip.next > LIMITS.apart * chip.rms;
  const found: SittingFound = { findings: [], again: [], mounting: {}, untold: [] };
  if (acc && mag && !isClear(acc) && !isClear(mag)) {
    const pose = worstOf([acc, mag])[0];
    const why = `Neither chip’s readings go with the turns, and least of all ${LIES[pose]}: a turn was another than was asked for.`;
    return { ...found, again: [{ pose, why }] };
  }
  for (const [chip, sitting] of [
    ['acc', acc],
    ['mag', mag],
  ] as const) {
    if (!sitting) continue;
    if (isClear(sitting)) {
      found.mounting[chip] = sitting.mounting;
      found.findings.push(...ofScale(chip, sitting), ...ofOffset(chip, sitting));
    } else {
      found.findings.push({
        fault: 'contradictory',
        chip,
        evidence: `However it is taken to sit, the turns leave ${Math.round(100 * sitting.rms)} % of what it measures unexplained; up to ${Math.round(100 * LIMITS.fits)} % is normal when turns are done by hand.`,
      });
    }
  }
  if (mag && found.mounting.mag !== undefined) sense(mag, declared, found);
  const ways = {
    acc: otherwise(declared.accMounting, found.mounting.acc),
    mag: otherwise(declared.magMounting, found.mounting.mag),
  };
  const both =
    ways.acc?.how === 'turned' && ways.mag && isSameTurn(ways.acc, ways.mag) ? ways.acc : undefined;
  if (both) {
    found.findings.push({
      fault: 'turned',
      evidence: `Both chips are ${turnWords(both)}, each from what the board declares of it (${declared.accMounting} and ${declared.magMounting}).`,
    });
    return found;
  }
  for (const chip of ['acc', 'mag'] as const) {
    const way = ways[chip];
    const from = chip === 'acc' ? declared.accMounting : declared.magMounting;
    if (way) found.findings.push(...wayFinding(chip, way, from!, found.mounting[chip]!));
  }
  return found;
}

const otherwise = (
  declared: string | undefined,
  found: string | undefined,
): Otherwise | undefined => {
  if (declared === undefined || found === undefined) return undefined;
  const way = against(declared, found);
  return way.how === 'as declared' ? undefined : way;
};

const isSameTurn = (a: Otherwise, b: Otherwise): boolean =>
  'matrix' in a && 'matrix' in b && a.matrix.every((value, i) => value === b.matrix[i]);

/**
 * Turns that were exchanged with their opposites: by the tilts both chips are mirrored along the same body axes, which no
 * fault of one chip does. All senses of the magnetometer at once are left open.
 */
function exchangedTurns(
  acc: Sitting | undefined,
  tilted: FieldSitting | undefined,
  declared: DeclaredChips,
): Again[] {
  const a = acc && otherwise(declared.accMounting, acc.mounting);
  if (!a || !('matrix' in a) || !tilted || declared.magMounting === undefined) return [];
  const isAlike = [tilted.mounting, opposite(tilted.mounting)].some((mounting) => {
    const b = otherwise(declared.magMounting, mounting);
    return b !== undefined && isSameTurn(a, b);
  });
  const { matrix } = a;
  const isMirrored = a.how !== 'turned' && matrix.every((value, i) => i % 4 === 0 || value === 0);
  if (!isAlike || !isMirrored || matrix[8] < 0) return [];
  const poses: AssemblyPose[] = [
    ...(matrix[0] < 0 ? (['nose up', 'nose down'] as const) : []),
    ...(matrix[4] < 0 ? (['right side down'] as const) : []),
  ];
  const why = `Both chips show the other way round how it lay ${listed(poses.map((pose) => LIES[pose]))}, which no fault of one chip does.`;
  return poses.map((pose) => ({ pose, why }));
}

/** A board that lay to the south all the time shows the same as one whose magnetometer has all its senses the other way. */
const SOUTH_OR_OPPOSITE =
  'Either the sight was to the south, and not to the north; or the magnetometer counts against the field on all axes at once. See which way north is and check again. Or say on the sheet “Is this place clean?” where the bench is: then the dip settles it at the next check.';

/** Which way north and south of the chip are: seen only where the field has a level part that was faced. */
function sense(mag: FieldSitting, declared: DeclaredChips, found: SittingFound): void {
  if (mag.byDip) return;
  const level = Math.hypot(mag.field[0], mag.field[1]);
  const isFaced = level >= LIMITS.level && Math.abs(mag.field[0]) > 0.5 * level;
  const { magMounting } = declared;
  const isOpposite = magMounting !== undefined && opposite(mag.mounting) === magMounting;
  if (isFaced) {
    if (!isOpposite) return;
    delete found.mounting.mag;
    found.isOpen = true;
    found.untold.push(SOUTH_OR_OPPOSITE);
    return;
  }
  if (isOpposite) found.mounting.mag = magMounting;
  found.untold.push(
    level < LIMITS.level
      ? 'The field is so steep here that it cannot be told whether the magnetometer counts against it on all axes at once.'
      : 'The sight was not to the north at rest, so it cannot be told whether the magnetometer counts against the field on all axes at once.',
  );
}

/** The pose that chips leave most in, and how much in sum. */
function worstOf(chips: readonly Sitting[]): [AssemblyPose, number] {
  const sums = POSES.map(
    (pose) =>
      [pose, chips.reduce((sum, { left }) => sum + (left.get(pose) ?? 0), 0)] as [
        AssemblyPose,
        number,
      ],
  );
  return sums.reduce((most, each) => (each[1] > most[1] ? each : most));
}

/** What a chip leaves, root mean square, where all turns were done well enough; and in a pose that was another one. */
const WELL_TURNED = 0.25;
const OTHER_POSE = 0.5;

/** A turn that both chips say was another; or the quarter turn, which gravity cannot see. */
function wrongTurn(acc: Sitting | undefined, mag: FieldSitting | undefined): Again | undefined {
  if (!acc || !mag || mag.rms < WELL_TURNED) return undefined;
  const [[pose, much], [magPose, magMuch]] = [worstOf([acc]), worstOf([mag])];
  if (magMuch < OTHER_POSE) return undefined;
  if (acc.rms < WELL_TURNED) {
    return magPose === 'quarter turn' ? { pose: magPose, why: LEFT_FOR_RIGHT } : undefined;
  }
  return pose === magPose && much > OTHER_POSE
    ? { pose, why: `Both chips say that it did not lie ${LIES[pose]} when that was asked for.` }
    : undefined;
}

const LEFT_FOR_RIGHT =
  'By the magnetometer it was not turned to the right by a quarter; or nose up and nose down, or right and left, were exchanged before.';

function ofScale(chip: ChipName, { scale }: Sitting): AssemblyFinding[] {
  const [least, most] = chip === 'acc' ? LIMITS.accScale : LIMITS.magScale;
  if (scale >= least && scale <= most) return [];
  return [
    {
      fault: 'scale',
      chip,
      evidence: `${chip === 'acc' ? 'Gravity' : 'The field'} is ${scale.toFixed(2)} times as long as its declared scale says; ${least} to ${most} times is normal${chip === 'mag' ? ', as the field differs from place to place' : ''}.`,
    },
  ];
}

function ofOffset(chip: ChipName, { offset, scale }: Sitting): AssemblyFinding[] {
  const part = length(offset) / scale;
  const most = chip === 'acc' ? LIMITS.accOffset : LIMITS.magOffset;
  if (part <= most) return [];
  const at = AXES.find((axis) => Math.abs(offset[axis]) === largest(offset))!;
  return [
    {
      fault: 'offset',
      chip,
      evidence: `Its offset is ${part.toFixed(1)} times ${chip === 'acc' ? 'gravity' : 'the field'}, most of it along its axis ${NAMES[at]}; ${chip === 'acc' ? 'up to a tenth' : 'up to a half'} is common.`,
    },
  ];
}

const BODY = ['the sight', 'the line from left to right', 'the line from top to bottom'] as const;

const turnWords = (way: Otherwise): string => {
  if (way.how !== 'turned') return 'mirrored';
  if (way.by === 120) return 'turned by a third of a turn about a corner';
  const by = way.by === 90 ? 'a quarter turn' : 'half a turn';
  return way.about === undefined
    ? `turned by ${by} about a line between its axes`
    : `turned by ${by} about ${BODY[way.about]}`;
};

function wayFinding(
  chip: ChipName,
  way: Otherwise,
  declared: string,
  found: string,
): AssemblyFinding[] {
  const told = `The board declares ${declared}; in the turns it was ${found} (chip axes along the sight, to the right, and down).`;
  const finding = (fault: AssemblyFault, words: string, axes?: readonly number[]) => [
    {
      fault,
      chip,
      ...(axes && { axes: axes.map((axis) => NAMES[axis as Axis]) }),
      evidence: `${words} ${told}`,
    },
  ];
  switch (way.how) {
    case 'as declared':
      return [];
    case 'turned':
      return finding('turned', `It is ${turnWords(way)}.`);
    case 'reversed':
      return finding('reversed', 'One axis goes the other way.', [way.axis]);
    case 'swapped':
      return finding('swapped', 'Two axes stand in each other’s place.', way.axes);
    case 'mirrored':
      return finding(
        'mirrored',
        `It is the mirror image of what is declared${chip === 'mag' ? ', if the sight pointed to the north at rest' : ''}.`,
      );
  }
}
