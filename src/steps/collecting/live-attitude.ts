import type { Board } from '../../protocol/board.ts';
import type { Clock } from '../../protocol/clock.ts';
import { ProtocolError } from '../../protocol/errors.ts';
import { keptReadings } from '../calibration-state.ts';
import type { Desk } from '../desk.ts';
import type { Sight } from '../linking.ts';
import { pause } from '../pause.ts';
import { shownAim } from '../shown-aim.ts';
import { turnedByPerson } from './own-hand.ts';
import { attitudeNow, sourcesOf, type AttitudeNow, type Sensed } from './attitude-now.ts';
import { stillnessOf, type Stillness } from './stillness.ts';

/** One look at the sensors. */
export interface Look {
  /** When, on the clock, milliseconds. */
  at: number;
  /** Absent where nothing says how the counts become angles. */
  attitude?: AttitudeNow;
  stillness: Stillness;
  /** Since when it has been held still; absent while it moves. */
  stillSince?: number;
}

/** From one look to the next, milliseconds. */
export const LOOK_MS = 450;
/** The least rest between an answer and the next request, so that a slow board keeps half its time. */
const REST_MS = 200;
/** After a look that failed. */
const AFTER_FAULT_MS = 2500;
/** How long a look says something of now. */
export const FRESH_MS = 1500;
/** How many readings tell how much the samples scatter as a rule. */
const RECENT = 12;

export interface LiveAttitudeParts {
  desk: Desk;
  clock: Clock;
  sight: Sight;
  /** Anything is being done at this place, or waits to be. */
  isAtWork(): boolean;
  /** Called after every look. */
  looked(look: Look): void;
}

/**
 * Asks the board again and again how it is held, and shows that: as long as a person turns it, a calibration or its proof
 * wants a reading, nothing else is done at this place, the page can be seen, and somebody listens. One question at a time,
 * a few each second at most. What a look fails with is shown beside it: it is no trouble while the work is fine.
 */
export class LiveAttitude {
  readonly #parts: LiveAttitudeParts;
  readonly #listeners = new Set<() => void>();
  readonly #stopWatching: () => void;
  #look: Look | undefined;
  #fault: string | undefined;
  #sensed: { by: Board; at: number; what: Sensed } | undefined;
  /** The question under way. */
  #asking: AbortController | undefined;
  #stopTimer: (() => void) | undefined;
  /** Not before this moment. */
  #nextAt = 0;
  /** Ends the waiting for stillness. */
  #insist: AbortController | undefined;
  /** A board whose look this program could not deal with is left alone. */
  #spoilt: Board | undefined;

  constructor(parts: LiveAttitudeParts) {
    this.#parts = parts;
    this.#stopWatching = parts.sight.onSeen(() => this.wake());
  }

  /** The newest look; absent until there is one, and where none is wanted. */
  get look(): Look | undefined {
    return this.#look;
  }

  /** Why there is no newer one. */
  get fault(): string | undefined {
    return this.#fault;
  }

  /** The board is busy with a question of this. */
  get isAsking(): boolean {
    return this.#asking !== undefined;
  }

  /** Looks, and calls `listener` after every look, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    this.wake();
    return () => {
      this.#listeners.delete(listener);
      this.wake();
    };
  }

  /** Called after every change of what is so at the place: goes on looking, or ends it. */
  wake(): void {
    if (!this.#isWanted) this.#forget();
    if (!this.#mayLook) {
      this.#calm();
      return;
    }
    if (this.#asking || this.#stopTimer) return;
    const { clock } = this.#parts;
    this.#stopTimer = clock.after(Math.max(0, this.#nextAt - clock.now()), () => {
      this.#stopTimer = undefined;
      if (this.#mayLook) void this.#ask().then(() => this.wake());
    });
  }

  /**
   * Resolves once the board is held still: at once, unless the newest look saw it move. Where looking fails, where a
   * person insists, or asks to stop, it resolves too.
   */
  async untilStill(): Promise<void> {
    const { desk, clock } = this.#parts;
    const isMoving = () =>
      this.#look !== undefined &&
      !this.#look.stillness.still &&
      clock.now() - this.#look.at <= FRESH_MS;
    if (!isMoving()) return;
    const { work } = desk.state;
    desk.show({ what: 'Waiting until it is held still', stoppable: true, insist: INSIST });
    const insist = new AbortController();
    this.#insist = insist;
    const over = AbortSignal.any([insist.signal, desk.signal]);
    try {
      do {
        await pause(clock, Math.max(0, this.#nextAt - clock.now()), over);
        if (!over.aborted) await this.#ask(over);
      } while (!over.aborted && this.#fault === undefined && isMoving());
    } finally {
      this.#insist = undefined;
      if (work) desk.show(work);
    }
  }

  /** Nobody waits for stillness any more. */
  insist(): void {
    this.#insist?.abort();
  }

  /** This place is no more. */
  retire(): void {
    this.#stopWatching();
    this.#listeners.clear();
    this.#calm();
  }

  get #isWanted(): boolean {
    const { desk } = this.#parts;
    const { state } = desk;
    return (
      desk.board !== undefined &&
      state.link.state === 'linked' &&
      turnedByPerson(state) &&
      shownAim(state.history) !== undefined
    );
  }

  get #mayLook(): boolean {
    const { desk, sight, isAtWork } = this.#parts;
    return (
      this.#listeners.size > 0 &&
      this.#isWanted &&
      desk.board !== this.#spoilt &&
      !isAtWork() &&
      !sight.isHidden()
    );
  }

  /** Asks no more, and does not wait for the answer: what is waited for must not be slowed by it. */
  #calm(): void {
    this.#stopTimer?.();
    this.#stopTimer = undefined;
    if (!this.#insist) this.#asking?.abort();
  }

  #forget(): void {
    this.#sensed = undefined;
    if (!this.#look && this.#fault === undefined) return;
    this.#look = undefined;
    this.#fault = undefined;
    this.#tell();
  }

  async #ask(over?: AbortSignal): Promise<void> {
    const { desk, clock } = this.#parts;
    const { board } = desk;
    if (!board) return;
    const asking = new AbortController();
    this.#asking = asking;
    const begun = clock.now();
    try {
      const signal = over ? AbortSignal.any([asking.signal, over]) : asking.signal;
      const what = await board.sense(signal);
      this.#answered(asking);
      this.#nextAt = Math.max(begun + LOOK_MS, clock.now() + REST_MS);
      if (board === desk.board && this.#isWanted) this.#take(board, what);
    } catch (error) {
      this.#answered(asking);
      this.#nextAt = clock.now() + AFTER_FAULT_MS;
      this.#failed(board, error);
    }
  }

  /** A question that was given up may end only while the next is under way. */
  #answered(asking: AbortController): void {
    if (this.#asking === asking) this.#asking = undefined;
  }

  #failed(board: Board, error: unknown): void {
    if (!(error instanceof ProtocolError)) {
      this.#spoilt = board;
      this.#parts.desk.report(error);
      return;
    }
    if (error.cause === 'cancelled') {
      this.#nextAt = this.#parts.clock.now();
      return;
    }
    if (error.cause === 'link_closed' || error.cause === 'board_restarted') return; // the link tells of its end
    this.#look = undefined;
    this.#sensed = undefined;
    this.#fault = error.message;
    this.#tell();
  }

  #take(board: Board, what: Sensed): void {
    const { desk, clock, looked } = this.#parts;
    const at = clock.now();
    const { history } = desk.state;
    const last = this.#sensed;
    const before = last?.by === board && at - last.at <= FRESH_MS ? last.what : undefined;
    const recent = history.calibration
      ? keptReadings(history.calibration)
          .slice(-RECENT)
          .map(({ reading }) => reading)
      : [];
    const stillness = stillnessOf(what, before, board.identity, recent);
    const attitude = attitudeNow(what, sourcesOf(desk.state), board.identity);
    // one look alone cannot tell: a board swung steadily looks still to an accelerometer
    const since = before && stillness.still ? (this.#look?.stillSince ?? at) : undefined;
    this.#sensed = { by: board, at, what };
    this.#fault = undefined;
    this.#look = {
      at,
      ...(attitude && { attitude }),
      stillness,
      ...(since !== undefined && { stillSince: since }),
    };
    this.#tell();
    looked(this.#look);
  }

  #tell(): void {
    for (const listener of this.#listeners) listener();
  }
}

const INSIST = 'Take it anyway';
