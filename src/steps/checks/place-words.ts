import { rollWords } from '../attitude-words.ts';
import type { CheckState } from './check-history.ts';
import { placesOf, type CheckPlace } from './check-places.ts';

/** What is to be done in a check that is under way, in words. */

/** Where to stand, what to aim at, and how to hold it. */
export function placeWords({ mark, from, roll }: CheckPlace): string {
  const stand = from === undefined ? '' : `Stand at ${from}. `;
  return `${stand}Aim at ${mark}, ${rollWords(roll)}`;
}

/** How far a check is. */
export function progressWords({ begun, readings }: CheckState): string {
  return `${readings.size} of ${placesOf(begun.terms).length} readings are in.`;
}
