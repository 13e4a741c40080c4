import type { Clock } from '../protocol/clock.ts';
import { RECORDING_HEAD, recordingLine, type RecordingMark } from '../protocol/recording-format.ts';

/** The lines that cross a link, the latest of them, to look at and to save. */

/** How many entries are kept: some hours of readings, or a whole firmware image; 3 MB at most. */
export const WIRE_KEPT = 10_000;

export type WireMark = RecordingMark;

export interface WireEntry {
  /** Counted from 1 since the log began. */
  readonly number: number;
  /** When, on the log's clock, milliseconds. */
  readonly at: number;
  readonly mark: WireMark;
  /** The line without its LF; the label of the link that was opened; why it ended, where it was not ended here. */
  readonly text: string;
}

export type WireDirection = 'to_board' | 'from_board';

const encoder = new TextEncoder();

/** Keeps the latest {@link WIRE_KEPT} entries. It only notes: what a line means is found when someone looks. */
export class WireLog {
  readonly #clock: Clock;
  readonly #began: { at: number; time: number };
  readonly #entries: WireEntry[] = [];
  readonly #listeners = new Set<() => void>();
  #last = 0;
  #isOpen = false;
  /** The greeting of the conversation under way: another one begins another. */
  #greeting = '';

  /** @param today the time of day at this moment of the clock */
  constructor(clock: Clock, today: Date) {
    this.#clock = clock;
    this.#began = { at: clock.now(), time: today.getTime() };
  }

  /** Number of the oldest entry that is kept; one more than {@link last} where there is none. */
  get first(): number {
    return this.#last - this.#entries.length + 1;
  }

  /** Number of the newest entry, 0 where there is none. */
  get last(): number {
    return this.#last;
  }

  /** An entry by its number; undefined where it is not kept any more, or not there yet. */
  entry(number: number): WireEntry | undefined {
    if (number < this.first || number > this.#last) return undefined;
    return this.#entries[(number - 1) % WIRE_KEPT];
  }

  /** The time of day of an entry. */
  timeOf({ at }: WireEntry): Date {
    return new Date(this.#began.time + at - this.#began.at);
  }

  /** Calls `listener` after every entry, until the returned function is called. It must be quick. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** A line crossed the link. @param label of the link, for the first line of a conversation */
  line(direction: WireDirection, text: string, label: string): void {
    if (direction === 'to_board' && isGreeting(text) && text !== this.#greeting) {
      if (this.#isOpen) this.ended('');
      this.#isOpen = true;
      this.#greeting = text;
      this.#note('+', label);
    }
    this.#note(direction === 'to_board' ? '>' : '<', text);
  }

  /** The link ended. @param why by itself; empty where this end ended it */
  ended(why: string): void {
    if (!this.#isOpen) return;
    this.#isOpen = false;
    this.#greeting = '';
    this.#note('-', why);
  }

  /**
   * What is kept, as a recording (docs/files.md), so that it can be played back: from the oldest conversation that is kept
   * whole; where there is none, from the oldest line.
   */
  recording(): string {
    const whole = this.#find('+') ?? this.first;
    const start = this.entry(whole)?.at ?? 0;
    const lines = [RECORDING_HEAD];
    for (let number = whole; number <= this.#last; number++) {
      const { at, mark, text } = this.entry(number)!;
      if (lines.length === 1 && mark !== '+') lines.push('0 + link opened earlier');
      const said = mark === '-' && text !== '' ? `gone ${text}` : text;
      lines.push(recordingLine(at - start, mark, encoder.encode(`${said}\n`)));
    }
    return `${lines.join('\n')}\n`;
  }

  #find(mark: WireMark): number | undefined {
    for (let number = this.first; number <= this.#last; number++) {
      if (this.entry(number)!.mark === mark) return number;
    }
    return undefined;
  }

  #note(mark: WireMark, text: string): void {
    this.#last += 1;
    this.#entries[(this.#last - 1) % WIRE_KEPT] = {
      number: this.#last,
      at: this.#clock.now(),
      mark,
      text,
    };
    for (const listener of this.#listeners) listener();
  }
}

const isGreeting = (line: string): boolean => /^\?1 hello /.test(line);
