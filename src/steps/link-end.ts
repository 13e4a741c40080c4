import type { ProtocolError } from '../protocol/errors.ts';
import type { KindName } from './link-help.ts';

/** What became of a link, as far as it is known. */

/**
 * - `unplugged`: the port is gone; it may have been switched off too, which nobody can tell from here
 * - `out of reach`: the radio hears it no more; it may be asleep or off
 * - `asleep`: the link stands, and the board says nothing
 * - `started again`: the board forgot the conversation, so it was off or was reset
 * - `ended there`: the far end closed the link
 * - `taken`: another page or program has it
 * - `page closed`: this page was closed, and the browser has not given the link back
 * - `stopped`: it was being made, and a person stopped that
 * - `failed`: something else
 */
export type LinkEnd =
  | 'unplugged'
  | 'out of reach'
  | 'asleep'
  | 'started again'
  | 'ended there'
  | 'taken'
  | 'page closed'
  | 'stopped'
  | 'failed';

const GONE: Record<KindName, LinkEnd> = {
  serial: 'unplugged',
  bluetooth: 'out of reach',
  socket: 'ended there',
  simulated: 'ended there',
};

/** What an error says of the link that it ended, or that could not be made. */
export function endOf({ fault }: ProtocolError, kind: KindName): LinkEnd {
  switch (fault.cause) {
    case 'board_restarted':
      return 'started again';
    case 'no_answer':
      return 'asleep';
    case 'cancelled':
      return 'stopped';
    case 'link_closed':
    case 'link_refused':
      if (fault.link === 'in_use') return 'taken';
      return fault.link === 'gone' || fault.link === 'unreachable' ? GONE[kind] : 'failed';
    default:
      return 'failed';
  }
}

const SHORT: Record<LinkEnd, string> = {
  unplugged: 'unplugged',
  'out of reach': 'out of reach',
  asleep: 'asleep, or not listening',
  'started again': 'the board started again',
  'ended there': 'ended at the far end',
  taken: 'in use elsewhere',
  'page closed': 'not linked since the page was closed',
  stopped: 'linking was stopped',
  failed: 'it failed',
};

const SENTENCES: Record<LinkEnd, string> = {
  unplugged: 'The board was unplugged or switched off.',
  'out of reach': 'The board is out of reach, asleep or switched off.',
  asleep: 'The board does not answer: it may be asleep.',
  'started again': 'The board started again by itself, or was reset.',
  'ended there': 'The link was ended at its far end.',
  taken: 'Another page or program has the board.',
  'page closed': 'This page was closed since, and the browser wants the board chosen again.',
  stopped: 'Linking was stopped.',
  failed: 'The link failed.',
};

/** In two or three words, for beside a board's name. */
export const shortEnd = (end: LinkEnd): string => SHORT[end];

/** As a sentence. @param hidden whether nobody could see the page then */
export const endSentence = (end: LinkEnd, hidden: boolean): string =>
  hidden ? `${SENTENCES[end]} That was while this tab was hidden.` : SENTENCES[end];
