import 'fake-indexeddb/auto';
import { IDBFactory } from 'fake-indexeddb';
import { VirtualClock } from '../protocol/virtual-clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import type { SimulatedBoard } from '../../firmware-sim/board.ts';
import type { SimulatorSettings } from '../../src/protocol/simulator.ts';
import { openLogbook, type Logbook } from '../../src/records/logbook.ts';
import { Bench } from '../../src/steps/bench.ts';
import type { BenchState } from '../../src/steps/bench-state.ts';
import type { CalibrationState } from '../../src/steps/calibration-state.ts';
import { runFit } from '../../src/steps/fitting.ts';
import type { Intention } from '../../src/steps/next-step.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';

/** A whole bench without a browser: the real simulated board on a virtual clock, and a logbook in memory. */
export class BenchInProcess {
  bench!: Bench;
  /** The board behind the link, for what only a test does to it. */
  board!: SimulatedBoard;
  /** Called as soon as the board has changed what it keeps, before it says so. */
  onMemory: () => void = () => {};
  readonly #indexedDB = new IDBFactory();
  readonly #clock = new VirtualClock();
  #logbook!: Logbook;

  private constructor(private readonly settings: SimulatorSettings) {}

  static async opened(settings: Partial<SimulatorSettings> = {}): Promise<BenchInProcess> {
    const bench = new BenchInProcess({ ...defaultSettings, ...settings });
    await bench.reload();
    return bench;
  }

  /** As when the page is closed at this moment and opened again. */
  async reload(): Promise<void> {
    this.#logbook?.close();
    const logbook = await openLogbook({ indexedDB: this.#indexedDB });
    if (!logbook.ok) throw new Error(logbook.message);
    this.#logbook = logbook;
    let conversations = 0;
    this.bench = new Bench({
      logbook,
      fitter: async (request) => runFit(request),
      simulator: {
        defaults: this.settings,
        make: (settings, memory) => {
          const made = inProcessBoard(settings, this.#clock, {
            ...memory,
            onMemory: (image) => {
              memory.onMemory(image);
              this.onMemory();
            },
          });
          this.board = made.board;
          return { ...made, end: () => {} };
        },
      },
      clock: this.#clock,
      random: () => ++conversations / 1000,
      today: () => new Date(Date.UTC(2031, 4, 1) + this.#clock.now()),
    });
    await this.#clock.until(this.bench.open());
  }

  get state(): BenchState {
    return this.bench.state;
  }

  get calibration(): CalibrationState {
    const { calibration } = this.state.history;
    if (!calibration) throw new Error('no calibration was begun');
    return calibration;
  }

  /** Asks for one thing after the other, waiting for each. */
  async ask(...intentions: Intention[]): Promise<void> {
    for (const intention of intentions) await this.#clock.until(this.bench.perform(intention));
  }

  /** Waits for whatever was asked of the bench or the board. */
  run<T>(work: Promise<T>): Promise<T> {
    return this.#clock.until(work);
  }

  /** Lets time pass. */
  pass(milliseconds: number): Promise<void> {
    return this.#clock.run(milliseconds);
  }

  logbook(): Promise<readonly { kind: string }[]> {
    return this.#logbook.entriesOfBoard(this.state.history.identity!.serial);
  }
}
