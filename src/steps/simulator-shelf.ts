import type { SimulatorSettings } from '../protocol/simulator.ts';
import type { Logbook, LogbookFault } from '../records/logbook.ts';
import { without } from './copy-without.ts';

/** What is kept of the simulated board while the page is closed, as a real board would keep it itself. */
interface Kept {
  settings: SimulatorSettings;
  /** Serial number under which it is linked; absent while it is not. */
  linked?: string;
}

const KEY = 'simulated board';

/** Where the memory of the board that these settings make is kept: other settings may make another board. */
const memoryKey = ({ seed, accMounting, magMounting }: SimulatorSettings): string =>
  `${KEY} ${seed} ${accMounting} ${magMounting}, memory`;

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
    this.#kept = { ...this.#kept, settings };
    await this.#keep(KEY, this.#kept);
    return settings;
  }

  async remember(linked: string | undefined): Promise<void> {
    this.#kept = { ...without(this.#kept, 'linked'), ...(linked !== undefined && { linked }) };
    await this.#keep(KEY, this.#kept);
  }

  /** Whether the change makes another board of the one that is set. */
  makesAnother(change: Partial<SimulatorSettings>): boolean {
    const { settings } = this.#kept;
    return memoryKey({ ...settings, ...change }) !== memoryKey(settings);
  }

  /**
   * The memory that the board as it is set starts with, none for one fresh from the maker, and where it puts every
   * later image. A board that is put back on the shelf keeps its memory: numbers it gave are not given again.
   */
  async memory(): Promise<{ saved?: Uint8Array; onMemory(image: Uint8Array): void }> {
    const key = memoryKey(this.#kept.settings);
    const saved = (await this.logbook.kept(key)) as Uint8Array | undefined; // only this class writes it
    return {
      ...(saved && { saved }),
      onMemory: (image) => void this.#keep(key, image),
    };
  }

  async #keep(key: string, value: unknown): Promise<void> {
    const result = await this.logbook.keep(key, value);
    if (!result.ok) this.onFault(result);
  }
}
