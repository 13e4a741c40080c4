import type { SimulatorSettings } from '../protocol/simulator.ts';
import type { Logbook, LogbookFault } from '../records/logbook.ts';

/**
 * What is kept of simulated boards while the page is closed, as real boards would keep it themselves: their memories, and
 * how the one that was set last was set.
 */

const KEY = 'simulated board';
const SETTINGS_KEY = `${KEY}, settings`;

/** What makes one simulated board another. */
const boardKey = ({ seed, accMounting, magMounting, hasRange }: SimulatorSettings): string =>
  `${KEY} ${seed} ${accMounting} ${magMounting}${hasRange ? ' range' : ''}, memory`;

/** Whether both settings make the same board. */
export const isSameBoard = (a: SimulatorSettings, b: SimulatorSettings): boolean =>
  boardKey(a) === boardKey(b);

export class SimulatorShelf {
  #settings: SimulatorSettings;

  /** @param onFault told when something could not be kept */
  constructor(
    private readonly logbook: Logbook,
    defaults: SimulatorSettings,
    private readonly onFault: (fault: LogbookFault) => void,
  ) {
    this.#settings = defaults;
  }

  /** How a simulated board was set last. */
  get settings(): SimulatorSettings {
    return this.#settings;
  }

  async load(): Promise<void> {
    const kept = await this.logbook.kept(SETTINGS_KEY); // only this class writes it
    this.#settings = { ...this.#settings, ...(kept as SimulatorSettings | undefined) };
  }

  async set(settings: SimulatorSettings): Promise<void> {
    this.#settings = settings;
    await this.#keep(SETTINGS_KEY, settings);
  }

  /** As it was set last, but another board than any of those that are taken. */
  free(taken: readonly SimulatorSettings[]): SimulatorSettings {
    let settings = this.#settings;
    while (taken.some((other) => isSameBoard(other, settings))) {
      settings = { ...settings, seed: (settings.seed + 1) % 2 ** 32 };
    }
    return settings;
  }

  /**
   * The memory that a board so set starts with, none for one fresh from the maker, and where it puts every later image.
   * A board that is put back on the shelf keeps its memory: numbers it gave are not given again.
   */
  async memoryOf(
    settings: SimulatorSettings,
  ): Promise<{ saved?: Uint8Array; onMemory(image: Uint8Array): Promise<void> }> {
    const key = boardKey(settings);
    const saved = (await this.logbook.kept(key)) as Uint8Array | undefined; // only this class writes it
    return {
      ...(saved && { saved }),
      onMemory: (image) => this.#keep(key, image),
    };
  }

  async #keep(key: string, value: unknown): Promise<void> {
    const result = await this.logbook.keep(key, value);
    if (!result.ok) this.onFault(result);
  }
}
