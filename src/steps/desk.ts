import type { Board } from '../protocol/board.ts';
import { ProtocolError } from '../protocol/errors.ts';
import type { SimulatorControl } from '../protocol/simulator.ts';
import type { Entry, StoredEntry } from '../records/entries.ts';
import { LogbookError, type Logbook } from '../records/logbook.ts';
import { BenchError, troubleOf } from './bench-words.ts';
import {
  afterEntry,
  EMPTY_HISTORY,
  foldHistory,
  type CalibrationState,
} from './calibration-state.ts';
import { without } from './copy-without.ts';
import type { KindName, System } from './link-help.ts';
import type { PlaceState, Told, Work } from './place-state.ts';

/**
 * What every step of the work on one board shares: the board, its pages of the logbook, and what the screen shows of
 * it. Whatever happens is in the logbook before it is in the state.
 */
export class Desk {
  /** The conversation with the board; absent while there is none. */
  board: Board | undefined;
  /** The hand that holds a simulated board; absent where a person does. */
  hand: SimulatorControl | undefined;
  #state: PlaceState;
  #stop = new AbortController();
  /** How often something was written. */
  #appended = 0;

  /**
   * @param today the time of day, for the logbook
   * @param system that the page runs on, for what to do when a link fails
   * @param changed called after every change of state
   */
  constructor(
    private readonly logbook: Pick<Logbook, 'append' | 'entriesOfBoard' | 'boards'>,
    private readonly today: () => Date,
    private readonly system: System,
    private readonly changed: () => void,
  ) {
    this.#state = { link: { state: 'none' }, history: EMPTY_HISTORY, said: '' };
  }

  get state(): PlaceState {
    return this.#state;
  }

  /** Aborted when a person asks to stop what is being done. */
  get signal(): AbortSignal {
    return this.#stop.signal;
  }

  /** Stops what is being done. */
  stop(): void {
    this.#stop.abort();
  }

  /** A new piece of work, which no earlier wish to stop concerns. */
  startAfresh(): void {
    this.#stop = new AbortController();
  }

  change(
    change: Partial<PlaceState>,
    ...drop: ('work' | 'trouble' | 'simulator' | 'live' | 'left' | 'ownHand')[]
  ): void {
    this.#state = { ...without(this.#state, ...drop), ...change };
    this.changed();
  }

  /** @param told the same for one who does not look */
  say(said: string, told?: Told): void {
    this.change({ said, ...(told && { told }) });
  }

  show(work: Work): void {
    this.change({ work });
  }

  /** The board said something: it is not silent any more. */
  heard(): void {
    const { link } = this.#state;
    if (link.silent) this.change({ link: without(link, 'silent') });
  }

  /**
   * Shows what went wrong.
   *
   * @param kind of link it went wrong with, where that is not the one this place has
   */
  report(error: unknown, kind: KindName = this.#state.link.kind ?? 'simulated'): void {
    if (error instanceof ProtocolError && error.cause === 'cancelled') return; // a person asked for it
    const { link } = this.#state;
    const silent = error instanceof ProtocolError && error.cause === 'no_answer';
    this.change({
      trouble: troubleOf(error, { kind, system: this.system }),
      said: '',
      ...(silent && link.state === 'linked' && { link: { ...link, silent } }),
    });
  }

  /** The board. @throws BenchError `not_linked` */
  linked(): Board {
    if (!this.board) throw new BenchError('not_linked');
    return this.board;
  }

  /** The newest calibration. @throws Error where none was begun */
  calibration(): CalibrationState {
    const { calibration } = this.#state.history;
    if (!calibration) throw new Error('no calibration was begun');
    return calibration;
  }

  /** All that the logbook says of a board. */
  async recollect(serial: string): Promise<void> {
    for (;;) {
      const before = this.#appended;
      const entries = await this.entriesOf(serial);
      if (before !== this.#appended) continue; // a reading has landed meanwhile
      this.change({ history: foldHistory(entries) });
      return;
    }
  }

  entriesOf(serial: string): Promise<StoredEntry[]> {
    return this.logbook.entriesOfBoard(serial);
  }

  /** Writes to the logbook, and only then to the state. */
  async append(...entries: Entry[]): Promise<void> {
    const written = await this.logbook.append(...entries);
    if (!written.ok) throw new LogbookError(written);
    this.#appended++;
    this.change({ history: entries.reduce(afterEntry, this.#state.history) });
  }

  /** Serial numbers of all boards of which the logbook has something. */
  boards(): Promise<string[]> {
    return this.logbook.boards();
  }

  /** The time of day. */
  now(): Date {
    return this.today();
  }

  /** What an entry of the board has that belongs to no calibration. */
  stamp(board: string) {
    return { board, time: this.today().toISOString() };
  }

  /** What an entry of the newest calibration has. */
  inCalibration() {
    const { board, id } = this.calibration();
    return { ...this.stamp(board), calibration: id };
  }

  /** Ends the newest calibration. */
  async end(outcome: 'proven' | 'abandoned', reason: string): Promise<void> {
    await this.append({ ...this.inCalibration(), kind: 'calibration ended', outcome, reason });
  }
}
