import { length, plus, times } from '../../calib/geometry.ts';
import { chiSquareQuantile } from '../../calib/quantiles.ts';
import type {
  AssemblyFinding,
  AssemblyPose,
  AssemblyRecord,
  PoseLooks,
} from '../../records/entries.ts';
import { listed } from '../finding.ts';
import { meanAndDeviation, median } from '../statistics.ts';
import { POSES } from './assembly-history.ts';
import { LIMITS } from './assembly-limits.ts';
import { accelerometerSits, magnetometerSits } from './chip-axes.ts';
import {
  AXES,
  ChipLooks,
  FOR_NOISE,
  NAMES,
  STEADY,
  type Axis,
  type ChipName,
  type DeclaredChips,
  type Look,
  type Looked,
} from './chip-looks.ts';
import { CHIPS } from './finding-words.ts';
import { LIES } from './poses.ts';
import { ofSitting } from './sitting-findings.ts';
import { unturned, type Again } from './turns.ts';

/**
 * What is wrong with a board that was just put together, from looks at its sensors at rest and in five turns. A chip that is
 * broken on an axis is not asked how it sits, how large its offset is, and so on: each fault is named once.
 */

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
  const isSettled = again.length === 0 && isWhole && !sitting.isOpen;
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
