import type { BoardNotice, BoardReading } from '../protocol/board.ts';
import { codeInWords, ProtocolError } from '../protocol/errors.ts';
import type { CaptureAim, UnreadableReading } from '../records/entries.ts';
import { LogbookError } from '../records/logbook.ts';
import { lineWords, rollWords } from './attitude-words.ts';
import type { Intention } from './next-step.ts';
import type { Trouble, Work } from './place-state.ts';

/** What the bench says: of its work, of what a board said, of what went wrong. */

/**
 * Why the bench did not do what was asked, where neither board nor logbook is the reason. Nothing was begun.
 * `held_elsewhere`: another page has the bench. `fit_changed`: the fit to be written is not the newest, or the readings
 * changed since. `bad_setting`: the simulated board cannot be set so.
 */
export type Hindrance = 'held_elsewhere' | 'fit_changed' | 'bad_setting';

const HINDRANCES: Record<Hindrance, Trouble> = {
  held_elsewhere: {
    heading: 'Another page holds the bench',
    message:
      'This program is open in another tab or window, and two of them must not work on one logbook. Nothing was done here, and what is recorded is safe. Go on in the other page; or close it, then try again here by linking.',
  },
  fit_changed: {
    heading: 'Not written: the readings have changed',
    message:
      'Since this fit was made a reading was added, set aside or taken back, so it is not what the readings say now. Nothing on the board was changed. Fit again, look at the result, then write.',
  },
  bad_setting: {
    heading: 'The simulated board cannot be set so',
    message: 'Nothing was changed. Correct the value, then set it again.',
  },
};

/** A {@link Hindrance} thrown. */
export class BenchError extends Error {
  override readonly name = 'BenchError';
  readonly heading: string;

  /** @param reason what exactly, as a sentence, where the words alone do not say it */
  constructor(
    override readonly cause: Hindrance,
    reason?: string,
  ) {
    const { heading, message } = HINDRANCES[cause];
    super(reason === undefined ? message : `${reason} ${message}`);
    this.heading = heading;
  }
}

/** Each piece of work by its name, and whether a person may stop it. */
export const WORK: Record<Exclude<Intention, 'stop'>, Work> = {
  link: { what: 'Linking', stoppable: true },
  unlink: { what: 'Ending the link', stoppable: false },
  begin: { what: 'Beginning', stoppable: false },
  'take one': { what: 'Taking a reading', stoppable: true },
  'take sighting': { what: 'Taking a sighting', stoppable: true },
  'take rest': { what: 'Taking readings', stoppable: true },
  'take gaps': { what: 'Taking readings again', stoppable: true },
  fit: { what: 'Fitting', stoppable: false },
  write: { what: 'Writing to the board', stoppable: false },
  prove: { what: 'Taking fresh readings', stoppable: true },
  'prove again': { what: 'Taking fresh readings', stoppable: true },
  leave: { what: 'Leaving the calibration', stoppable: false },
  resume: { what: 'Taking the calibration up again', stoppable: false },
  end: { what: 'Closing the calibration', stoppable: false },
  revert: { what: 'Going back to the coefficients before', stoppable: false },
  undo: { what: 'Undoing', stoppable: false },
};

export const messageOf = (error: unknown): string =>
  error instanceof Error ? error.message : String(error);

const HEADINGS: Partial<Record<ProtocolError['cause'], string>> = {
  link_refused: 'The link could not be opened',
  link_closed: 'The link was lost',
  no_answer: 'The board does not answer',
  nonsense: 'The board sent nonsense',
  refused: 'The board refused',
  wrong_version: 'The board speaks another version',
  board_restarted: 'The board started again',
};

/** What went wrong, for a person. */
export function troubleOf(error: unknown): Trouble {
  if (error instanceof ProtocolError) {
    const heading = HEADINGS[error.cause] ?? 'The conversation with the board failed';
    return { heading, message: error.message };
  }
  if (error instanceof BenchError) return { heading: error.heading, message: error.message };
  if (error instanceof LogbookError) {
    return { heading: 'The logbook could not be written', message: error.message };
  }
  console.error(error);
  return {
    heading: 'Something went wrong in this program',
    message: `${messageOf(error)}. What is in the logbook is safe. Reload this page to go on; if it happens again, please report it.`,
  };
}

/** An aim, as a person would call it. */
export const aimWords = ({ aim }: CaptureAim): string =>
  `${lineWords(aim)}, ${rollWords(aim.roll)}`;

export const fetchedWords = ({ reading }: BoardReading, aim: CaptureAim): string =>
  `Reading ${reading} was fetched from the board’s memory and put in its place: ${aimWords(aim)}.`;

export function foundWords(count: number): string {
  return count === 1
    ? 'One reading was found in the board’s memory and saved. Where it was aimed is not known, so it fills no place of a plan.'
    : `${count} readings were found in the board’s memory and saved. Where they were aimed is not known, so they fill no place of a plan.`;
}

export function unreadableWords(unreadable: readonly UnreadableReading[]): string {
  const numbers = unreadable.map(({ reading }) => reading).join(', ');
  return unreadable.length === 1
    ? `Reading ${numbers} in the board’s memory makes no sense; the logbook says why.`
    : `Readings ${numbers} in the board’s memory make no sense; the logbook says why.`;
}

/** What the board said unasked, in words. */
export function noticeWords(notice: BoardNotice): string {
  return notice.kind === 'refused'
    ? `The trigger was pressed in vain. ${codeInWords(notice.code)}`
    : `The board’s supply is low: ${notice.volt} volts. Charge it or change its battery.`;
}
