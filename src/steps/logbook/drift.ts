import { compareCoefficients, type AngleChange, type Comparison } from '../../calib/comparison.ts';
import { interval95 } from '../../calib/quantiles.ts';
import { degrees, radians } from '../../calib/geometry.ts';
import { coefficientsFrom } from '../../calib/model.ts';
import type { CoefficientSet } from '../../protocol/coefficient-set.ts';
import { setCrc } from '../../protocol/messages.ts';
import { crcOf } from '../../records/coefficients-words.ts';
import type { Entry, FitRecord } from '../../records/entries.ts';
import { comparisonWords, ORDINARY_DIP, type ComparisonWords } from '../comparison-words.ts';
import { degreesText } from '../finding.ts';
import { dayWords } from '../time-words.ts';

/** How a board changes from one calibration to the next, and since the first. */

/** A set as the board was measured to be at that time. */
export interface MeasuredSet {
  crc: string;
  generation: number;
  /** When it was put in force, ISO 8601. */
  time: string;
  set: CoefficientSet;
  /** Of the fit that gave it; absent where none of this logbook did. */
  uncertainty?: FitRecord['uncertainty'];
  /** Of the field where it was measured, radians. */
  dip?: number;
  /** What happened to the board since the set before, newest last, in words. */
  between: readonly string[];
}

/**
 * The sets that were sealed on a board, the oldest first, each once: a set that was put back tells nothing new of the
 * board. What the board ran before any of them is the first.
 *
 * @param entries of one board, in reading order
 */
export function measuredSets(entries: readonly Entry[]): MeasuredSet[] {
  const withdrawn = new Set(
    entries.flatMap((entry) => (entry.kind === 'remark withdrawn' ? [entry.of] : [])),
  );
  const measured: MeasuredSet[] = [];
  // by check: two benches number their fits alike, and either may stage a set while the other seals
  const fits = new Map<string, FitRecord>();
  const staged = new Map<string, CoefficientSet>();
  let between: { on: string; words: string }[] = [];
  let firmware: string | undefined;
  const put = (set: Pick<MeasuredSet, 'crc' | 'generation' | 'time' | 'set'>) => {
    if (measured.some(({ crc }) => crc === set.crc)) return;
    const fit = fits.get(set.crc);
    const more = fit && { uncertainty: fit.uncertainty, dip: fit.dip };
    const happened = [...between].sort((a, b) => (a.on < b.on ? -1 : a.on > b.on ? 1 : 0));
    measured.push({ ...set, ...more, between: happened.map(({ words }) => words) });
    between = [];
  };
  for (const entry of entries) {
    const { time } = entry;
    switch (entry.kind) {
      case 'board linked': {
        const now = entry.identity.firmware;
        if (firmware !== undefined && firmware !== now) {
          between.push({ on: time, words: `firmware ${now}, ${dayWords(time)}` });
        }
        firmware = now;
        break;
      }
      case 'battery changed':
      case 'knocked': {
        if (withdrawn.has(entry.id)) break;
        const on = entry.on ?? time;
        const what = entry.kind === 'knocked' ? 'knocked' : 'battery changed';
        between.push({ on, words: `${what}, ${dayWords(on)}` });
        break;
      }
      case 'coefficients saved':
        if (entry.inForce && measured.length === 0 && staged.size === 0) {
          const { crc, generation, model, values } = entry.inForce;
          put({ crc, generation, time, set: { model, values } });
        }
        break;
      case 'fit':
        fits.set(crcOf(entry.coefficients), entry);
        break;
      case 'staged':
        staged.set(setCrc(entry.set), entry.set);
        break;
      case 'sealed': {
        const { crc, generation } = entry;
        const set = staged.get(crc);
        if (set) put({ crc, generation, time, set });
        break;
      }
    }
  }
  return measured;
}

/** How one set differs from another of the same board. */
export interface Drift {
  /** In words, chip by chip. */
  words: ComparisonWords;
  /** Root mean squares over all attitudes and largest, radians; absent where nothing can be compared. */
  azimuth?: AngleChange;
  inclination?: AngleChange;
  /**
   * Whether the change of either angle is larger than chance makes it, so that 19 times in 20 it would be smaller did
   * the board not change; absent where the uncertainty of one is not known.
   */
  larger?: { azimuth: boolean; inclination: boolean };
  /** What chance leaves in a change of azimuth × cos inclination, 95 %, radians. */
  chance?: number;
}

/** What is changed from one set to another. It takes some milliseconds. */
export function driftBetween(from: MeasuredSet, to: MeasuredSet): Drift {
  const before = `generation ${from.generation}`;
  const outcome = compareCoefficients(
    coefficientsFrom(from.set.model, from.set.values),
    coefficientsFrom(to.set.model, to.set.values),
    to.dip ?? from.dip ?? radians(ORDINARY_DIP),
  );
  const words = comparisonWords({ same: false, ...outcome }, before);
  if (!outcome.ok) return { words };
  const { azimuth, inclination } = outcome;
  const chance = chanceOf(from, to);
  return {
    words,
    inclination,
    ...(azimuth && { azimuth }),
    ...(chance && { larger: largerThan(outcome, chance), chance: chance.azimuth }),
  };
}

interface Chance {
  azimuth: number;
  inclination: number;
}

/**
 * The two calibrations know nothing of each other, so that their errors add as squares; of the two the one with fewer
 * degrees of freedom tells how wide the interval is, which is on the safe side.
 */
function chanceOf(from: MeasuredSet, to: MeasuredSet): Chance | undefined {
  const [a, b] = [from.uncertainty, to.uncertainty];
  if (!a || !b) return undefined;
  const of = (angle: 'azimuth' | 'inclination') =>
    interval95(Math.hypot(a[angle], b[angle]), Math.min(a.freedom[angle], b.freedom[angle]));
  return { azimuth: of('azimuth'), inclination: of('inclination') };
}

const largerThan = ({ azimuth, inclination }: Comparison, chance: Chance) => ({
  azimuth: (azimuth?.rms ?? 0) > chance.azimuth,
  inclination: inclination.rms > chance.inclination,
});

/** Whether a change is worth anything, in words. */
export function largerWords({ larger, words }: Drift): string {
  if (words.rows.length === 0) return 'cannot be compared';
  if (!larger) return 'not known: one of the two was not made here';
  const both = larger.azimuth && larger.inclination;
  if (both) return 'yes, in both angles';
  if (larger.azimuth) return 'yes, in azimuth';
  return larger.inclination ? 'yes, in inclination' : 'no';
}

/** Root mean square and largest of a change, degrees. */
export const changeText = (change: AngleChange | undefined): string =>
  change === undefined
    ? '–'
    : `${degreesText(degrees(change.rms))}, at most ${degreesText(Math.abs(degrees(change.largest)))}`;

/** One point of the picture of drift, against the first set; degrees. */
export interface DriftPoint {
  /** Milliseconds. */
  at: number;
  change: number;
  /** What chance leaves in it, 95 %. */
  chance?: number;
  generation: number;
}

/** @param drifts of every set against the first, the first itself left out */
export function driftPoints(sets: readonly MeasuredSet[], drifts: readonly Drift[]): DriftPoint[] {
  return sets.flatMap((set, i) => {
    const drift = i === 0 ? undefined : drifts[i - 1];
    if (i > 0 && !drift?.azimuth) return [];
    return {
      at: Date.parse(set.time),
      change: i === 0 ? 0 : degrees(drift!.azimuth!.rms),
      ...(drift?.chance !== undefined && { chance: degrees(drift.chance) }),
      generation: set.generation,
    };
  });
}

/** What the picture shows, in words. */
export function driftPictureWords(points: readonly DriftPoint[]): string {
  const parts = points
    .slice(1)
    .map(
      ({ at, change, generation }) =>
        `generation ${generation}, ${dayWords(new Date(at).toISOString())}: ${degreesText(change)}`,
    );
  return `Change of azimuth × cos inclination against generation ${points[0]?.generation ?? 0}, root mean square: ${parts.join('; ')}.`;
}
