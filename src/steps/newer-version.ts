/** A newer version of the page: that it is here, and when a person may take it into use. */

export interface VersionParts {
  /** Which version this page is. */
  current: string;
  /** Says to all other pages whether this one is in the midst of something. */
  setBusy(busy: boolean): void;
  /** How many other pages of ours are open, and how many of them are in the midst of something. */
  others(): Promise<OtherPages>;
  /** Puts the newer version in the place of this one; `taken` is called in every page then. */
  take(): void;
  /** Loads this page anew. */
  reload(): void;
}

/** Why a page must not be loaded anew: it does something, or keeps something in its memory alone. */
export type Busy = 'at work' | 'in memory';

const BUSY_WORDS: Record<Busy, string> = {
  'at work': 'It waits until what is being done here is done.',
  'in memory':
    'It waits until there is room on the disk: some of the logbook is in the memory of this page alone, and would be lost.',
};

export interface OtherPages {
  pages: number;
  busy: number;
}

/** What is to be shown; nothing while there is no newer version. */
export interface VersionNotice {
  heading: string;
  words: string;
  /** It may be used now. */
  offer?: string;
}

/**
 * Holds a newer version back until a person asks for it, and does not offer it while any page is in the midst of
 * something: a page that is loaded anew loses what it does, and one that is not may miss its old files.
 */
export class NewerVersion {
  readonly #parts: VersionParts;
  readonly #listeners = new Set<() => void>();
  #isHere = false;
  #isTaken = false;
  #busy: Busy | undefined;
  #others: OtherPages = { pages: 0, busy: 0 };

  constructor(parts: VersionParts) {
    this.#parts = parts;
  }

  get current(): string {
    return this.#parts.current;
  }

  get notice(): VersionNotice | undefined {
    if (this.#isTaken) {
      return {
        heading: 'A newer version is in use',
        words:
          'It was taken into use in another tab. This page is loaded anew as soon as what is being done here is done.',
      };
    }
    if (!this.#isHere) return undefined;
    const heading = 'A newer version is here';
    if (this.#busy) return { heading, words: BUSY_WORDS[this.#busy] };
    const { pages, busy } = this.#others;
    if (busy > 0) {
      return { heading, words: 'It waits until what is being done in another tab is done.' };
    }
    const too =
      pages === 0 ? '' : ` So ${pages === 1 ? 'is the other tab' : 'are the other tabs'}.`;
    return {
      heading,
      words: `This page is loaded anew, and the work stands where it was.${too} What is typed and not yet sent is lost.`,
      offer: 'Use it now',
    };
  }

  /** Calls `listener` after every change, until the returned function is called. */
  subscribe(listener: () => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** This page is in the midst of something, or, with nothing given, no longer. */
  setBusy(busy?: Busy): void {
    if (busy === this.#busy) return;
    this.#busy = busy;
    this.#parts.setBusy(busy !== undefined);
    if (this.#isTaken && !busy) this.#parts.reload();
    else void this.look();
  }

  /** A newer version is loaded and waits. */
  found(): void {
    this.#isHere = true;
    void this.look();
  }

  /** The newer version was put in the place of this one, from whichever page. */
  taken(): void {
    this.#isTaken = true;
    if (this.#busy) this.#tell();
    else this.#parts.reload();
  }

  /** Looks at what the other pages do. */
  async look(): Promise<void> {
    if (this.#isHere) this.#others = await this.#parts.others();
    this.#tell();
  }

  /** Takes the newer version into use, if nothing is being done anywhere. */
  async use(): Promise<void> {
    await this.look(); // another page may have begun something since
    if (this.notice?.offer) this.#parts.take();
  }

  #tell(): void {
    for (const listener of this.#listeners) listener();
  }
}
