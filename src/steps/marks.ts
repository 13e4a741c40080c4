import { suggestedAside } from './calibration-state.ts';
import type { Desk } from './desk.ts';
import { entriesFor, nextStepId, stepWords, type Marking } from './mark-steps.ts';

/** What a person asks for the readings of a calibration. */
export type MarkWish =
  /** Leaves a reading out of the fit, with the reason kept. */
  | { does: 'set aside'; reading: string; reason: string }
  /** Puts readings that were set aside back into the fit, in one step. */
  | { does: 'take back'; readings: readonly string[] }
  /** Has a reading count to another sighting, or, where none is named, to none. */
  | { does: 'move'; reading: string; sighting?: string }
  /** Sets aside in one step what the newest fit would leave out and still counts. */
  | { does: 'follow the fit' };

/** A change of what one reading counts for, as a part of a step. */
type Part = Marking extends infer One
  ? One extends Marking
    ? Omit<One, 'step' | 'way'>
    : never
  : never;

/** Readings left out of the fit, put back, and moved to another sighting; the way back from each, and forth again. */
export class Marks {
  constructor(private readonly desk: Desk) {}

  mark(wish: MarkWish): Promise<void> {
    switch (wish.does) {
      case 'set aside': {
        const { reading, reason } = wish;
        return this.#do([{ kind: 'set aside', reading, reason, by: 'person' }]);
      }
      case 'take back':
        return this.#do(
          this.#setAside(wish.readings).map((reading) => ({ kind: 'taken back', reading })),
        );
      case 'move': {
        const { reading, sighting } = wish;
        return this.#do([{ kind: 'moved', reading, ...(sighting !== undefined && { sighting }) }]);
      }
      case 'follow the fit':
        return this.#do(
          suggestedAside(this.desk.calibration()).map(({ id, reason }) => ({
            kind: 'set aside',
            reading: id,
            reason,
            by: 'fit',
          })),
        );
    }
  }

  undo(): Promise<void> {
    return this.#goThrough('undo');
  }

  redo(): Promise<void> {
    return this.#goThrough('redo');
  }

  /** Those of them that are set aside: to take back another would be a step that undoes nothing. */
  #setAside(readings: readonly string[]): readonly string[] {
    const aside = new Set(
      this.desk.calibration().readings.flatMap(({ id, setAside }) => (setAside ? [id] : [])),
    );
    return readings.filter((id) => aside.has(id));
  }

  async #do(parts: readonly Part[]): Promise<void> {
    if (parts.length === 0) return;
    const { desk } = this;
    const stamp = desk.inCalibration();
    const step = nextStepId(desk.calibration().marks, stamp.time);
    await desk.append(...parts.map((part) => ({ ...stamp, ...part, step })));
    const done = desk.calibration().marks.done.at(-1);
    if (done) desk.say(`Done: ${stepWords(done)}.`);
  }

  async #goThrough(way: 'undo' | 'redo'): Promise<void> {
    const { desk } = this;
    const { done = [], undone = [] } = desk.state.history.calibration?.marks ?? {};
    const step = (way === 'undo' ? done : undone).at(-1);
    if (!step) return;
    const stamp = desk.inCalibration();
    await desk.append(...entriesFor(step, way).map((part) => ({ ...stamp, ...part })));
    desk.say(`${way === 'undo' ? 'Undone' : 'Done again'}: ${stepWords(step)}.`);
  }
}
