import { angleBetween, degrees, length, plus, rotate, times } from '../../calib/geometry.ts';
import { mountingMatrix } from '../../calib/model.ts';
import { chiSquareQuantile } from '../../calib/quantiles.ts';
import type { Vec3 } from '../../calib/reading.ts';
import type { BoardIdentity } from '../../protocol/board.ts';
import type {
  AssemblyFault,
  AssemblyFinding,
  AssemblyPose,
  AssemblyRecord,
  PoseLooks,
} from '../../records/entries.ts';
import { listed } from '../finding.ts';
import { largest, meanAndDeviation, median } from '../statistics.ts';
import { POSES } from './assembly-history.ts';
import {
  accelerometerSits,
  against,
  downIn,
  magnetometerSits,
  opposite,
  type FieldSitting,
  type Otherwise,
  type PoseMean,
  type Sitting,
} from './chip-axes.ts';
import { CHIPS } from './finding-words.ts';
import { LIES } from './poses.ts';

/**
 * What is wrong with a board that was just put together, from looks at its sensors at rest and in five turns. A chip that is
 * broken on an axis is not asked how it sits, how large its offset is, and so on: each fault is named once.
 *
 * All limits are ours; each has its reason. They are wide: what a calibration makes up for is no fault.
 */

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
type Look = PoseLooks['looks'][number];
type ChipName = 'acc' | 'mag';
type Axis = 0 | 1 | 2;

const AXES = [0, 1, 2] as const;
const NAMES = ['x', 'y', 'z'] as const;

export const LIMITS = {
  /**
   * Noise, as a multiple of the declared one: makers state a typical figure, and up to twice that a calibration bears; a
   * third may be a better chip than promised.
   */
  noisy: 2,
  quiet: 1 / 3,
  /** An axis follows the turns where it changes by more than this part of what the liveliest axis of its chip does: any sound one changes by half. */
  follows: 0.15,
  /** Where all axes change by less than so much of the declared scale the chip is dead: the weakest field on earth is 0.45 of it. */
  alive: 0.08,
  /** Length of gravity, and of the field, in units of the declared scale: a range set wrongly is off by two at least. */
  accScale: [0.75, 1.33],
  /** The field is from 0.45 to 1.4 of 50 µT on earth (common knowledge), a chip’s gain off by a tenth at most. */
  magScale: [0.25, 2.5],
  /** Offset, as a part of gravity and of the field: a tenth and a half are common (no source). */
  accOffset: 0.3,
  magOffset: 1.5,
  /** How far a chip may be from where it ends up, as a part of its scale, when the other is still already. */
  lag: 0.1,
  stillBeside: 0.04,
  /** In so many turns: a person who goes on turning about the plumb line does not do it every time. */
  lagTurns: 3,
  /** Volts: less no board runs on; more no battery of a hand-held one has. */
  volt: [1.5, 20],
  /** Degrees Celsius of a bench where people solder. */
  temperature: [-15, 60],
  /** What the turns may leave, root mean square, as a part of the field: people are off by 20° and more. */
  fits: 0.5,
  /** The next best way of sitting must leave so much more than the best. */
  apart: 1.3,
  /** A level part of the field, of the whole, by which north can be told. */
  level: 0.2,
} as const;

/** The chance of being called noisy, or quiet, for an axis whose noise is just at the limit; one as declared is far from it. */
export const FALSE_ALARM = 0.0005;

export interface NoiseFound {
  /** Standard deviation, a straight line through the values taken out; and its interval. */
  sd: number;
  low: number;
  high: number;
  standing: 'as declared' | 'noisy' | 'quiet';
}

/**
 * How noisy values are, in order, against what is declared. The interval is that of normal noise: with n values the squares
 * about their straight line are σ² times χ² of n − 2 degrees of freedom; either end is passed with {@link FALSE_ALARM}.
 */
export function noiseOf(values: readonly number[], declared: number): NoiseFound {
  const n = values.length;
  const freedom = n - 2;
  const { mean } = meanAndDeviation(values);
  const middle = (n - 1) / 2;
  const across = values.reduce((total, _, i) => total + (i - middle) ** 2, 0);
  const slope = values.reduce((total, value, i) => total + (i - middle) * value, 0) / across;
  const squares = values.reduce(
    (total, value, i) => total + (value - mean - slope * (i - middle)) ** 2,
    0,
  );
  const low = Math.sqrt(squares / chiSquareQuantile(1 - FALSE_ALARM, freedom));
  const high = Math.sqrt(squares / chiSquareQuantile(FALSE_ALARM, freedom));
  const standing =
    low > LIMITS.noisy * declared
      ? 'noisy'
      : high < LIMITS.quiet * declared
        ? 'quiet'
        : 'as declared';
  return { sd: Math.sqrt(squares / freedom), low, high, standing };
}

/** A turn that has to be done again, and why, as a sentence. */
export interface Again {
  pose: AssemblyPose;
  why: string;
}

export interface AssemblyJudgement extends AssemblyRecord {
  /** Turns that were not done as the picture has them, as far as the chips agree on that; the first is asked for first. */
  again: readonly Again[];
}

/**
 * Judges all that was looked at.
 *
 * @param dipSign whether the field points down (1) or up here; absent where nobody knows. Then north is taken to be where
 * the sight pointed at rest
 */
export function judgeAssembly(
  looked: Looked,
  declared: DeclaredChips,
  dipSign?: 1 | -1,
): AssemblyJudgement {
  const all = [...looked.values()].flatMap(({ looks }) => looks);
  const refusals = ofRefusals(looked);
  const circuit = ofCircuit(all);
  if (!looked.get('at rest')?.looks.length) {
    return {
      verdict: refusals.length > 0 ? 'faulty' : 'not settled',
      findings: refusals,
      mounting: {},
      untold: ['The sensors gave no reading, so nothing else could be looked at.'],
      again: [],
    };
  }
  const chips = {
    acc: new ChipLooks('acc', looked, declared),
    mag: new ChipLooks('mag', looked, declared),
  };
  const moved = restMoved(chips);
  const same = unturned(looked, declared);
  const axesOf = (chip: ChipName) => (same.length > 0 ? [] : ofAxes(chips[chip]));
  const broken = { acc: axesOf('acc'), mag: axesOf('mag') };
  const noise = moved ? [] : [...ofNoise(chips.acc), ...ofNoise(chips.mag)];
  const late = [...ofLag(chips.acc, chips.mag), ...ofLag(chips.mag, chips.acc)];
  const isWhole = POSES.every((pose) => looked.get(pose)?.looks.length);
  const can = (chip: ChipName) => isWhole && same.length === 0 && broken[chip].length === 0;
  const acc = can('acc') ? accelerometerSits(chips.acc.means) : undefined;
  const mag = can('mag') ? magnetometerSits(chips.mag.means, dipSign) : undefined;
  const tilts = chips.mag.means.filter(({ pose }) => pose !== 'quarter turn');
  const tilted = mag && magnetometerSits(tilts, dipSign);
  const sitting = ofSitting(acc, mag, tilted, declared);
  const findings = [
    ...refusals,
    ...broken.acc,
    ...broken.mag,
    ...noise,
    ...late,
    ...sitting.findings,
    ...circuit,
  ];
  const again: Again[] = [
    ...(moved ? [{ pose: 'at rest' as const, why: moved }] : []),
    ...(same.length > 0 ? same : sitting.again),
  ];
  const isSettled = again.length === 0 && isWhole;
  return {
    verdict: findings.length > 0 ? 'faulty' : isSettled ? 'sound' : 'not settled',
    findings,
    mounting: sitting.mounting,
    untold: [
      ...(isWhole || findings.length > 0 ? [] : ['Not all turns were done.']),
      ...again.map(({ why }) => why),
      ...sitting.untold,
    ],
    again,
  };
}

/** What one chip showed. */
class ChipLooks {
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

function ofRefusals(looked: Looked): AssemblyFinding[] {
  const posesOf = (code: NonNullable<PoseLooks['refused']>['code']) =>
    [...looked.values()]
      .filter(({ refused }) => refused?.code === code)
      .map(({ pose }) => LIES[pose]);
  const full = posesOf('saturated');
  const where = full.length === POSES.length ? 'in any pose' : listed(full);
  const low = posesOf('low_power');
  return [
    ...(full.length > 0
      ? [
          {
            fault: 'end of range' as const,
            evidence: `The board gave no reading ${where}, because a sensor was at the end of its range; it does not say which.`,
          },
        ]
      : []),
    ...(low.length > 0
      ? [
          {
            fault: 'supply low' as const,
            evidence: 'The board refused to read its sensors, because its supply is too low.',
          },
        ]
      : []),
  ];
}

function ofCircuit(all: readonly Look[]): AssemblyFinding[] {
  const volt = median(all.flatMap((look) => look.volt ?? []));
  const celsius = all.flatMap((look) => look.temperature ?? []);
  const middle = median(celsius);
  const [least, most] = LIMITS.volt;
  const [coldest, warmest] = LIMITS.temperature;
  const isZero = celsius.length > 1 && celsius.every((value) => value === 0);
  return [
    ...(volt !== undefined && (volt < least || volt > most)
      ? [
          {
            fault: 'supply implausible' as const,
            evidence: `It says ${volt.toFixed(2)} V; a board that runs has ${least} V at least, and a hand-held one ${most} V at most.`,
          },
        ]
      : []),
    ...(middle !== undefined && (isZero || middle < coldest || middle > warmest)
      ? [
          {
            fault: 'temperature implausible' as const,
            evidence: isZero
              ? `It says 0 °C in every one of ${celsius.length} looks, to the tenth of a degree.`
              : `It says ${celsiusText(middle)}; a bench is between ${celsiusText(coldest)} and ${celsiusText(warmest)}.`,
          },
        ]
      : []),
  ];
}

const celsiusText = (value: number): string => `${String(value).replace('-', '−')} °C`;

/** What is broken in a chip: all of it, or single axes. */
function ofAxes(chip: ChipLooks): AssemblyFinding[] {
  const { chip: name, poses, scale } = chip;
  const rest = chip.in('at rest');
  const isMute = rest.every((counts) => [0, 1, 2].every((i) => Math.abs(counts[i]!) <= 1));
  const reaches = AXES.map((axis) => chip.reach(axis));
  const liveliest = Math.max(...reaches);
  if (isMute || (poses.length > 3 && liveliest < LIMITS.alive)) {
    const [x, y, z] = rest[0]!;
    return [
      {
        fault: 'no answer',
        chip: name,
        evidence: `It gives ${x}, ${y}, ${z} counts ${poses.length > 1 ? 'in every turn' : 'in every look'}; by its scale it should give about ${Math.round(scale)} along ${name === 'acc' ? 'gravity' : 'the field'}.`,
      },
    ];
  }
  if (poses.length <= 3) return [];
  const stuck = AXES.filter((axis) => reaches[axis]! < LIMITS.follows * liveliest);
  const clipped = AXES.flatMap((axis) =>
    stuck.includes(axis) ? [] : (ends(chip, axis) ?? []).slice(0, 1).map((end) => ({ axis, end })),
  );
  return [
    ...(stuck.length > 0
      ? [
          {
            fault: 'stuck' as const,
            chip: name,
            axes: stuck.map((axis) => NAMES[axis]),
            evidence: `Through all turns ${stuck.length === 1 ? 'it stays' : 'they stay'} at ${listed(stuck.map((axis) => `${Math.round(rest[0]![axis])} counts`))}, while the other ${stuck.length === 1 ? 'axes go' : 'axis goes'} over ${Math.round(liveliest * scale)}.`,
          },
        ]
      : []),
    ...(clipped.length > 0
      ? [
          {
            fault: 'clipped' as const,
            chip: name,
            axes: clipped.map(({ axis }) => NAMES[axis]),
            evidence: `It goes to ${listed(clipped.map(({ end }) => `${end} counts`))} and no farther: there it repeats that same number, and elsewhere it trembles as it should.`,
          },
        ]
      : []),
  ];
}

/** The values at which an axis ends, where it repeats them there and is alive elsewhere. */
function ends(chip: ChipLooks, axis: Axis): number[] | undefined {
  const repeated = chip.poses.filter((pose) => chip.repeats(axis, pose));
  if (repeated.length === 0 || repeated.length === chip.poses.length) return undefined;
  const values = chip.means.map(({ mean }) => mean[axis] * chip.scale);
  const [lowest, highest] = [Math.min(...values), Math.max(...values)];
  const margin = 6 * chip.noise;
  const found = repeated.map((pose) => chip.along(axis, pose, 1)[0]!);
  return found.every((value) => value <= lowest + margin || value >= highest - margin)
    ? found
    : undefined;
}

/** Noise of the axes that are not broken otherwise. */
function noiseByAxis(chip: ChipLooks): { axis: Axis; found: NoiseFound }[] {
  const broken = new Set(ofAxes(chip).flatMap(({ axes }) => axes ?? NAMES));
  const values = chip.in('at rest');
  if (values.length < FOR_NOISE) return [];
  return AXES.filter((axis) => !broken.has(NAMES[axis])).map((axis) => ({
    axis,
    found: noiseOf(chip.along(axis, 'at rest', FOR_NOISE), chip.noise),
  }));
}

/** Whether noise as declared would show: whole counts swallow what is less than about one of them. */
function wouldShow(chip: ChipLooks): boolean {
  const looks = chip.looked.get('at rest')?.looks ?? [];
  const samples = looks[0]?.samples ?? 1;
  const areWhole = chip.in('at rest').flat().every(Number.isInteger);
  return chip.noise * Math.sqrt(samples) >= 1 && (!areWhole || chip.noise >= 1);
}

function ofNoise(chip: ChipLooks): AssemblyFinding[] {
  const axes = noiseByAxis(chip);
  const figures = (those: typeof axes): string => {
    if (those.every(({ found }) => found.sd === 0)) return 'the same number came in every look';
    const each = those.map(
      ({ axis, found }) =>
        `${countsText(found.sd)} counts on axis ${NAMES[axis]} (${countsText(found.low)} to ${countsText(found.high)})`,
    );
    return `the standard deviation was ${listed(each)}, intervals that miss once in a thousand times`;
  };
  const finding = (fault: 'noisy' | 'quiet', usual: string): AssemblyFinding[] => {
    const those = axes.filter(({ found }) => found.standing === fault);
    if (those.length === 0) return [];
    return [
      {
        fault,
        chip: chip.chip,
        ...(those.length < 3 && { axes: those.map(({ axis }) => NAMES[axis]) }),
        evidence: `At rest ${figures(those)}; the board declares a standard deviation of ${countsText(chip.noise)}, and ${usual} is normal.`,
      },
    ];
  };
  return [
    ...finding('noisy', `up to ${LIMITS.noisy} times that`),
    ...(wouldShow(chip) ? finding('quiet', 'down to a third of that') : []),
  ];
}

const countsText = (value: number): string =>
  value >= 100 ? value.toFixed(0) : value >= 1 ? value.toFixed(1) : value.toFixed(2);

/** Why the looks at rest do not count: a board that moves shows it in both chips, and on more than one axis of each. */
function restMoved(chips: Record<ChipName, ChipLooks>): string | undefined {
  const isShaken = (['acc', 'mag'] as const).every(
    (chip) =>
      noiseByAxis(chips[chip]).filter(({ found }) => found.standing === 'noisy').length >= 2,
  );
  return isShaken
    ? 'At rest both chips trembled, as they do on a board that is moved: it was not lying still.'
    : undefined;
}

/** A chip that is still on its way when the other one is there. */
function ofLag(chip: ChipLooks, beside: ChipLooks): AssemblyFinding[] {
  const behind = chip.poses
    .filter((pose) => pose !== 'at rest')
    .filter(
      (pose) =>
        toGo(beside, pose) < LIMITS.stillBeside &&
        toGo(chip, pose) > LIMITS.lag &&
        nears(chip, pose),
    );
  if (behind.length < LIMITS.lagTurns) return [];
  const most = Math.max(...behind.map((pose) => toGo(chip, pose)));
  return [
    {
      fault: 'lags',
      chip: chip.chip,
      evidence: `After ${behind.length} of the turns it was still on its way, by ${Math.round(100 * most)} % of its scale at most, while the ${CHIPS[beside.chip]} was there.`,
    },
  ];
}

/** How far the first look of a pose is from the last ones, in units of the declared scale. */
function toGo(chip: ChipLooks, pose: AssemblyPose): number {
  const [first] = chip.in(pose);
  return first ? length(plus(times(first, 1 / chip.scale), times(chip.meanIn(pose), -1))) : 0;
}

/** Until it is steady it comes nearer and nearer, but for the noise. */
function nears(chip: ChipLooks, pose: AssemblyPose): boolean {
  const end = chip.meanIn(pose);
  const slack = (6 * chip.noise) / chip.scale;
  const left = chip
    .in(pose)
    .slice(0, 1 - STEADY)
    .map((counts) => length(plus(times(counts, 1 / chip.scale), times(end, -1))));
  return left.slice(1).every((value, i) => value <= left[i]! + slack);
}

interface SittingFound {
  findings: AssemblyFinding[];
  again: Again[];
  mounting: AssemblyRecord['mounting'];
  untold: string[];
}

/**
 * How the chips sit, how they are scaled, and how large their offsets are. Absent chips are broken otherwise.
 *
 * @param tilted how the magnetometer sits by the tilts alone
 */
function ofSitting(
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

/** Which way north and south of the chip are: seen only where the field has a level part that was faced. */
function sense(mag: FieldSitting, declared: DeclaredChips, found: SittingFound): void {
  const level = Math.hypot(mag.field[0], mag.field[1]);
  const isFaced = level >= LIMITS.level && Math.abs(mag.field[0]) > 0.5 * level;
  if (isFaced || mag.byDip) return;
  const { magMounting } = declared;
  if (magMounting !== undefined && opposite(mag.mounting) === magMounting)
    found.mounting.mag = magMounting;
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

/* A turn while it is done. */

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
function unturned(looked: Looked, declared: DeclaredChips): Again[] {
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

function meanOf(looks: readonly Look[], chip: ChipName, declared: DeclaredChips): Vec3 {
  const steady = looks.slice(-STEADY).map((look) => look[chip]);
  const scale = chip === 'acc' ? declared.accScale : declared.magScale;
  return times(steady.reduce(plus), 1 / (steady.length * scale));
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
