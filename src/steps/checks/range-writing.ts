import { interval95 } from '../../calib/quantiles.ts';
import type { Setting } from '../../protocol/care-messages.ts';
import {
  RANGE_SETTINGS,
  rangeCorrection,
  rangeSettings,
  type RangeCorrection,
} from '../../protocol/range-settings.ts';
import type { FoundRange } from '../../records/entries.ts';

export type { FoundRange } from '../../records/entries.ts';

/** What a range check found, as settings of the board. */

/** Half-widths of the 95 % intervals of constant and scale. */
export function halvesOf({ covariance, freedom }: FoundRange): { constant: number; scale: number } {
  return {
    constant: interval95(Math.sqrt(covariance.constant), freedom),
    scale: interval95(Math.sqrt(covariance.scale), freedom),
  };
}

/** Whether constant or scale is off by more than its interval: what chance may have done is not worth writing to a board. */
export function worthWriting(range: FoundRange): boolean {
  const { constant, scale } = halvesOf(range);
  return Math.abs(range.constant) > constant || Math.abs(range.scale - 1) > scale;
}

/** What a board must add so that its ranges are true: nothing where it had no settings for that when it was checked. */
export function correctionFor({
  constant,
  scale,
  correction,
}: FoundRange): RangeCorrection | undefined {
  if (!correction) return undefined;
  return {
    constant: (correction.constant - constant) / scale,
    scale: 1e6 * ((1 + correction.scale / 1e6) / scale - 1),
  };
}

/**
 * What would be written, and whether it may be.
 *
 * @param settings of the board, as they were read last
 */
export function rangeWriting(
  range: FoundRange,
  settings: readonly Setting[],
): { words: string; can: boolean } {
  const no = (words: string) => ({ words, can: false });
  const now = rangeCorrection(settings);
  const wanted = correctionFor(range);
  if (!worthWriting(range)) return no('There is nothing to write to the board.');
  if (!now || !wanted) {
    return no(
      'The board has no settings for constant and scale of its ranges: note both, and correct lengths by hand.',
    );
  }
  const to = rangeSettings(wanted, settings);
  const text = (which: 'constant' | 'scale') => to.get(`range_${which}`)!.replace('-', '−');
  if (
    Number(to.get('range_constant')) === now.constant &&
    Number(to.get('range_scale')) === now.scale
  ) {
    return no('Constant and scale of this check are on the board. Check again to prove it.');
  }
  if (now.constant !== range.correction!.constant || now.scale !== range.correction!.scale) {
    return no('What the board adds to its ranges was changed since: check again before writing.');
  }
  const beyond = (['constant', 'scale'] as const).flatMap((which) => {
    const { name, unit } = RANGE_SETTINGS[which];
    const { min, max } = settings.find((each) => each.name === name)!; // both were read above
    const value = Number(to.get(name));
    const fits = (min === undefined || value >= Number(min)) && (max === undefined || value <= Number(max)); // prettier-ignore
    return fits ? [] : [`${text(which)} ${unit} of ${which} (${boundsWords(min, max)})`];
  });
  if (beyond.length > 0) {
    return no(
      `To read true, the board would have to add more than it takes: ${beyond.join(', and ')}. Look at the lengths that were typed, and at where they count from. If they are right, the range module wants looking at.`,
    );
  }
  return {
    can: true,
    words: `To read true, the board would add ${text('constant')} m (now ${signed(now.constant)} m), and scale by ${text('scale')} ppm (now ${signed(now.scale)} ppm). Its settings are saved before, both are changed in one step and read back, and the settings saved before can be put back under “Its settings”.`,
  };
}

function boundsWords(min: string | undefined, max: string | undefined): string {
  const [least, most] = [min, max].map((bound) => bound?.replace('-', '−'));
  if (least === undefined) return `it takes ${most} at most`;
  return most === undefined ? `it takes ${least} at least` : `it takes ${least} to ${most}`;
}

const signed = (value: number): string => String(value).replace('-', '−');
