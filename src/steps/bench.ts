import type { Clock } from '../protocol/clock.ts';
import type { SimulatorSettings } from '../protocol/simulator.ts';
import { LogbookError, type Logbook } from '../records/logbook.ts';
import { BenchError } from './bench-words.ts';
import type { Fitter } from './fitting.ts';
import type { SimulatedBoard } from './linking.ts';
import { BenchPlace } from './place.ts';
import { SimulatorShelf } from './simulator-shelf.ts';

export type { SimulatedBoard } from './linking.ts';

export interface BenchParts {
  logbook: Logbook;
  fitter: Fitter;
  /**
   * Takes the logbook's bench for this page until the page closes; resolves with whether it did. Absent where no other
   * page can be.
   */
  hold?(): Promise<boolean>;
  simulator: {
    defaults: SimulatorSettings;
    /** Rejects settings that no simulated board can have, with a RangeError that says why. */
    check(settings: SimulatorSettings): void;
    /** @param saved image of its memory, as `onMemory` gave it */
    make(
      settings: SimulatorSettings,
      memory: { saved?: Uint8Array; onMemory(image: Uint8Array): void },
    ): SimulatedBoard;
  };
  clock: Clock;
  /** A fresh random number in [0, 1). */
  random(): number;
  /** The time of day, for the logbook. */
  today(): Date;
}

/** The bench of this page: the places at it, and which of them is at hand. */
export class Bench {
  readonly #parts: BenchParts;
  readonly #listeners = new Set<() => void>();
  readonly #shelf: SimulatorShelf;
  readonly #places: readonly BenchPlace[];
  /** Whether this page has the bench, and has taken up what was kept. */
  #held = false;

  constructor(parts: BenchParts) {
    this.#parts = parts;
    this.#shelf = new SimulatorShelf(parts.logbook, parts.simulator.defaults, (fault) =>
      this.atHand.report(new LogbookError(fault)),
    );
    this.#places = [this.#place()];
  }

  /** Every place, one board at each; one of them may be empty. */
  get places(): readonly BenchPlace[] {
    return this.#places;
  }

  /** The place that the screen shows. */
  get atHand(): BenchPlace {
    return this.#places[0]!;
  }

  /** Calls `listener` after every change of state of any place, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Takes up the work where it was when the page closed. */
  async open(): Promise<void> {
    const place = this.atHand;
    await place.during({ what: 'Linking', stoppable: true }, async () => {
      if (place.state.history.identity) await place.link();
    });
  }

  /** Sets the simulated board: at once where it is linked, else when it will be. */
  async adjustSimulator(change: Partial<SimulatorSettings>): Promise<void> {
    const place = this.atHand;
    await place.during({ what: 'Setting the simulated board', stoppable: false }, async () => {
      const wanted = { ...this.#shelf.settings, ...change };
      try {
        this.#parts.simulator.check(wanted);
      } catch (error) {
        if (!(error instanceof RangeError)) throw error;
        throw new BenchError('bad_setting', error.message);
      }
      // the one that is linked goes back on the shelf with its memory
      if (this.#shelf.makesAnother(change)) await place.clear();
      await place.adjust(change);
      const simulator = await this.#shelf.set(change);
      place.show({ simulator, said: 'The simulated board is set.' });
    });
  }

  #place(): BenchPlace {
    const { logbook, fitter, clock, random, today, simulator } = this.#parts;
    const shelf = this.#shelf;
    return new BenchPlace(
      {
        logbook,
        fitter,
        clock,
        random,
        today,
        ready: () => this.#hold(),
        simulated: async () => simulator.make(shelf.settings, await shelf.memory()),
        remember: (serial) => shelf.remember(serial),
        changed: () => {
          for (const listener of this.#listeners) listener();
        },
      },
      shelf.settings,
    );
  }

  /** Takes the bench for this page, and up what was kept of it. */
  async #hold(): Promise<void> {
    if (this.#held) return;
    const { hold } = this.#parts;
    if (hold && !(await hold())) throw new BenchError('held_elsewhere');
    const { settings, linked } = await this.#shelf.load();
    this.atHand.show({ simulator: settings });
    if (linked !== undefined) await this.atHand.recollect(linked);
    this.#held = true;
  }
}
