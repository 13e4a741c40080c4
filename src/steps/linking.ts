import { linkBoard, type Board, type BoardNotice } from '../protocol/board.ts';
import type { Clock } from '../protocol/clock.ts';
import { ProtocolError } from '../protocol/errors.ts';
import type { ByteLink } from '../protocol/link.ts';
import type { SimulatorControl } from '../protocol/simulator.ts';
import { backWords, BenchError, otherBoardWords } from './bench-words.ts';
import { collectsNow, EMPTY_HISTORY } from './calibration-state.ts';
import { lookAfter } from './care/look-after.ts';
import type { Desk } from './desk.ts';
import { endOf, type LinkEnd } from './link-end.ts';
import type { KindName } from './link-help.ts';
import { pause } from './pause.ts';
import type { LinkState, Work } from './place-state.ts';
import { saveBoard } from './saving.ts';
import { settleRevert, settleSeal } from './sealing.ts';
import type { Taking } from './taking.ts';

/** A simulated board: its byte link, and the hand and knobs beside it. */
export interface SimulatedBoard {
  link: ByteLink;
  control: SimulatorControl;
  /** Ends it and frees what it holds; the link ends with it. */
  end(): void;
}

/** A link that a place was given. */
export interface Tie {
  kind: KindName;
  link: ByteLink;
  /** Of a board behind an address. */
  address?: string;
  /** Behind a link that leads to one. */
  simulated?: SimulatedBoard;
}

/** Whether a person can see the page. While nobody can, browsers stop timers and links. */
export interface Sight {
  isHidden(): boolean;
  /** Calls `listener` whenever the page is seen again, until the returned function is called. */
  onSeen(listener: () => void): () => void;
}

export interface LinkingParts {
  clock: Clock;
  /** A fresh random number in [0, 1). */
  random(): number;
  sight: Sight;
  /**
   * Whether this place may have the board that answered. Where not, another place has it.
   *
   * @param asked a person asked for this link, and is told of the other place
   */
  mayHave(serial: string, asked: boolean): boolean;
  /** What is at this place has changed, and is to be kept for when the page is opened again. */
  keep(): Promise<void>;
}

/** Each line that crosses the link, without its LF; and when the link ends by itself, why. */
export type WireListener = (what: 'to_board' | 'from_board' | 'ended', text: string) => void;

/** Does something in its turn, without a person having asked; what goes wrong is the task's own business. */
type Later = (work: Work | undefined, task: () => Promise<void>) => void;

/** How long to wait before each attempt to make a lost link again, milliseconds. */
const RETRY_MS = [250, 500, 750] as const;

/** How long a board takes to start again (SPEC.md, section 4.4), milliseconds. */
const STARTING_MS = 2000;

const RELINKING: Work = { what: 'Linking again', stoppable: true };

/**
 * The link of one place: made, lost, made again; whatever is on the board is saved each time. Nothing here asks a board
 * now and then whether it is still there: that would keep it awake, and fail whenever the tab is hidden.
 */
export class Linking {
  #tie: Tie | undefined;
  readonly #wire = new Set<WireListener>();
  /** Ends the waiting for the system to say that the board is there again. */
  #stopListening = () => {};
  /** Takes back the next attempt to make the link again. */
  #stopTimer = () => {};
  readonly #stopWatching: () => void;
  /** The board is lent out, or starts again, and will be linked again: it is this place's all the while. */
  #isBusy = false;

  constructor(
    private readonly desk: Desk,
    private readonly taking: Taking,
    private readonly parts: LinkingParts,
    private readonly later: Later,
    private readonly noticed: (notice: BoardNotice) => void,
  ) {
    this.#stopWatching = parts.sight.onSeen(() => this.#seen());
  }

  /** The link that this place has, standing or not. */
  get tie(): Tie | undefined {
    return this.#tie;
  }

  /** There is a conversation with the board, or was and will be. */
  get hasBoard(): boolean {
    return this.desk.board !== undefined || this.#isBusy;
  }

  /** Calls `listener` with every line from now on, until the returned function is called. */
  onWire(listener: WireListener): () => void {
    this.#wire.add(listener);
    return () => this.#wire.delete(listener);
  }

  /** Takes a link in place of the one that was here. */
  take(tie: Tie): void {
    if (tie.link !== this.#tie?.link) this.#letGo();
    this.#tie = tie;
    this.desk.hand = tie.simulated?.control;
  }

  /**
   * Links, or links again, and saves what is on the board.
   *
   * @param only serial numbers of the boards that will do, where no person asked for whichever is there
   * @throws BenchError `going_back`; ProtocolError, which is `link_refused` where another board answered than will do
   */
  async link(only?: readonly string[]): Promise<void> {
    const { desk } = this;
    this.#calm();
    await this.#close();
    const tie = this.#tie;
    if (!tie) throw new Error('this place has no link');
    const { kind, link } = tie;
    const { label } = link;
    const { signal } = desk;
    const { link: before, history } = desk.state;
    desk.change({ link: { state: 'linking', kind, label } });
    this.taking.holdBack();
    let board: Board | undefined;
    try {
      board = await this.#open(tie, only);
      if (!board) {
        this.#giveUp(before, tie);
        if (!history.identity) this.#letGo(); // another place has its board
        return;
      }
      await desk.recollect(board.identity.serial);
      this.taking.startAfter(await saveBoard(desk, board, label));
      await settleSeal(desk, board);
      await settleRevert(desk, board);
      await lookAfter(desk, board, this.parts.clock);
      if (collectsNow(desk.state.history)) await board.mode('collect', desk.signal);
    } catch (thrown) {
      const error = signal.aborted ? asWished(thrown) : thrown;
      if (board && desk.board !== board) throw error; // it was lost, which was told, and is being made again
      await this.#close();
      this.#giveUp({ ...before, end: endAfter(before, error, kind) }, tie);
      if (isGoingBack(error)) this.#tryAgain();
      throw error;
    }
    await this.parts.keep();
    if (desk.board !== board) return; // lost again meanwhile, and that was said
    desk.change({ link: { state: 'linked', kind, label } });
    const earlier = history.identity;
    if (earlier && earlier.serial !== board.identity.serial) {
      desk.say(otherBoardWords(earlier, board.identity));
    }
  }

  /** Ends the link; the place is empty then. */
  async unlink(): Promise<void> {
    this.#calm();
    await this.#close();
    this.#letGo();
    this.desk.change({ link: { state: 'none' }, history: EMPTY_HISTORY });
    await this.parts.keep();
  }

  /** Ends the link for good: this place is no more. */
  async retire(): Promise<void> {
    this.#stopWatching();
    this.#calm();
    const tie = this.#tie;
    this.#tie = undefined; // at once: the link may be being made
    await this.#close();
    tie?.simulated?.end();
  }

  /**
   * Ends the conversation, if there is one, and lends the link out; whatever becomes of the loan, it is linked again
   * where there was a conversation.
   *
   * @param task must leave the link closed
   */
  lend(task: (link: ByteLink) => Promise<void>): Promise<void> {
    return this.#busyWith(() => this.#lend(task));
  }

  async #lend(task: (link: ByteLink) => Promise<void>): Promise<void> {
    const tie = this.#tie;
    if (!tie) throw new Error('no board is linked');
    const stood = this.desk.board !== undefined;
    await this.#close();
    try {
      await task(tie.link);
    } finally {
      if (stood) {
        this.desk.startAfresh(); // whoever stopped the task wants the board back all the same
        await this.link(this.#own());
      }
    }
  }

  /**
   * Ends the conversation with a board that starts again, and links as soon as it is there.
   *
   * @param ms how long to try
   * @param isThrough whether what was waited for has come with the link; if not, it is linked again
   * @throws what the last attempt failed with; BenchError `going_back`, ProtocolError
   */
  linkThrough(ms: number, isThrough: () => boolean = () => true): Promise<void> {
    return this.#busyWith(() => this.#linkThrough(ms, isThrough));
  }

  async #linkThrough(ms: number, isThrough: () => boolean): Promise<void> {
    const { desk } = this;
    const { clock } = this.parts;
    const end = clock.now() + ms;
    const { work } = desk.state;
    await this.#close();
    for (;;) {
      await pause(clock, STARTING_MS, desk.signal);
      if (work) desk.show(work);
      try {
        await this.link(this.#own());
        if (isThrough()) break;
      } catch (error) {
        const isDown = error instanceof ProtocolError && error.cause !== 'cancelled';
        if (desk.signal.aborted || !(isDown || isGoingBack(error))) throw error;
        if (clock.now() >= end) throw error;
      }
      if (clock.now() >= end) break;
    }
    desk.change({}, 'trouble');
  }

  async #busyWith(task: () => Promise<void>): Promise<void> {
    this.#isBusy = true;
    try {
      await task();
    } finally {
      this.#isBusy = false;
    }
  }

  /** The one board that will do where a place gets its board back with nobody looking. */
  #own(): readonly string[] | undefined {
    const { identity } = this.desk.state.history;
    return identity && [identity.serial];
  }

  /** Begins the conversation. Gives nothing where another place has the board, and the person was told. */
  async #open(tie: Tie, only: readonly string[] | undefined): Promise<Board | undefined> {
    const board = await this.#hello(tie);
    const { serial } = board.identity;
    const isWanted = tie === this.#tie && (!only || only.includes(serial));
    const isHere = isWanted && this.parts.mayHave(serial, !only);
    tie.link.confirm?.(isHere);
    if (isHere) {
      this.desk.board = board;
      return board;
    }
    await this.#close(board);
    if (!only) return undefined;
    const reason = 'another board answered';
    throw new ProtocolError({ cause: 'link_refused', link: 'unreachable', reason });
  }

  #hello(tie: Tie): Promise<Board> {
    const { desk, taking } = this;
    return linkBoard(tie.link, {
      clock: this.parts.clock,
      random: this.parts.random,
      onReading: (reading) => taking.landed(reading),
      onEvent: (notice) => this.noticed(notice),
      onTrouble: (error) => desk.report(error),
      onLost: (error) => this.#lost(error, tie),
      onWire: (direction, line) => {
        if (direction === 'from_board') desk.heard();
        for (const listener of this.#wire) listener(direction, line);
      },
      signal: desk.signal,
    });
  }

  /**
   * The link could not be made: a place with a board keeps it, and may be lucky later; any other is empty again, and has
   * the link still, to find out what is the matter with it.
   */
  #giveUp({ end = 'failed', hidden }: Pick<LinkState, 'end' | 'hidden'>, tie: Tie): void {
    const { desk } = this;
    if (tie !== this.#tie) return; // the link was taken from this place meanwhile
    if (!desk.state.history.identity) {
      const { kind, link } = tie;
      desk.change({ link: { state: 'none', kind, label: link.label } });
      return;
    }
    this.#showLost(tie, end, hidden === true, tie.link.onReturn !== undefined);
    this.#awaitReturn(tie);
  }

  #lost(error: ProtocolError, tie: Tie): void {
    const { desk } = this;
    if (tie !== this.#tie) return; // as above
    desk.board = undefined;
    const why = 'reason' in error.fault ? error.fault.reason : error.message;
    for (const listener of this.#wire) listener('ended', why);
    this.#showLost(tie, endOf(error, tie.kind), this.parts.sight.isHidden(), true);
    desk.report(error);
    this.#awaitReturn(tie);
    this.#tryAgain();
  }

  #showLost({ kind, link }: Tie, end: LinkEnd, hidden: boolean, returns: boolean): void {
    this.desk.change({
      link: {
        state: 'lost',
        kind,
        label: link.label,
        end,
        ...(hidden && { hidden }),
        ...(returns && { returns }),
      },
    });
  }

  // Coming back

  /** Tries again whenever the system says that the board is there. */
  #awaitReturn({ link }: Tie): void {
    this.#stopListening();
    this.#stopListening = link.onReturn?.(() => this.#tryAgain()) ?? (() => {});
  }

  #tryAgain([wait, ...rest]: readonly number[] = RETRY_MS): void {
    this.#stopTimer();
    const tie = this.#tie;
    if (!tie) return;
    if (wait === undefined) {
      const { end = 'failed', hidden } = this.desk.state.link;
      this.#showLost(tie, end, hidden === true, tie.link.onReturn !== undefined);
      return;
    }
    if (this.parts.sight.isHidden()) return; // until it is seen again
    this.#stopTimer = this.parts.clock.after(wait, () =>
      this.later(RELINKING, async () => {
        if (tie !== this.#tie || this.desk.state.link.state !== 'lost') return;
        await this.#attempt(tie, rest);
      }),
    );
  }

  async #attempt(tie: Tie, rest: readonly number[]): Promise<void> {
    const { desk } = this;
    const { end = 'failed', hidden } = desk.state.link;
    try {
      await this.link(this.#own());
    } catch (error) {
      if (desk.signal.aborted) return; // nobody wants any more of it
      if (!isTransient(error)) {
        desk.report(error);
        return;
      }
      this.#showLost(tie, end, hidden === true, true);
      this.#tryAgain(rest);
      return;
    }
    if (desk.state.link.state !== 'linked') return;
    const { said } = desk.state;
    desk.change({ said: [backWords(end), said].filter(Boolean).join(' ') }, 'trouble');
  }

  /** The page is seen again, after a time in which links may have ended unnoticed and timers stood still. */
  #seen(): void {
    const { desk } = this;
    const { state, end } = desk.state.link;
    if (state === 'lost' && end !== 'page closed') this.#tryAgain();
    if (state !== 'linked') return;
    const tie = this.#tie;
    this.later(undefined, async () => {
      try {
        await desk.board?.memory();
      } catch (error) {
        if (!(error instanceof ProtocolError) || error.cause !== 'no_answer') return; // its end was told
        await this.#close();
        if (tie) this.#lost(error, tie);
      }
    });
  }

  /** Waits for nothing any more. */
  #calm(): void {
    this.#stopTimer();
    this.#stopListening();
  }

  #letGo(): void {
    this.#calm();
    if (this.#tie && this.desk.state.ownHand) this.desk.change({}, 'ownHand');
    this.#tie?.simulated?.end();
    this.#tie = undefined;
    this.desk.hand = undefined;
  }

  /** Ends the conversation. What cannot be closed is told, and keeps nothing else from being done. */
  async #close(board = this.desk.board): Promise<void> {
    if (board === this.desk.board) this.desk.board = undefined;
    try {
      await board?.close();
    } catch (error) {
      this.desk.report(error);
    }
  }
}

/** What became of a link that could not be made: what is known from before, where the failure says nothing of it. */
function endAfter({ end }: LinkState, error: unknown, kind: KindName): LinkEnd {
  const now = error instanceof ProtocolError ? endOf(error, kind) : 'failed';
  return end && (now === 'failed' || now === 'stopped') ? end : now;
}

/** A link that says only that it was closed, where a person stopped it from being made: that is what they wished. */
function asWished(error: unknown): unknown {
  const isClosed =
    error instanceof ProtocolError && 'link' in error.fault && error.fault.link === 'closed';
  return isClosed ? new ProtocolError({ cause: 'cancelled', verb: 'hello', sent: false }) : error;
}

/** Whether the board starts again by itself, with other firmware. */
const isGoingBack = (error: unknown): boolean =>
  error instanceof BenchError && error.cause === 'going_back';

/** Whether an attempt that failed so may succeed a moment later. */
function isTransient(error: unknown): boolean {
  if (!(error instanceof ProtocolError)) return false;
  const { fault } = error;
  if (fault.cause === 'link_refused' || fault.cause === 'link_closed') {
    return !['not_permitted', 'no_rights', 'no_board', 'unsupported'].includes(fault.link);
  }
  return fault.cause === 'no_answer' || fault.cause === 'board_restarted';
}
