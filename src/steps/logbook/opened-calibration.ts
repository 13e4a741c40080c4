import type { Entry, EnteredSheet, ToleranceChoice } from '../../records/entries.ts';
import type { Logbook } from '../../records/logbook.ts';
import { BenchError, WORK } from '../bench-words.ts';
import { EMPTY_HISTORY, foldCalibration, type BoardHistory } from '../calibration-state.ts';
import { Desk } from '../desk.ts';
import { fitCalibration } from '../fit-step.ts';
import type { Fitter } from '../fitting.ts';
import type { System } from '../link-help.ts';
import { Marks, type MarkWish } from '../marks.ts';
import type { PlaceState, Work } from '../place-state.ts';
import { toleranceName } from '../tolerance.ts';
import type { ReadSheet } from './readings-from-sheet.ts';

export interface OpenedParts {
  logbook: Pick<Logbook, 'append' | 'entriesOfBoard' | 'boards'>;
  fitter: Fitter;
  /** The time of day, for the logbook. */
  today(): Date;
  system: System;
  /** Resolves when this page has the bench; rejects with a `BenchError` where another has it. */
  ready(): Promise<void>;
  /** Whether a calibration is under way at a place whose board is linked: then it is worked on there alone. */
  isInHand(calibration: string): boolean;
  /** Called after entries of a calibration were written. */
  written(calibration: string): Promise<void>;
  /** Called after every change of state. */
  changed(): void;
}

/** A sheet that was read, and where it comes from. */
export interface SheetToKeep {
  /** Serial number of the board. */
  board: string;
  boardName?: string;
  by: EnteredSheet['by'];
  file?: string;
  /** As it was given. */
  text: string;
  read: ReadSheet;
}

/** What the screen shows of the opened calibration: replaced whole at every change. */
export type OpenedState = Pick<PlaceState, 'history' | 'work' | 'trouble' | 'said'>;

/**
 * One calibration of the logbook, opened to be fitted, judged and marked with no board linked, by the same steps as at
 * the bench. What is written is of just this calibration, whichever is the newest.
 */
export class OpenedCalibration {
  readonly #parts: OpenedParts;
  readonly #desk: Desk;
  readonly #marks: Marks;
  /** Everything that is done is done in its turn. */
  #turn: Promise<void> = Promise.resolve();
  #pending = 0;

  constructor(parts: OpenedParts) {
    this.#parts = parts;
    const { logbook, today, system, changed } = parts;
    const guarded: OpenedParts['logbook'] = {
      entriesOfBoard: (board) => logbook.entriesOfBoard(board),
      boards: () => logbook.boards(),
      append: async (...entries) => {
        // once more here: the board may have been linked while a fit was made
        if (entries.some((entry) => this.#isInHand(entry))) throw new BenchError('in_hand');
        return logbook.append(...entries);
      },
    };
    this.#desk = new Desk(guarded, today, system, changed);
    this.#marks = new Marks(this.#desk);
  }

  get state(): OpenedState {
    return this.#desk.state;
  }

  /** What is so with the opened calibration and its board; absent where none is opened. */
  get history(): BoardHistory | undefined {
    const { history } = this.state;
    return history.calibration && history;
  }

  /** Whether anything of it can be changed here and now. */
  get isInHand(): boolean {
    const id = this.history?.calibration?.id;
    return id !== undefined && this.#parts.isInHand(id);
  }

  /** Opens a calibration of a board. Reads alone, so that it does so beside another page that has the bench. */
  async open(board: string, calibration: string): Promise<void> {
    await this.#during({ what: 'Opening the calibration', stoppable: false }, async () => {
      await this.#read(board, calibration);
    });
  }

  /** Puts it away; nothing of it is lost. */
  close(): void {
    if (this.#pending > 0) return;
    this.#desk.change({ history: EMPTY_HISTORY, said: '' }, 'trouble');
  }

  /** Writes a sheet to the logbook as a calibration of its own, all or nothing, and opens it. @returns whether it is kept */
  async keep({ board, boardName, read, ...source }: SheetToKeep): Promise<boolean> {
    let isKept = false;
    await this.#during({ what: 'Keeping the readings', stoppable: false }, async () => {
      await this.#parts.ready();
      const { time } = this.#desk.stamp(board);
      const stamp = { board, time, calibration: `${board} sheet ${time}` };
      const { plan, readings, sheet } = read;
      await this.#desk.append(
        {
          ...stamp,
          kind: 'calibration entered',
          plan,
          sheet: { ...sheet, ...source, ...(boardName !== undefined && { boardName }) },
        },
        ...readings.map((reading): Entry => ({ ...stamp, kind: 'reading entered', ...reading })),
      );
      isKept = true;
      await this.#parts.written(stamp.calibration);
      await this.#read(board, stamp.calibration);
      const n = readings.length;
      this.#desk.say(`${n === 1 ? 'One reading is' : `${n} readings are`} in the logbook.`);
    });
    return isKept;
  }

  fit(): Promise<void> {
    return this.#change(WORK.fit, () => fitCalibration(this.#desk, this.#parts.fitter));
  }

  /** Changes what readings count for, in one step that can be undone. */
  mark(wish: MarkWish): Promise<void> {
    return this.#change(MARKING, () => this.#marks.mark(wish));
  }

  undo(): Promise<void> {
    return this.#change(MARKING, () => this.#marks.undo());
  }

  redo(): Promise<void> {
    return this.#change(MARKING, () => this.#marks.redo());
  }

  /** Judges the calibration against this from now on. */
  chooseTolerance(tolerance: ToleranceChoice): Promise<void> {
    return this.#change(MARKING, async () => {
      const stamp = this.#desk.inCalibration();
      await this.#desk.append({ ...stamp, kind: 'tolerance chosen', ...tolerance });
      this.#desk.say(`Judged against ${toleranceName(tolerance)} from now on.`);
    });
  }

  #isInHand({ calibration }: Entry): boolean {
    return calibration !== undefined && this.#parts.isInHand(calibration);
  }

  async #read(board: string, calibration: string): Promise<void> {
    const entries = await this.#desk.entriesOf(board);
    this.#desk.change({ history: foldCalibration(entries, calibration) });
  }

  /** Changes the calibration that is opened as it is now: it may have gone on at the bench since it was opened. */
  async #change(work: Work, task: () => Promise<void>): Promise<void> {
    await this.#during(work, async () => {
      await this.#parts.ready();
      const { board, id } = this.#desk.calibration();
      if (this.#parts.isInHand(id)) throw new BenchError('in_hand');
      await this.#read(board, id);
      try {
        await task();
      } finally {
        await this.#parts.written(id);
      }
    });
  }

  /** Does something when all that was asked before it is done; what goes wrong is shown. */
  #during(work: Work, task: () => Promise<void>): Promise<void> {
    this.#pending++;
    this.#turn = this.#turn.then(async () => {
      this.#desk.change({ work }, 'trouble');
      try {
        await task();
      } catch (error) {
        this.#desk.report(error);
      } finally {
        this.#pending--;
        this.#desk.change({}, 'work');
      }
    });
    return this.#turn;
  }
}

const MARKING: Work = { what: 'Writing to the logbook', stoppable: false };
