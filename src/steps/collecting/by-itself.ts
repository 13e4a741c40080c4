import { isAt, offsetTo, type Wanted } from './aim-offset.ts';
import { ROLL_WITHIN, type CollectingChoices } from './collecting-choices.ts';
import type { Look } from './live-attitude.ts';

/** Readings that take themselves once the board is held still at the aim: hands and eyes are at the mark. */
export class ByItself {
  /** A reading was asked for, and the board has not left since. */
  #isSpent = false;

  /** @returns whether it is time to take the reading; once for each time the board comes to the aim */
  looked(look: Look, wanted: Wanted | undefined, choices: CollectingChoices): boolean {
    const waiting = wanted && waitingFor(look, wanted, choices);
    if (waiting === undefined || waiting === 'aim' || waiting === 'stillness') {
      this.#isSpent = false;
      return false;
    }
    if (!choices.byItself || waiting === 'time' || this.#isSpent) return false;
    this.#isSpent = true;
    return true;
  }
}

/** What a reading that takes itself still waits for. */
export type Waiting = 'aim' | 'stillness' | 'time' | 'nothing';

export function waitingFor(
  { attitude, stillSince, at }: Look,
  wanted: Wanted,
  { within, stillFor }: Pick<CollectingChoices, 'within' | 'stillFor'>,
): Waiting {
  if (!attitude) return 'aim';
  if (!isAt(offsetTo(wanted, attitude), { line: within, roll: ROLL_WITHIN })) return 'aim';
  if (stillSince === undefined) return 'stillness';
  return at - stillSince < stillFor * 1000 ? 'time' : 'nothing';
}
