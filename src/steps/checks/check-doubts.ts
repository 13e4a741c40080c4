import type { BoardIdentity, BoardReading } from '../../protocol/board.ts';
import { movedWhileTaken, trembledWords } from '../collecting/stillness.ts';
import { looksUnturned, UNTURNED_WORDS } from '../unturned.ts';
import type { CheckState } from './check-history.ts';
import { placesOf, type CheckPlace } from './check-places.ts';

/** Readings of a check that may not be what they should be. They are kept, and count, all the same. */

/** A reading where it was taken. */
interface Landed {
  place: CheckPlace;
  reading: BoardReading;
}

/**
 * Why a reading that has just landed may not be what it should be, as sentences.
 *
 * @param check as it was before
 */
export function doubtOfCheckReading(
  landed: Landed,
  { begun, readings, last }: CheckState,
  chips: BoardIdentity,
): string | undefined {
  const place = placesOf(begun.terms).find((each) => each.place === last);
  const reading = place && readings.get(place.place);
  const before = reading && { place, reading };
  const doubts = doubtsOf(landed, before, [...readings.values()], chips);
  return doubts.length === 0
    ? undefined
    : `${doubts.join(' ')} If it is not as it should be, take the last one again.`;
}

/** The same of all readings of a check, a sentence each, for what it came to. */
export function doubtsInCheck({ begun, readings }: CheckState, chips: BoardIdentity): string[] {
  const landed = placesOf(begun.terms).flatMap((place) => {
    const reading = readings.get(place.place);
    return reading ? [{ place, reading }] : [];
  });
  const all = [...readings.values()];
  return landed.flatMap((each, i) =>
    doubtsOf(each, landed[i - 1], all, chips).map(
      (doubt) => `Reading ${each.reading.reading}: ${doubt}`,
    ),
  );
}

function doubtsOf(
  { place, reading }: Landed,
  before: Landed | undefined,
  recent: readonly BoardReading[],
  chips: BoardIdentity,
): string[] {
  const moved = movedWhileTaken(reading, chips, recent);
  const aimed = (each: Landed) => ({ id: '', reading: each.reading, aim: each.place.aim });
  const unturned = before && looksUnturned(aimed({ place, reading }), aimed(before), chips);
  const words = moved && trembledWords(moved);
  return [
    ...(words ? [`${words[0]!.toUpperCase()}${words.slice(1)}.`] : []),
    ...(unturned ? [UNTURNED_WORDS] : []),
  ];
}
