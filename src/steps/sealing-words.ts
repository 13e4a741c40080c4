import type { BoardHistory } from './calibration-state.ts';

/** What a write to the board will do, said before it is done. */
export interface SealingWords {
  changes: string;
  saved: string;
  back: string;
}

export function sealingWords({ inForce, found, known, savedAt }: BoardHistory): SealingWords {
  const generation = inForce?.generation ?? 0;
  const foundWords = found.length > 0 ? `, ${found.length} of them found on the board` : '';
  const readings = `${known.size} readings${foundWords}`;
  return {
    changes:
      generation === 0
        ? 'The board has no coefficients yet: it gets generation 1, and from then on shows angles.'
        : `The board runs generation ${generation}: it will run generation ${generation + 1}. Its readings stay.`,
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

/** A time as people write it, in the local zone. */
export function timeWords(iso: string): string {
  return new Date(iso).toLocaleString('en-GB', { dateStyle: 'medium', timeStyle: 'short' });
}
