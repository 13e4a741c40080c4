import type { Entry, EntryOf, Remark } from '../../records/entries.ts';
import { dayOf } from '../time-words.ts';

/** What a person writes into the logbook of a board. */

export type RemarkKind = Exclude<Remark['kind'], 'remark withdrawn'>;

export const REMARK_KINDS: Readonly<Record<RemarkKind, string>> = {
  note: 'A note',
  'battery changed': 'Its battery was changed',
  knocked: 'It was knocked or dropped',
};

/** Characters that a remark may have. */
export const LONGEST_REMARK = 1000;

export interface WrittenRemark {
  kind: RemarkKind;
  text: string;
  /** The day it happened, ISO 8601; empty where that is today. */
  on: string;
}

/**
 * @param now the time of day
 * @param random a fresh number in [0, 1)
 * @returns the entry, or why it cannot be written
 */
export function remarkEntry(
  board: string,
  written: WrittenRemark,
  now: Date,
  random: number,
): Entry | { fault: string } {
  const { kind, on } = written;
  const text = written.text.trim().toWellFormed();
  const today = dayOf(now);
  if (kind === 'note' && text === '') return { fault: 'Write what is to be noted.' };
  if (text.length > LONGEST_REMARK) {
    return { fault: `Write at most ${LONGEST_REMARK} characters.` };
  }
  if (on !== '' && !/^\d{4}-\d{2}-\d{2}$/.test(on)) return { fault: 'Give the day as a date.' };
  if (on > today) return { fault: 'That day is still to come.' };
  const time = now.toISOString();
  const stamp = { board, time, id: `${time} ${Math.floor(random * 1e9)}` };
  const day = on !== '' && on !== today && { on };
  return kind === 'note'
    ? { ...stamp, kind, text, ...day }
    : { ...stamp, kind, ...(text !== '' && { text }), ...day };
}

/** That a remark was wrong. */
export const withdrawal = (board: string, of: string, now: Date): EntryOf<'remark withdrawn'> => ({
  kind: 'remark withdrawn',
  board,
  time: now.toISOString(),
  of,
});
