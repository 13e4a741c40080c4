import { linkBoard, type Board, type BoardReading } from '../protocol/board.ts';
import type { Clock } from '../protocol/clock.ts';
import type { ProtocolError } from '../protocol/errors.ts';
import type { ByteLink } from '../protocol/link.ts';
import type { SimulatorControl } from '../protocol/simulator.ts';
import { noticeWords } from './bench-words.ts';
import { EMPTY_HISTORY } from './calibration-state.ts';
import type { Desk } from './desk.ts';
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

export interface LinkingParts {
  clock: Clock;
  /** A fresh random number in [0, 1). */
  random(): number;
  /** Makes the simulated board anew, with the memory it had. */
  simulated(): Promise<SimulatedBoard>;
  /** The serial number of the board that is at this place from now on; absent where none is. */
  remember(serial: string | undefined): Promise<void>;
}

/** Each line that crosses the link, without its LF. */
export type WireListener = (direction: 'to_board' | 'from_board', line: string) => void;

/** The link of one place: made, lost, made again; whatever is on the board is saved each time. */
export class Linking {
  #simulated: SimulatedBoard | undefined;
  readonly #wire = new Set<WireListener>();

  constructor(
    private readonly desk: Desk,
    private readonly taking: Taking,
    private readonly parts: LinkingParts,
  ) {}

  /** Calls `listener` with every line from now on, until the returned function is called. */
  onWire(listener: WireListener): () => void {
    this.#wire.add(listener);
    return () => this.#wire.delete(listener);
  }

  /** Links, or links again, and saves what is on the board. */
  async link(): Promise<void> {
    const { desk } = this;
    await this.#close();
    this.#simulated ??= await this.parts.simulated();
    desk.hand = this.#simulated.control;
    const { link } = this.#simulated;
    desk.change({ link: { state: 'linking', label: link.label } });
    let board: Board;
    try {
      board = await this.#open(link);
      desk.board = board;
      await desk.recollect(board.identity.serial);
      this.taking.startAfter(await saveBoard(desk, board, link.label));
      await settleSeal(desk, board);
      await settleRevert(desk, board);
    } catch (error) {
      await this.#close();
      const known = desk.state.history.identity !== undefined;
      if (!known) this.#end();
      desk.change({ link: known ? { state: 'lost', label: link.label } : { state: 'none' } });
      throw error;
    }
    await this.parts.remember(board.identity.serial);
    if (desk.board !== board) return; // lost again meanwhile, and that was said
    desk.change({ link: { state: 'linked', label: link.label } });
  }

  /** Ends the link; the place is empty then. */
  async unlink(): Promise<void> {
    await this.#close();
    await this.parts.remember(undefined);
    this.#end();
    this.desk.change({ link: { state: 'none' }, history: EMPTY_HISTORY });
  }

  /**
   * Ends the conversation, lends the link out, and links again, whatever became of the loan.
   *
   * @param task must leave the link closed
   */
  async lend(task: (link: ByteLink) => Promise<void>): Promise<void> {
    const simulated = this.#simulated;
    if (!simulated) throw new Error('no board is linked');
    await this.#close();
    try {
      await task(simulated.link);
    } finally {
      await this.link();
    }
  }

  #open(link: ByteLink): Promise<Board> {
    const { desk, taking } = this;
    return linkBoard(link, {
      clock: this.parts.clock,
      random: this.parts.random,
      onReading: (reading: BoardReading) => taking.landed(reading),
      onEvent: (notice) => desk.say(noticeWords(notice)),
      onTrouble: (error) => desk.report(error),
      onLost: (error) => this.#lost(error),
      onWire: (direction, line) => {
        for (const listener of this.#wire) listener(direction, line);
      },
      signal: desk.signal,
    });
  }

  #lost(error: ProtocolError): void {
    const { desk } = this;
    desk.board = undefined;
    const { label } = desk.state.link;
    desk.change({ link: { state: 'lost', ...(label !== undefined && { label }) } });
    desk.report(error);
  }

  #end(): void {
    this.#simulated?.end();
    this.#simulated = undefined;
    this.desk.hand = undefined;
  }

  async #close(): Promise<void> {
    const { board } = this.desk;
    this.desk.board = undefined;
    await board?.close();
  }
}
