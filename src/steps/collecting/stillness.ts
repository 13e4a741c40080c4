import { degrees, radians } from '../../calib/geometry.ts';
import type { BoardIdentity } from '../../protocol/board.ts';
import { median } from '../statistics.ts';
import type { Sensed } from './attitude-now.ts';

/**
 * Whether a board is held still, from the scatter of the samples in one reading of its sensors, and from what changed
 * since the one before. Both chips are looked at: a turn about the plumb line shows in the magnetometer alone, one about
 * the field in the accelerometer alone.
 */

type Chip = 'acc' | 'mag';
type Counts = Pick<Sensed, 'acc' | 'mag' | 'accScatter' | 'magScatter' | 'samples'>;
export type Chips = Pick<BoardIdentity, 'accScale' | 'magScale' | 'accNoise' | 'magNoise'>;

export interface Stillness {
  still: boolean;
  /** How far it seems to have turned, degrees: the larger of both signs; noise alone is in it. */
  moved: number;
  /** What would still count as still, degrees, by the same sign. */
  limit: number;
  /** Which sign: among the samples of one reading, or since the look before. */
  sign: 'samples' | 'since';
}

/**
 * Scatter that noise alone does not reach: the standard deviation of 16 samples is 1.9 times the true one twice in a
 * million (chi-square, 15 degrees of freedom); the rest is for noise that is not quite as declared.
 */
const OVER_NOISE = 3;
/** Standard deviations of the difference of two readings that chance reaches on one of six axes once in 300 000. */
const CHANCE = 5;
/**
 * What a hand at rest does within one reading, and from one look to the next: no less is asked for, however quiet the
 * chips. Both are ours: averaged over a reading the first leaves about a tenth of a degree, which is how well people aim.
 */
const HAND = { samples: radians(0.6), since: radians(0.5) };
/** Samples in a reading where the board does not say how many. */
const SAMPLES = 16;

const SCATTER = { acc: 'accScatter', mag: 'magScatter' } as const;
const SCALE = { acc: 'accScale', mag: 'magScale' } as const;
const NOISE = { acc: 'accNoise', mag: 'magNoise' } as const;

/**
 * @param before the look before, where that was a moment ago
 * @param recent readings of this board that count: where their samples usually scatter more than declared, that is normal
 */
export function stillnessOf(
  now: Counts,
  before: Counts | undefined,
  chips: Chips,
  recent: readonly Counts[] = [],
): Stillness {
  const signs = (['acc', 'mag'] as const).flatMap((chip) => [
    ...ofSamples(now, chip, chips, recent),
    ...(before ? [sinceThe(before, now, chip, chips)] : []),
  ]);
  const [worst] = signs.sort((a, b) => b.moved / b.limit - a.moved / a.limit);
  if (!worst) return { still: true, moved: 0, limit: degrees(HAND.samples), sign: 'samples' };
  return { ...worst, still: worst.moved <= worst.limit };
}

/** Whether the board moved while this reading was taken; undefined where it does not say how its samples scatter. */
export function movedWhileTaken(
  reading: Counts,
  chips: Chips,
  recent: readonly Counts[] = [],
): Stillness | undefined {
  if (!reading.accScatter && !reading.magScatter) return undefined;
  const stillness = stillnessOf(reading, undefined, chips, recent);
  return stillness.still ? undefined : stillness;
}

type Sign = Omit<Stillness, 'still'>;

function ofSamples(now: Counts, chip: Chip, chips: Chips, recent: readonly Counts[]): Sign[] {
  const scatter = now[SCATTER[chip]];
  if (!scatter) return [];
  const declared = chips[NOISE[chip]] * Math.sqrt(now.samples ?? SAMPLES);
  const usual = median(recent.flatMap((each) => worstOf(each[SCATTER[chip]])));
  const noise = Math.max(declared, usual ?? 0);
  const scale = chips[SCALE[chip]];
  return [
    {
      moved: degrees(Math.max(...scatter) / scale),
      limit: degrees(Math.max((OVER_NOISE * noise) / scale, HAND.samples)),
      sign: 'samples',
    },
  ];
}

const worstOf = (scatter: readonly number[] | undefined): number[] =>
  scatter ? [Math.max(...scatter)] : [];

function sinceThe(before: Counts, now: Counts, chip: Chip, chips: Chips): Sign {
  const scale = chips[SCALE[chip]];
  const most = Math.max(...now[chip].map((count, axis) => Math.abs(count - before[chip][axis]!)));
  return {
    // a chord; an axis cannot change by more than both ends of it
    moved: degrees(2 * Math.asin(Math.min(1, most / scale / 2))),
    limit: degrees(Math.max((CHANCE * Math.SQRT2 * chips[NOISE[chip]]) / scale, HAND.since)),
    sign: 'since',
  };
}

/** In words, with the limit. */
export function stillnessWords({ still, moved, limit, sign }: Stillness): string {
  if (still) return 'Held still';
  const by = `${moved < 10 ? moved.toFixed(1) : moved.toFixed(0)}°`;
  return sign === 'samples'
    ? `Moving: it trembles by ${by} within one reading; up to ${limit.toFixed(1)}° is still`
    : `Moving: it turned by ${by} since a moment ago; up to ${limit.toFixed(1)}° is still`;
}

/** Of a reading that was kept, as a clause. */
export const trembledWords = ({ moved, limit }: Stillness): string =>
  `it moved while it was taken: its samples scatter by ${moved.toFixed(1)}°, and up to ${limit.toFixed(1)}° is still`;

/** The same, and what to do, when it has just landed. */
export const movedSaid = (
  moved: Stillness,
  { kind }: { kind: 'reading' | 'proof reading' },
): string => {
  const words = trembledWords(moved);
  const then =
    kind === 'reading'
      ? 'Set it aside in the table and retake it.'
      : 'If the proof does not pass, take it again.';
  return `${words[0]!.toUpperCase()}${words.slice(1)}. ${then}`;
};
