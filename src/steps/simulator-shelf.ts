import type { SimulatorSettings } from '../protocol/simulator.ts';
import type { Logbook, LogbookFault } from '../records/logbook.ts';
import { without } from './without.ts';

/** What is kept of the simulated board while the page is closed, as a real board would keep it itself. */
interface Kept {
  settings: SimulatorSettings;
  /** Image of its memory; absent for a board fresh from the bench. */
  memory?: Uint8Array;
  /** Serial number under which it is linked; absent while it is not. */
  linked?: string;
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
    this.#kept = { settings: defaults };
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
    this.#kept = { ...(another ? without(this.#kept, 'memory') : this.#kept), settings };
    await this.#keep();
    return settings;
  }

  async remember(linked: string | undefined): Promise<void> {
    this.#kept = { ...without(this.#kept, 'linked'), ...(linked !== undefined && { linked }) };
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
