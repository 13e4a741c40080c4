import type { BoardIdentity, BoardNotice, BoardReading } from '../protocol/board.ts';
import { codeInWords, ProtocolError } from '../protocol/errors.ts';
import { LinkError } from '../protocol/link.ts';
import type { CaptureAim, UnreadableReading } from '../records/entries.ts';
import { LogbookError } from '../records/logbook.ts';
import { lineWords, rollWords } from './attitude-words.ts';
import { endSentence, shortEnd, type LinkEnd } from './link-end.ts';
import { linkHelp, type KindName, type System } from './link-help.ts';
import type { CheckIntention } from './checks/next-in-check.ts';
import type { Intention } from './next-step.ts';
import type { LinkState, Trouble, Work } from './place-state.ts';

/** What the bench says: of its work, of what a board said, of what went wrong. */

/**
 * Why the bench did not do what was asked, where neither board nor logbook is the reason. Nothing was begun.
 * `held_elsewhere`: another page has the bench. `fit_changed`: the fit to be written is not the newest, or the readings
 * changed since. `bad_setting`: the simulated board cannot be set so. `at_bench`: that board is linked at another place.
 * `same_simulated`: a simulated board so set is at another place. `not_linked`: the link was lost before it
 * was begun. `unsaved_reading`: the board's memory holds a reading that the logbook does not. `cannot_be`: a setting was
 * given a value that it cannot have. `not_adopted`: the board took a change, and does not show it. `not_fit`: this firmware may not go onto this board. `going_back`: new firmware
 * is not confirmed, so that the board starts again with the one before. `in_hand`: the calibration is under way at a
 * place whose board is linked. `other_board`: the coefficients are for another board than the one that is linked.
 * `fit_silent`: what makes the fits has stopped answering. `nothing_to_check`: the board runs no coefficients.
 * `not_loaded`: a part of the page could not be fetched.
 */
export type Hindrance =
  | 'held_elsewhere'
  | 'fit_changed'
  | 'bad_setting'
  | 'at_bench'
  | 'same_simulated'
  | 'not_linked'
  | 'unsaved_reading'
  | 'cannot_be'
  | 'not_adopted'
  | 'not_fit'
  | 'going_back'
  | 'in_hand'
  | 'other_board'
  | 'fit_silent'
  | 'nothing_to_check'
  | 'not_loaded';

const HINDRANCES: Record<Hindrance, Trouble> = {
  not_linked: {
    heading: 'The board is not linked',
    message: 'Nothing was done, and what is recorded is safe. Link it again, then go on.',
  },
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
  at_bench: {
    heading: 'This board is at the bench already',
    message:
      'The second link was ended, and work goes on over the first. If these are two boards they bear the same serial number: one of them needs another, or their logbooks would run into one.',
  },
  same_simulated: {
    heading: 'This simulated board is at the bench already',
    message: 'Nothing was changed. Give it another seed or other mountings to have another board.',
  },
  unsaved_reading: {
    heading: 'Not erased: a reading is not in the logbook',
    message:
      'Nothing was erased, and the board keeps all it has. Fetch its readings again; what cannot be read stays on the board until its memory is full.',
  },
  cannot_be: {
    heading: 'A setting cannot have that value',
    message: 'Nothing was sent, and the board is unchanged. Correct what is marked, then send it.',
  },
  not_adopted: {
    heading: 'The board does not show the change it took',
    message:
      'What it says now is in the logbook. Send the change again; if it happens again, its firmware is at fault.',
  },
  not_fit: {
    heading: 'This firmware is not for this board now',
    message: 'Nothing was sent, and the board runs what it ran.',
  },
  going_back: {
    heading: 'The new firmware is not healthy',
    message:
      'It is not confirmed, so the board goes back to the firmware before by itself. Settings, coefficients and readings are untouched. If the board is not linked again in a few minutes, switch it off and on, then link it again.',
  },
  in_hand: {
    heading: 'This calibration is at the bench',
    message:
      'Its board is linked, so it is fitted and marked there. Nothing was done here. Go to the bench; or put the board away there, then go on here.',
  },
  fit_silent: {
    heading: 'The fit gave no answer',
    message:
      'What computes it was ended, and begins afresh. The readings are in the logbook, and nothing on the board was changed. Fit again; if it happens again, reload this page.',
  },
  nothing_to_check: {
    heading: 'There is nothing to check yet',
    message:
      'The board runs no coefficients, so it shows no angles. Nothing was begun. Calibrate it first.',
  },
  other_board: {
    heading: 'These coefficients are for another board',
    message:
      'Nothing was sent, and the linked board is unchanged. Link the board that they are for, then put them on it from its page of the logbook.',
  },
  not_loaded: {
    heading: 'A part of this page could not be loaded',
    message:
      'Nothing was changed, and what is in the logbook is safe. See that the place this page came from can be reached, then try again.',
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
export const WORK: Record<
  Exclude<Intention, 'stop' | 'insist' | 'see assembly' | CheckIntention>,
  Work
> = {
  link: { what: 'Linking', stoppable: true },
  choose: { what: 'Linking', stoppable: true },
  unlink: { what: 'Putting the board away', stoppable: false },
  begin: { what: 'Beginning', stoppable: false },
  'take one': { what: 'Taking a reading', stoppable: true },
  'take sighting': { what: 'Taking a sighting', stoppable: true },
  'take rest': { what: 'Taking readings', stoppable: true },
  'take gaps': { what: 'Taking readings again', stoppable: true },
  'take more': { what: 'Planning more readings', stoppable: false },
  fit: { what: 'Fitting', stoppable: false },
  write: { what: 'Writing to the board', stoppable: false },
  prove: { what: 'Taking fresh readings', stoppable: true },
  'prove again': { what: 'Taking fresh readings', stoppable: true },
  leave: { what: 'Leaving the calibration', stoppable: false },
  resume: { what: 'Taking the calibration up again', stoppable: false },
  'take up earlier': { what: 'Taking the calibration before up again', stoppable: false },
  end: { what: 'Closing the calibration', stoppable: false },
  revert: { what: 'Going back to the coefficients before', stoppable: false },
  undo: { what: 'Undoing', stoppable: false },
  redo: { what: 'Doing it again', stoppable: false },
};

export const messageOf = (error: unknown): string =>
  error instanceof Error ? error.message : String(error);

const HEADINGS: Partial<Record<ProtocolError['cause'], string>> = {
  no_answer: 'The board does not answer',
  nonsense: 'The board sent nonsense',
  refused: 'The board refused',
  wrong_version: 'The board speaks another version',
  board_restarted: 'The board started again',
};

/** Where something went wrong: over which kind of link, if any, and on which system. */
export interface Whereabouts {
  kind: KindName;
  system: System;
}

/** What went wrong, for a person. */
export function troubleOf(error: unknown, where: Whereabouts): Trouble {
  if (error instanceof LinkError) return linkTrouble(error, error.message, where);
  if (error instanceof ProtocolError) {
    const { fault } = error;
    if (fault.cause === 'link_refused' || fault.cause === 'link_closed') {
      return linkTrouble({ cause: fault.link }, fault.reason, where);
    }
    const heading = HEADINGS[error.cause] ?? 'The conversation with the board failed';
    const { kind, system } = where;
    const next =
      fault.cause === 'no_answer' && fault.verb === 'hello' && kind !== 'simulated'
        ? linkHelp('unreachable', kind, system).next
        : undefined;
    return { heading, message: error.message, ...(next && { next }) };
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

function linkTrouble(
  { cause }: Pick<LinkError, 'cause'>,
  reason: string,
  { kind, system }: Whereabouts,
): Trouble {
  const { heading, happened, safe, next } = linkHelp(cause, kind, system);
  const told =
    cause === 'failed' ? [happened, `What the system says: ${reason}.`, safe] : [happened, safe];
  return { heading, message: told.join(' '), next };
}

/** What is so with a link, in a few words; `shape` is how it is drawn beside them. */
export function linkWords(link: LinkState): {
  shape: 'ahead' | 'waiting' | 'good' | 'watch' | 'bad';
  words: string;
} {
  switch (link.state) {
    case 'none':
      return { shape: 'ahead', words: 'No board linked' };
    case 'linking':
      return { shape: 'waiting', words: 'Linking' };
    case 'linked':
      return link.silent
        ? { shape: 'watch', words: 'Linked, but silent' }
        : { shape: 'good', words: 'Linked' };
    case 'lost': {
      const end = link.end ? `: ${shortEnd(link.end)}` : '';
      return { shape: link.returns ? 'waiting' : 'bad', words: `Link lost${end}` };
    }
  }
}

/** Of an empty place. @param beside whether there are other places at the bench */
export const emptyWords = (beside: boolean): string =>
  beside ? 'A new link' : linkWords({ state: 'none' }).words;

/** What is being done, and how far it is. */
export const workWords = ({ what, done = 0, of }: Work): string =>
  of === undefined ? `${what}…` : `${what}: ${done + 1} of ${of}`;

/** What became of a link that was lost, and what next, as sentences. */
export function lostWords({ end = 'failed', hidden, returns }: LinkState): string {
  const back = returns
    ? 'It is linked again by itself as soon as it is there; you may also try now.'
    : 'Link it again when it is there.';
  return `${endSentence(end, hidden === true)} ${back}`;
}

/** That a link which ended so was made again by itself. */
export const backWords = (end: LinkEnd): string => `${endSentence(end, false)} It is linked again.`;

type Named = Pick<BoardIdentity, 'name' | 'serial'>;

/** What a person would call a board. */
export const boardName = ({ name, serial }: Named): string =>
  name ? `${name}, ${serial}` : serial;

/** That another board answered than was at this place before. */
export const otherBoardWords = (before: Named, now: Named): string =>
  `This is another board than before: ${boardName(now)}. What was done with ${boardName(before)} is in the logbook, and there again when it is linked.`;

/** That a board answered over a second link. */
export const secondLinkWords = (board: Named, first: string, second: string): string =>
  `${boardName(board)} is linked over ${first}, and was found again over ${second}.`;

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
