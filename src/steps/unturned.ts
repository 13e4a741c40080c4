import type { BoardIdentity } from '../protocol/board.ts';
import type { AimDegrees, TakenReading } from '../records/entries.ts';

/** A reading that looks as if nobody had turned the board since the one before. */

/** Standard deviations of the difference of two readings that chance does not exceed among 14 of six counts each. */
const CHANCE = 5;
/**
 * Of the counts in 1 g and in the field. No two aims of a plan are so alike: 20 degrees apart they differ by 0.04 or
 * more on some axis, wherever field and plumb line are 25 degrees apart.
 */
const HELD_ALIKE = 0.02;

type Chips = Pick<BoardIdentity, 'accScale' | 'magScale' | 'accNoise' | 'magNoise'>;

/**
 * Whether a reading has the counts of the one before it, within noise, though it was to be aimed otherwise. Where
 * either aim is not known nothing is said.
 */
export function looksUnturned(now: TakenReading, before: TakenReading, chips: Chips): boolean {
  if (!now.aim || !before.aim || isSameAim(now.aim, before.aim)) return false;
  const alike = (chip: 'acc' | 'mag', noise: number, scale: number) => {
    const most = Math.max(CHANCE * Math.SQRT2 * noise, HELD_ALIKE * scale);
    return now.reading[chip].every(
      (count, axis) => Math.abs(count - before.reading[chip][axis]!) <= most,
    );
  };
  return (
    alike('acc', chips.accNoise, chips.accScale) && alike('mag', chips.magNoise, chips.magScale)
  );
}

const isSameAim = (a: AimDegrees, b: AimDegrees): boolean =>
  a.azimuth === b.azimuth && a.inclination === b.inclination && a.roll === b.roll;

export const UNTURNED_WORDS = 'This looks like the reading before: was the board turned?';

/** The same, and what to do, when the reading has just landed. */
export const unturnedSaid = ({ kind }: { kind: 'reading' | 'proof reading' }): string =>
  kind === 'reading'
    ? `${UNTURNED_WORDS} If not, set it aside in the table and retake it.`
    : `${UNTURNED_WORDS} If not, take the proof again once it is drawn.`;
