import type { SimulatorSettings } from '../protocol/simulator.ts';
import type { Logbook, LogbookFault } from '../records/logbook.ts';

/** What is kept of the simulated board while the page is closed, as a real board would keep it itself. */
interface Kept {
  settings: SimulatorSettings;
  /** Image of its memory; absent for a board fresh from the bench. */
  memory?: Uint8Array;
  linked: boolean;
}

const KEY = 'simulated board';

/** A change of any of these makes another board, with an empty memory. */
const MAKES_ANOTHER: readonly (keyof SimulatorSettings)[] = ['seed', 'accMounting', 'magMounting'];

export class SimulatorShelf {
  #kept: Kept;

  /** @param onFault told when the memory image could not be kept */
  constructor(
    private readonly logbook: Logbook,
    defaults: SimulatorSettings,
    private readonly onFault: (fault: LogbookFault) => void,
  ) {
    this.#kept = { settings: defaults, linked: false };
  }

  get settings(): SimulatorSettings {
    return this.#kept.settings;
  }

  async load(): Promise<Kept> {
    const kept = (await this.logbook.kept(KEY)) as Kept | undefined; // only this class writes it
    if (kept) {
      this.#kept = { ...kept, settings: { ...this.#kept.settings, ...kept.settings } };
    }
    return this.#kept;
  }

  async set(change: Partial<SimulatorSettings>): Promise<SimulatorSettings> {
    const settings = { ...this.#kept.settings, ...change };
    const another = MAKES_ANOTHER.some((name) => settings[name] !== this.#kept.settings[name]);
    const { memory, linked } = this.#kept;
    this.#kept = { settings, linked, ...(memory && !another && { memory }) };
    await this.#keep();
    return settings;
  }

  async remember(linked: boolean): Promise<void> {
    this.#kept = { ...this.#kept, linked };
    await this.#keep();
  }

  /** The memory that a simulated board starts with, and where it puts every later image. */
  memory(): { saved?: Uint8Array; onMemory(image: Uint8Array): void } {
    const { memory } = this.#kept;
    return {
      ...(memory && { saved: memory }),
      onMemory: (image) => {
        this.#kept = { ...this.#kept, memory: image };
        void this.#keep();
      },
    };
  }

  async #keep(): Promise<void> {
    const result = await this.logbook.keep(KEY, this.#kept);
    if (!result.ok) this.onFault(result);
  }
}
