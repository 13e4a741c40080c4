import type { Desk } from './desk.ts';

/** A change of what is set aside, and how a person would name it. */
interface Change {
  words: string;
  reading: string;
  /** The mark the reading had before; absent where it had none. */
  before?: Mark;
}

interface Mark {
  reason: string;
  by: 'person' | 'fit';
}

/** Readings left out of the fit and put back, and the way back from both. */
export class Marks {
  #changes: Change[] = [];

  constructor(private readonly desk: Desk) {}

  /** Leaves a reading out of the fit, with the reason kept. */
  setAside(reading: string, reason: string): Promise<void> {
    return this.#mark({ words: `set reading ${reading} aside`, reading }, { reason, by: 'person' });
  }

  /** Puts a reading that was set aside back into the fit. */
  takeBack(reading: string): Promise<void> {
    const { readings } = this.desk.calibration();
    const before = readings.find((row) => row.id === reading)?.setAside;
    const words = `take reading ${reading} back`;
    return this.#mark({ words, reading, ...(before && { before }) }, undefined);
  }

  async undo(): Promise<void> {
    const change = this.#changes.pop();
    if (!change) return;
    await this.#write(change.reading, change.before);
    const before = this.#changes.at(-1);
    const said = `Undone: ${change.words}.`;
    if (before) this.desk.change({ undo: before.words, said });
    else this.desk.change({ said }, 'undo');
  }

  /** Nothing that was marked until now can be undone any more. */
  forget(): void {
    this.#changes = [];
    this.desk.change({}, 'undo');
  }

  async #mark(change: Change, mark: Mark | undefined): Promise<void> {
    await this.#write(change.reading, mark);
    this.#changes.push(change);
    this.desk.change({ undo: change.words, said: `Done: ${change.words}.` });
  }

  async #write(reading: string, mark: Mark | undefined): Promise<void> {
    const stamp = this.desk.inCalibration();
    await this.desk.append(
      mark
        ? { ...stamp, kind: 'set aside', reading, ...mark }
        : { ...stamp, kind: 'taken back', reading },
    );
  }
}
