import { LINE_LIMIT, parseLine, TAG_LIMIT } from './line.ts';

/** Lines that a person types (SPEC.md, section 1.6), as far as a conversation that is under way can bear them. */

export type LineByHand =
  | {
      ok: true;
      /** The tag that was typed; absent where the line has none of its own. */
      tag?: number;
      /** The request, where it is one; else what was typed. */
      verb: string;
      /** The line without its LF, under this tag where none was typed. */
      line(tag: number): string;
    }
  | {
      ok: false;
      /** Why it is not sent: a clause after "the line". */
      why: string;
    };

const refused = (why: string): LineByHand => ({ ok: false, why });

/**
 * What a typed text is as a line. `?7 memory` goes out as it stands; `memory` gets the next tag. A line that is no request
 * goes out as well, so that a maker sees what a board says to it.
 */
export function lineByHand(text: string): LineByHand {
  const typed = text.trim();
  if (typed === '') return refused('is empty');
  if (!/^[\x20-\x7e]*$/.test(typed)) {
    return refused(
      'holds a character that is not printable ASCII; write it as % and two hexadecimal digits of its UTF-8',
    );
  }
  if (typed.includes('#')) {
    return refused(
      'holds a #; a line typed by hand goes without a check, so that it cannot change what the board keeps',
    );
  }
  const hasOwnTag = /^[?=!]/.test(typed);
  const line = (tag: number): string => (hasOwnTag ? typed : `?${tag} ${typed}`);
  if (line(TAG_LIMIT).length > LINE_LIMIT - 1) {
    return refused(`is longer than ${LINE_LIMIT} bytes with its end`);
  }
  const request = parseLine(line(1));
  if (typeof request === 'string' || request.kind !== 'request') {
    return { ok: true, verb: typed, line };
  }
  if (request.verb === 'hello') {
    return refused(
      'begins another conversation, of which this program would know nothing; link the board again instead',
    );
  }
  return { ok: true, ...(hasOwnTag && { tag: request.tag }), verb: request.verb, line };
}
