import { VirtualClock } from '../../firmware-sim/clock.ts';
import { SimulatedBoard, type BoardOptions } from '../../firmware-sim/board.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { stopped, workplace, type Workplace } from '../../src/cli/board-link.ts';
import type { Outcome } from '../../src/cli/outcome.ts';
import type { Board } from '../../src/protocol/board.ts';
import type { ByteLink } from '../../src/protocol/link.ts';
import type { SimulatorSettings } from '../../src/protocol/simulator.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';

/** A simulated board on a virtual clock, and commands at it as a process would run them, one after the other. */
export class PlaceInProcess {
  readonly clock = new VirtualClock();
  readonly board: SimulatedBoard;
  readonly link: ByteLink;
  /** What the command at hand has said so far. */
  said = '';
  /** Called with each line that a command says, as it says it. */
  onSaid: (line: string) => void = () => {};

  constructor(settings: Partial<SimulatorSettings> = {}, options: BoardOptions = {}) {
    const made = inProcessBoard({ ...defaultSettings, ...settings }, this.clock, options);
    this.board = made.board;
    this.link = {
      label: made.link.label,
      open: (listener) => {
        if (!this.board.hasPower) this.board.restart(); // someone switches it on again
        return made.link.open(listener);
      },
      write: (bytes) => made.link.write(bytes),
      close: () => made.link.close(),
    };
  }

  /** Runs a command to its end. */
  async run(command: (place: Workplace) => Promise<Outcome>): Promise<Outcome & { said: string }> {
    this.said = '';
    const { place, end } = this.#place(new AbortController().signal);
    const done = (async () => {
      try {
        return await command(place);
      } catch (error) {
        return stopped(error);
      } finally {
        await end();
      }
    })();
    const outcome = await this.clock.run(done);
    return { ...outcome, said: `${this.said}${outcome.out ?? ''}${outcome.err ?? ''}` };
  }

  /** Runs a command until it says something that matches, and ends it there as Ctrl-C does. */
  async cutOff(pattern: RegExp, command: (place: Workplace) => Promise<Outcome>): Promise<void> {
    const stop = new AbortController();
    const { place, end } = this.#place(stop.signal);
    let isOver = false;
    this.onSaid = (line) => {
      if (!isOver && pattern.test(line)) {
        isOver = true;
        throw new Killed();
      }
    };
    const done = (async () => {
      try {
        await command(place);
      } catch (error) {
        if (!(error instanceof Killed)) throw error;
      } finally {
        await end();
      }
    })();
    await this.clock.run(done);
    this.onSaid = () => {};
    if (!isOver) throw new Error(`it ended without saying ${pattern}: ${this.said}`);
  }

  /** Does something with the board itself, over a link of its own. */
  async with<T>(task: (board: Board) => Promise<T>): Promise<T> {
    const { place, end } = this.#place(new AbortController().signal);
    return this.clock.run(
      (async () => {
        const value = await task(await place.link());
        await end();
        return value;
      })(),
    );
  }

  /** Takes so many readings. */
  take(count: number): Promise<void> {
    return this.with(async (board) => {
      await board.mode('collect');
      for (let taken = 0; taken < count; taken++) await board.capture();
      await board.mode('idle');
    });
  }

  #place(signal: AbortSignal) {
    return workplace({
      bytes: this.link,
      signal,
      clock: this.clock,
      say: (line) => {
        this.said += `${line}\n`;
        this.onSaid(line);
      },
    });
  }
}

/** Ends a command in the midst of it, as killing its process would. */
class Killed extends Error {
  override readonly name = 'Killed';
}
