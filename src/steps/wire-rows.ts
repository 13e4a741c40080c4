import type { WireEntry, WireLog, WireMark } from './wire-log.ts';
import { meaningOf } from './wire-words.ts';

/** Which lines of a wire log are looked at, and what is shown of each. */

/** What a person wants to see. */
export interface WireFilter {
  /** Both ways, or one. */
  way: 'both' | 'to_board' | 'from_board';
  /** Every kind of line; the readings; or what went wrong: damage, refusals, the end of a link. */
  kind: 'all' | 'readings' | 'faults';
  /** Only lines that hold this, in upper or lower case. */
  holds: string;
}

export const NO_FILTER: WireFilter = { way: 'both', kind: 'all', holds: '' };

export interface WireRow {
  number: number;
  /** Time of day, to the millisecond. */
  time: string;
  mark: WireMark;
  text: string;
  meaning: string;
}

const two = (value: number): string => String(value).padStart(2, '0');

function clockTime(time: Date): string {
  const seconds = `${two(time.getSeconds())}.${String(time.getMilliseconds()).padStart(3, '0')}`;
  return `${two(time.getHours())}:${two(time.getMinutes())}:${seconds}`;
}

/** Reads a wire log for one who looks at it. */
export class WireReader {
  /** What was found of an entry once is the same ever after. */
  readonly #meanings = new WeakMap<WireEntry, string>();

  constructor(readonly log: WireLog) {}

  /**
   * The latest `most` rows that the filter lets through, oldest first, none newer than number `until`.
   *
   * @returns the rows, and whether there are older ones that it lets through
   */
  rows(
    filter: WireFilter,
    until: number,
    most: number,
  ): { rows: readonly WireRow[]; more: boolean } {
    const { log } = this;
    const rows: WireRow[] = [];
    const wanted = filter.holds.trim().toLowerCase();
    for (let number = Math.min(until, log.last); number >= log.first; number--) {
      const entry = log.entry(number)!;
      if (!this.#passes(entry, filter, wanted)) continue;
      if (rows.length === most) return { rows: rows.reverse(), more: true };
      const { mark, text } = entry;
      const time = clockTime(log.timeOf(entry));
      rows.push({ number, time, mark, text, meaning: this.#meaning(entry) });
    }
    return { rows: rows.reverse(), more: false };
  }

  #passes(entry: WireEntry, { way, kind }: WireFilter, wanted: string): boolean {
    const { mark, text } = entry;
    if (way === 'to_board' && mark === '<') return false;
    if (way === 'from_board' && mark === '>') return false;
    if (wanted !== '' && !text.toLowerCase().includes(wanted)) return false;
    switch (kind) {
      case 'all':
        return true;
      case 'readings':
        return mark === '<' && / acc=/.test(text);
      case 'faults':
        return mark === '-' ? text !== '' : mark === '<' && this.#isFault(entry);
    }
  }

  #isFault(entry: WireEntry): boolean {
    return (
      /^=\d+ error|^!\d+ (refused|power)/.test(entry.text) ||
      /^(damaged|not a line|without a check|makes no sense)/.test(this.#meaning(entry))
    );
  }

  #meaning(entry: WireEntry): string {
    const known = this.#meanings.get(entry);
    if (known !== undefined) return known;
    const words = meaningOf(this.log, entry);
    this.#meanings.set(entry, words);
    return words;
  }
}
