import { coefficientsFrom } from '../calib/model.ts';
import type { BoardHistory, CalibrationState } from './calibration-state.ts';
import type { ChosenSet } from '../records/entries.ts';
import {
  chosenAgainst,
  comparedOnBoard,
  sourceWords,
  type ComparisonWords,
} from './comparison-words.ts';
import { judgementOf } from './judgement.ts';
import { agreementFigures } from './proof.ts';
import { timeWords } from './time-words.ts';
import { TOLERANCE } from './tolerance.ts';

/** What a write to the board will do, said before it is done. */
export interface SealingWords {
  /** What speaks against writing this fit at all. */
  against?: string;
  changes: string;
  /** In physical terms, against what the board runs; absent where it runs nothing. */
  comparison?: ComparisonWords;
  saved: string;
  back: string;
}

/** @param chosen the set that is to be put on the board as it is; absent where it is the newest fit */
export function sealingWords(
  history: BoardHistory,
  chosen: ChosenSet | undefined = history.calibration?.chosen,
): SealingWords {
  const { inForce, found, known, savedAt } = history;
  const judgement = chosen ? undefined : judgementOf(history);
  const comparison = chosen ? chosenAgainst(chosen, inForce) : comparedOnBoard(history);
  const what = chosen ? `${upperFirst(sourceWords(chosen.source))} go onto the board. ` : '';
  const under = chosen && isUnderWay(history) ? UNDER_WAY : '';
  const generation = inForce?.generation ?? 0;
  const foundWords = found.length > 0 ? `, ${found.length} of them found on the board` : '';
  const readings = `${known.size} readings${foundWords}`;
  return {
    ...(judgement?.standing === 'bad' && {
      against: `${judgement.verdict} The board can hold it, to try it out; do not survey with it.`,
    }),
    ...(comparison && { comparison }),
    changes: `${what}${
      generation === 0
        ? 'The board has no coefficients yet: it gets generation 1, and from then on shows angles.'
        : `The board runs generation ${generation}: it will run generation ${generation + 1}. Its readings stay.`
    }${under}`,
    saved:
      generation === 0
        ? `There are no coefficients to lose. The logbook holds ${readings}.`
        : `The logbook holds generation ${generation}${savedAt ? ` as found on ${timeWords(savedAt)}` : ''}, and ${readings}. It is saved once more just before the write.`,
    back:
      generation === 0
        ? 'There is no earlier generation to go back to. If power fails during the write, the board runs either nothing, as now, or the new generation, never a mixture.'
        : `Generation ${generation} stays on the board: “Go back to the coefficients before” puts it in force again. If power fails during the write, the board runs either the old generation or the new one, never a mixture.`,
  };
}

/** Another calibration than that of a chosen set would be left. */
const isUnderWay = ({ calibration }: BoardHistory): boolean =>
  calibration !== undefined && !calibration.ended && !calibration.chosen;

const UNDER_WAY =
  ' The calibration under way is left: what was taken in it stays in the logbook, and cannot be added to.';

const upperFirst = (words: string) => words[0]!.toUpperCase() + words.slice(1);

/**
 * The angles that the board itself showed since it was sealed, against ours from the same counts; undefined until a
 * reading was taken with what was sealed.
 */
export function ownAnglesWords({
  calibration,
}: BoardHistory): { agrees: boolean; words: string } | undefined {
  const { sealed, proofReadings = [] } = calibration ?? {};
  const readings = proofReadings.flatMap(({ reading }) =>
    reading.generation === sealed?.generation ? [reading] : [],
  );
  if (!sealed || readings.length === 0) return undefined;
  const { model, values } = sealed.set;
  const figures = agreementFigures(readings, coefficientsFrom(model, values));
  const agrees = figures.every(({ good }) => good);
  const most = Math.max(...figures.map(({ value }) => value));
  const over = readings.length === 1 ? 'one reading' : `${readings.length} readings`;
  const silent = figures.some(({ n }) => n === 0);
  if (silent)
    return {
      agrees,
      words: `The board sent not all of its angles in ${over}: they cannot be compared.`,
    };
  return {
    agrees,
    words: `Over ${over} they differ by ${most.toFixed(4)}° at most; ${TOLERANCE.agreement.toFixed(2)}° is allowed, since a board rounds.${agrees ? '' : ' Its firmware does not apply the coefficients as the protocol says: do not use it.'}`,
  };
}

/** That a seal did not take, and what the board runs instead. */
export function sealFailedWords({
  reason,
  generation,
  unchanged,
}: NonNullable<CalibrationState['sealFailed']>): string {
  const whole = /[.!?]$/.test(reason) ? reason : `${reason}.`;
  if (!unchanged) {
    return `${whole} It is neither the set before nor the one that was to be sealed: someone else wrote to the board. Look at what it runs before you use it.`;
  }
  return generation === 0
    ? `${whole} The board has no coefficients, as before.`
    : `${whole} The coefficients before, generation ${generation}, are in force.`;
}
