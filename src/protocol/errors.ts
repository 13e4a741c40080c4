import type { LinkCause } from './link.ts';

/**
 * Everything that can go wrong in a conversation, as a closed set. What a board may refuse is here too: it is the
 * one list of error codes (SPEC.md, section 4) that host and board share.
 */

/** The codes of an `error` answer and of a `refused` event, each in words: what it means, what to do next. */
const CODES = {
  bad_check: 'The line reached the board damaged. Nothing was done. Sending it again is safe.',
  bad_line: 'The board could not read the line. Nothing was done. Sending it again is safe.',
  tag_reused:
    'The board has seen this number on another request. Nothing was done. Connect again to start afresh.',
  unknown_verb:
    'The board does not know this request. Nothing was done. Its firmware may be older or smaller than the request needs.',
  bad_field:
    'The board found a value missing, malformed or out of range. Nothing was done. The firmware and this program disagree; please report it to both makers.',
  no_hello: 'The board has started again since it was connected. Connect again.',
  busy: 'The board is busy. Nothing was done. Try again in a moment.',
  low_power:
    'The board’s supply is too low for this. Nothing was done, and what it keeps is safe. Charge it or change its battery, then try again.',
  saturated:
    'A sensor was at the end of its range, so no reading was taken. Move away from magnets and steel, hold the board still, and take it again.',
  wrong_mode: 'The board is not collecting readings. Nothing was taken. Start collecting first.',
  memory_full:
    'The board’s memory is full, so no reading was taken; those in it are safe. Store them here, then erase them on the board.',
  check_needed:
    'The board changes what it keeps only for a line that carries its check. Nothing was done. Add the check.',
  no_such_reading:
    'The board holds no reading with this number. Nothing was done. List its memory.',
  event_gone:
    'The board no longer holds the messages asked for. List its memory and recall the readings that are missing.',
  no_such_set: 'The board holds no such set of coefficients. Nothing was changed.',
  nothing_staged:
    'No coefficients are staged; the board may have started again. The coefficients in force are unchanged. Stage them again.',
  crc_mismatch:
    'The staged coefficients are not the ones named. The coefficients in force are unchanged. Stage them again.',
  not_checked:
    'The staged coefficients were not checked. The coefficients in force are unchanged. Check them first.',
  stale_generation:
    'The coefficients in force are not the ones to be replaced: someone changed them. They are unchanged now. Read them, and decide afresh.',
} as const;

export type BoardCode = keyof typeof CODES;

export const BOARD_CODES = Object.keys(CODES) as readonly BoardCode[];

/** What a code means and what to do next, as sentences for a person. */
export function codeInWords(code: BoardCode): string {
  return CODES[code];
}

/** What an `error` answer says. */
export interface Refusal {
  code: BoardCode;
  /** With `bad_field`: the field's name. */
  field?: string;
  /** With `event_gone`: the oldest event the board can still send. */
  oldest?: number;
  /** With `stale_generation`: the generation in force. */
  generation?: number;
}

/** What went wrong, with what is known about it. */
export type Fault =
  /** The link could not be opened. `link` is why; `reason` is the same in words, and may have the system's own. */
  | { cause: 'link_refused'; link: LinkCause; reason: string }
  /** The link ended, by itself or by `close()`, before or while the work was done. */
  | { cause: 'link_closed'; link: LinkCause; reason: string }
  /** No answer, however often the request was sent. `may` says whether the board may have done it all the same. */
  | { cause: 'no_answer'; verb: string; may: 'nothing' | 'have_happened' }
  /** The board sent something outside the protocol, in the named field. */
  | { cause: 'nonsense'; field: string; why: string }
  /** Something to be sent does not fit the protocol: a mistake of this program, nothing was sent. */
  | { cause: 'unsendable'; field: string; why: string }
  /** The board answered `error`. */
  | { cause: 'refused'; verb: string; refusal: Refusal }
  /** The caller gave up. `sent` tells whether the request had already left. */
  | { cause: 'cancelled'; verb: string; sent: boolean }
  /** The board speaks no version that this program speaks. */
  | { cause: 'wrong_version'; board: number }
  /** Events (numbers `from` to `to`), or the reading of a capture, can no longer be had. */
  | { cause: 'events_lost'; from: number; to: number }
  | { cause: 'reading_lost'; reading: number }
  /** The board started again in the midst of the conversation. */
  | { cause: 'board_restarted' }
  /** What the board holds staged is not what was sent. */
  | { cause: 'staged_differs'; wanted: string; held: string };

export type Cause = Fault['cause'];

function inWords(fault: Fault): string {
  switch (fault.cause) {
    case 'link_refused':
      return `The link could not be opened: ${fault.reason}. Nothing was sent. Check that the board is on and not in use by another program, then connect again.`;
    case 'link_closed':
      return `The link to the board ended: ${fault.reason}. Readings already here are safe, and so are those in the board’s memory. Connect again; then look for readings that are still only on the board.`;
    case 'no_answer':
      return fault.may === 'nothing'
        ? `The board did not answer “${fault.verb}”. Nothing on it was changed. Check that it is on and in reach, then try again.`
        : `The board did not answer “${fault.verb}”, and may have done it all the same. It holds either the old state or the new one, never a mixture. Connect again and look which before repeating it.`;
    case 'nonsense':
      return `The board sent something that cannot be right: ${fault.field} ${fault.why}. It was not used. Try again; if it happens again, the board’s firmware is at fault.`;
    case 'unsendable':
      return `This cannot be sent: ${fault.field} ${fault.why}. Nothing was sent, and the board is unchanged. This is a mistake in this program; please report it.`;
    case 'refused': {
      const field = fault.refusal.field === undefined ? '' : ` (${fault.refusal.field})`;
      return `The board refused “${fault.verb}”${field}: ${codeInWords(fault.refusal.code)}`;
    }
    case 'cancelled':
      return fault.sent
        ? `“${fault.verb}” was cancelled after it was sent; the board may still do it. Look at the board’s state before repeating it.`
        : `“${fault.verb}” was cancelled before it was sent. Nothing was changed.`;
    case 'wrong_version':
      return `The board speaks version ${fault.board} of the protocol, which this program does not. Nothing was changed. Update the board’s firmware or this program.`;
    case 'events_lost':
      return `Messages ${fault.from} to ${fault.to} from the board were lost on the link. Readings among them may still be in its memory: list it and recall them.`;
    case 'reading_lost':
      return `Reading ${fault.reading} was taken, but was lost on the link and is no longer on the board. The other readings are safe. Take it again.`;
    case 'board_restarted':
      return 'The board started again by itself. What it keeps is safe; coefficients that were staged but not sealed are gone. Check its battery, and connect again.';
    case 'staged_differs':
      return `The board holds other coefficients staged (${fault.held}) than were sent (${fault.wanted}). The coefficients in force are unchanged. Stage them again; if it happens again, the board’s firmware is at fault.`;
  }
}

/** The only error that anything in this folder throws or rejects with on purpose. */
export class ProtocolError extends Error {
  override readonly name = 'ProtocolError';
  override readonly cause: Cause;

  constructor(readonly fault: Fault) {
    super(inWords(fault));
    this.cause = fault.cause;
  }
}
