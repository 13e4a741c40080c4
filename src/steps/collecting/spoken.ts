import { lineWords, rollWords } from '../attitude-words.ts';
import type { Slot } from '../calibration-state.ts';

/** What is said aloud: short, since hands and eyes are at the instrument. In the words that the page shows. */

/** The place that is next; of the line only where it is another than before. */
export function spokenNext(next: Slot, before: Slot | undefined): string {
  const { sighting, roll } = next;
  const isSameLine = before?.sighting.sighting === sighting.sighting;
  return isSameLine ? rollWords(roll) : `${lineWords(sighting)}, ${rollWords(roll)}`;
}

/** A sentence of the page as a voice says it. */
export const spoken = (words: string): string =>
  words
    .replaceAll('\u2011', '-')
    .replace(/±\s*/g, 'plus or minus ')
    .replace(/(\d)°/g, '$1 degrees')
    .replaceAll('°', ' degrees');
