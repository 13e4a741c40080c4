import type { Intention, NextStep, Offer } from '../next-step.ts';
import {
  awaitsSwap,
  isTaken,
  lastPlace,
  openCheckPlaces,
  type CheckState,
} from './check-history.ts';
import { CHECK_NAMES } from './check-names.ts';
import { placeWords, progressWords } from './place-words.ts';

/** What can be asked for while a check in the field is under way. */
const INTENTIONS = [
  'check one',
  'check rest',
  'check again',
  'battery is changed',
  'settle',
  'leave check',
] as const;
export type CheckIntention = (typeof INTENTIONS)[number];

export const isOfCheck = (intention: Intention): intention is CheckIntention =>
  INTENTIONS.some((each) => each === intention);

/**
 * What is next in a check that is under way, its board being linked.
 *
 * @param byHand a person turns the board
 * @param press how a person takes a reading, in words
 */
export function nextInCheck(
  check: CheckState,
  byHand: boolean,
  press: string,
): Pick<NextStep, 'heading' | 'words' | 'main' | 'others'> {
  const name = CHECK_NAMES[check.begun.terms.check];
  const again: Offer[] = lastPlace(check)
    ? [{ label: 'Take the last one again', does: 'check again' }]
    : [];
  const leave: Offer = { label: 'Leave this check', does: 'leave check' };
  const progress = `${name}. ${progressWords(check)}`;
  if (awaitsSwap(check)) {
    return {
      heading: 'Now change the battery',
      words: `${progress} Put this board away, change its battery, and link it again. Then say that it is changed, which is written in the logbook: the check goes on from there, with the same marks and rolls.`,
      main: { label: 'The battery is changed', does: 'battery is changed' },
      others: [{ label: 'Put this board away', does: 'unlink' }, ...again, leave],
    };
  }
  if (isTaken(check)) {
    return {
      heading: 'All readings of the check are in',
      words: progress,
      main: { label: 'Work out what they say', does: 'settle' },
      others: [...again, leave],
    };
  }
  const open = openCheckPlaces(check);
  const heading = placeWords(open[0]!);
  if (byHand) {
    return {
      heading,
      words: `${progress} ${press} While a check is under way, each reading is for it.`,
      main: { label: 'Take this reading for the check', does: 'check one' },
      others: [...again, leave],
    };
  }
  return {
    heading,
    words: `${progress} The simulated hand aims by itself, at made-up marks.`,
    main: { label: `Take all ${open.length} for the check`, does: 'check rest' },
    others: [{ label: 'Take one for the check', does: 'check one' }, ...again, leave],
  };
}
