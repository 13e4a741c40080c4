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
  /** How many lines this one stands for: of looks at the sensors in a row the latest is kept, and counted. */
  readonly times?: number;
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
  /** A look that was asked for right after another one, until its answer shows whether it is folded into that. */
  #held: { at: number; text: string } | undefined;
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
    if (!this.#folds(direction, text)) this.#note(direction === 'to_board' ? '>' : '<', text);
  }

  /** The link ended. @param why by itself; empty where this end ended it */
  ended(why: string): void {
    if (!this.#isOpen) return;
    this.#folds('from_board', ''); // a look under way has no answer
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

  /**
   * Folds a look at the sensors into the one just before it, if nothing was between them. While the page shows how a board
   * is held it looks a few times a second: those lines would soon push all others out.
   *
   * @returns whether the line needs no more noting
   */
  #folds(direction: WireDirection, text: string): boolean {
    const held = this.#held;
    this.#held = undefined;
    if (held && direction === 'from_board' && answersLook(held.text, text)) {
      const times = (this.entry(this.#last)!.times ?? 1) + 1;
      this.#put(this.#last - 1, { ...held, mark: '>', times });
      this.#put(this.#last, { at: this.#clock.now(), mark: '<', text, times });
      return true;
    }
    if (held) this.#note('>', held.text, held.at);
    if (direction !== 'to_board' || !LOOK.test(text)) return false;
    const [asked, told] = [this.entry(this.#last - 1), this.entry(this.#last)];
    if (!asked || !told || !answersLook(asked.text, told.text)) return false;
    this.#held = { at: this.#clock.now(), text };
    return true;
  }

  #find(mark: WireMark): number | undefined {
    for (let number = this.first; number <= this.#last; number++) {
      if (this.entry(number)!.mark === mark) return number;
    }
    return undefined;
  }

  #note(mark: WireMark, text: string, at = this.#clock.now()): void {
    this.#last += 1;
    this.#put(this.#last, { at, mark, text });
  }

  #put(number: number, entry: Omit<WireEntry, 'number'>): void {
    this.#entries[(number - 1) % WIRE_KEPT] = { number, ...entry };
    for (const listener of this.#listeners) listener();
  }
}

/** A look at the sensors, as this program asks for it: one typed by hand has no check. */
const LOOK = /^\?(\d+) sense #[0-9A-F]{4}$/;

/** Whether a line is the answer to that look. */
const answersLook = (asked: string, answer: string): boolean => {
  const tag = LOOK.exec(asked)?.[1];
  return tag !== undefined && answer.startsWith(`=${tag} ok `);
};

const isGreeting = (line: string): boolean => /^\?1 hello /.test(line);
