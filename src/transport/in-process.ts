import { type BoardOptions, type Port, SimulatedBoard } from '../../firmware-sim/board.ts';
import type { Clock } from '../protocol/clock.ts';
import { LinkError, type ByteLink, type LinkListener } from '../protocol/link.ts';
import type { SimulatorControl, SimulatorSettings } from '../protocol/simulator.ts';

/** A link to a simulated board that runs in the same thread, on whatever clock it is given. */
class InProcessLink implements ByteLink {
  readonly label = 'simulated board';
  #port: Port | undefined;

  constructor(private readonly board: SimulatedBoard) {}

  async open(listener: LinkListener): Promise<void> {
    this.#port = this.board.connect({
      bytes: (chunk) => listener.bytes(chunk),
      closed: (end) => {
        this.#port = undefined;
        listener.closed(end);
      },
    });
  }

  async write(bytes: Uint8Array): Promise<void> {
    if (!this.#port) throw new LinkError('closed', 'the link to the simulated board is closed');
    this.#port.send(bytes.slice());
  }

  async close(): Promise<void> {
    this.#port?.close();
    this.#port = undefined;
  }
}

/**
 * A simulated board without a worker: for tests on a virtual clock, and for the command line.
 *
 * @returns its link and its controls, and the board itself for what only a test does to it (power, oddities)
 * @throws RangeError for a setting out of its range
 */
export function inProcessBoard(
  settings: SimulatorSettings,
  clock: Clock,
  options: BoardOptions = {},
): { link: ByteLink; control: SimulatorControl; board: SimulatedBoard } {
  const board = new SimulatedBoard(settings, clock, options);
  return { link: new InProcessLink(board), control: board, board };
}
