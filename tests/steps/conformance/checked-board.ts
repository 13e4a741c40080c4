import type { BoardOptions, SimulatedBoard } from '../../../firmware-sim/board.ts';
import { VirtualClock } from '../../../firmware-sim/clock.ts';
import { FaultyLink, type FaultName } from '../../../firmware-sim/faulty.ts';
import { randomStream } from '../../../firmware-sim/random.ts';
import { defaultSettings } from '../../../firmware-sim/settings.ts';
import { readSettings } from '../../../src/protocol/board-care.ts';
import { linkBoard, type Board } from '../../../src/protocol/board.ts';
import type { ByteLink } from '../../../src/protocol/link.ts';
import type { Report } from '../../../src/steps/conformance/report.ts';
import { checkConformance, type ConformanceOptions } from '../../../src/steps/conformance/run.ts';
import { inProcessBoard } from '../../../src/transport/in-process.ts';
import { plainSet } from '../../firmware-sim/terminal.ts';

/** A simulated board on a virtual clock, to be checked, with someone at it who does what they are asked. */
export class CheckedBoard {
  readonly clock = new VirtualClock();
  readonly board: SimulatedBoard;
  readonly link: ByteLink;
  readonly random = randomStream(7, 'host').uniform;

  constructor(options: BoardOptions = {}, settings = defaultSettings) {
    const { board, link } = inProcessBoard(settings, this.clock, options);
    this.board = board;
    this.link = link;
  }

  /** Everything is agreed to, and someone is there to restart it and press its trigger, unless told otherwise. */
  check(options: Partial<ConformanceOptions> & { fault?: FaultName } = {}): Promise<Report> {
    const { fault, ...rest } = options;
    const link = fault ? new FaultyLink(this.link, fault, this.clock) : this.link;
    return this.clock.run(
      checkConformance(link, {
        clock: this.clock,
        random: this.random,
        consents: { readings: true, seal: true, firstSeal: true, settings: true, restart: true },
        hands: {
          press: () => this.board.press(),
        },
        ...rest,
      }),
    );
  }

  /** Does something with the board as a bench does, over a sound link. */
  as<T>(work: (board: Board) => Promise<T>): Promise<T> {
    const whole = async () => {
      const linked = await linkBoard(this.link, {
        clock: this.clock,
        random: this.random,
        onReading: () => {},
        onLost: (error) => {
          throw error;
        },
      });
      try {
        return await work(linked);
      } finally {
        await linked.close();
      }
    };
    return this.clock.run(whole());
  }

  /** Two sets are sealed on it, as on a board in use. */
  async inUse(): Promise<this> {
    await this.as(async (board) => {
      await board.seal(0, await board.stage(plainSet({ 2: 0.01 })));
      await board.seal(1, await board.stage(plainSet({ 2: 0.02, 15: 0.1 })));
    });
    return this;
  }

  /** What is kept on it, apart from numbers that only ever go up. */
  kept() {
    return this.as(async (board) => {
      const { count } = await board.memory();
      const inForce = await board.coefficients('in_force');
      const previous = await board.coefficients('previous');
      const { name } = board.identity;
      const values = board.identity.capabilities.includes('settings')
        ? (await readSettings(board)).settings.map(({ value }) => value)
        : [];
      return { count, inForce: inForce?.crc, previous: previous?.crc, name, values };
    });
  }
}

/** The names of the checks that ended so. */
export const named = (report: Report, outcome: Report['checks'][number]['outcome']): string[] =>
  report.checks.filter((check) => check.outcome === outcome).map(({ name }) => name);
