import { rangeSettings, type RangeCorrection } from '../../protocol/range-settings.ts';
import { BenchError } from '../bench-words.ts';
import { sendSettings } from '../care/settings.ts';
import type { Desk } from '../desk.ts';
import { correctionFor } from './range-writing.ts';

const NO_SETTINGS =
  'The board has no settings for constant and scale of its ranges. Nothing was sent: note both, and correct lengths by hand.';
const CHANGED_SINCE =
  'What the board adds to its ranges is no longer what it was in the check. Nothing was sent: check again, then write.';

/**
 * Writes to the board what the newest range check found; does nothing where there was none.
 *
 * @param now what the board adds to its ranges, as its settings were read last
 * @throws BenchError `cannot_be` where the board has no settings for it, or they were changed since the check; as
 *   `sendSettings` does
 */
export async function writeRange(desk: Desk, now: RangeCorrection | undefined): Promise<void> {
  const board = desk.linked();
  const { checks, care } = desk.state.history;
  const range = checks.records.range?.range;
  if (!range) return;
  const wanted = correctionFor(range);
  if (!wanted || !now) throw new BenchError('cannot_be', NO_SETTINGS);
  if (now.constant !== range.correction?.constant || now.scale !== range.correction.scale) {
    throw new BenchError('cannot_be', CHANGED_SINCE);
  }
  await sendSettings(desk, board, rangeSettings(wanted, care.settings?.settings ?? []));
  desk.say('Constant and scale are on the board, read back and compared. Check again to prove it.');
}
