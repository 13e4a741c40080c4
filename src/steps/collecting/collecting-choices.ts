import type { Logbook, LogbookFault } from '../../records/logbook.ts';

/** How a person wants to be told of readings without looking, and whether they are taken by themselves. Of this browser. */
export interface CollectingChoices {
  sounds: boolean;
  vibration: boolean;
  speech: boolean;
  /** Where several take readings in one room: each board's by a tone of its own, while the page of the workshop is shown. */
  boardTones: boolean;
  /** The reading is taken once the board has been held still at the aim. */
  byItself: boolean;
  /** How near the aim that is: the angle between the lines, degrees. */
  within: number;
  /** How long it must have been still there, seconds. */
  stillFor: number;
}

/** What there is to choose from. The lines of the customary plan are 35 degrees apart or more. */
export const WITHIN = [3, 6, 12] as const;
export const STILL_FOR = [1, 2, 4] as const;

/** How near the roll must be, degrees: a quarter turn is meant, and what it was is measured anyway. */
export const ROLL_WITHIN = 15;

/** Nothing is taken, said or shaken unasked but the short sound and the buzz of a reading. */
const DEFAULTS: CollectingChoices = {
  sounds: true,
  vibration: true,
  speech: false,
  boardTones: false,
  byItself: false,
  within: 6,
  stillFor: 2,
};

const KEY = 'collecting choices';

/** The choices, kept beside the logbook. */
export class KeptChoices {
  #chosen: Partial<CollectingChoices> = {};
  readonly #listeners = new Set<() => void>();

  /**
   * @param prefersCalm the person has asked the system for less motion: nothing shakes then unless they choose it here
   * @param onFault told when a choice could not be kept
   */
  constructor(
    private readonly logbook: Pick<Logbook, 'keep' | 'kept'>,
    private readonly prefersCalm: () => boolean,
    private readonly onFault: (fault: LogbookFault) => void,
  ) {}

  get now(): CollectingChoices {
    return { ...DEFAULTS, ...(this.prefersCalm() && { vibration: false }), ...this.#chosen };
  }

  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  async load(): Promise<void> {
    const kept = await this.logbook.kept(KEY); // only this class writes it
    this.#chosen = { ...(kept as Partial<CollectingChoices> | undefined), ...this.#chosen };
    this.#tell();
  }

  async choose(change: Partial<CollectingChoices>): Promise<void> {
    this.#chosen = { ...this.#chosen, ...change };
    this.#tell();
    const kept = await this.logbook.keep(KEY, this.#chosen);
    if (!kept.ok) this.onFault(kept);
  }

  #tell(): void {
    for (const listener of this.#listeners) listener();
  }
}
