import type { EntryOf } from '../records/entries.ts';

/**
 * What was done to the readings of a calibration, step by step, so that every step can be undone and done again. It is
 * folded from the logbook's entries like all else: undoing is an entry too, which names the step it undoes.
 */

/** What a reading counts for: whether it is left out of the fit, and the sighting it belongs to; absent for none. */
export interface Mark {
  setAside?: { reason: string; by: 'person' | 'fit' };
  sighting?: string;
}

export interface MarkChange {
  reading: string;
  before: Mark;
  after: Mark;
}

/** What was done at once. */
export interface MarkStep {
  id: string;
  changes: readonly MarkChange[];
}

export interface MarkSteps {
  /** The newest last: what an undo undoes. */
  done: readonly MarkStep[];
  /** What was undone and nothing done since, the latest undone last: what a redo does again. */
  undone: readonly MarkStep[];
}

export const NO_STEPS: MarkSteps = { done: [], undone: [] };

export type MarkEntry = EntryOf<'set aside' | 'taken back' | 'moved'>;

/** The steps after one more entry, and what it changed. */
export function afterMark(
  { done, undone }: MarkSteps,
  entry: MarkEntry,
  change: MarkChange,
): MarkSteps {
  const id = stepIdOf(entry);
  const isIt = (step: MarkStep) => step.id === id;
  if (entry.way === 'undo') {
    const step = done.findLast(isIt); // only the first entry of several finds it there
    return step
      ? { done: done.filter((each) => each !== step), undone: [...undone, step] }
      : { done, undone };
  }
  if (entry.way === 'redo') {
    const step = undone.findLast(isIt);
    return step
      ? { done: [...done, step], undone: undone.filter((each) => each !== step) }
      : { done, undone };
  }
  const last = done.at(-1);
  if (last && isIt(last)) {
    const whole = { id, changes: [...last.changes, change] };
    return { done: [...done.slice(0, -1), whole], undone: [] };
  }
  return { done: [...done, { id, changes: [change] }], undone: [] };
}

/** Entries from before steps had names: all that one fit set aside was one step, any other a step by itself. */
const stepIdOf = (entry: MarkEntry): string =>
  entry.step ??
  (entry.kind === 'set aside' && entry.by === 'fit'
    ? `by the fit at ${entry.time}`
    : `${entry.kind} ${entry.reading} at ${entry.time}`);

/** A name for the next step that the one before it does not bear. */
export const nextStepId = ({ done }: MarkSteps, time: string): string =>
  `${done.length + 1} at ${time}`;

/** An entry of a step, but for what every entry has. */
export type Marking = { reading: string; step: string; way?: 'undo' | 'redo' } & (
  | { kind: 'set aside'; reason: string; by: 'person' | 'fit' }
  | { kind: 'taken back' }
  | { kind: 'moved'; sighting?: string }
);

/** What to write so that a step is undone, or done again. */
export function entriesFor(step: MarkStep, way: 'undo' | 'redo'): Marking[] {
  const changes = way === 'undo' ? step.changes.toReversed() : step.changes;
  return changes.flatMap(({ reading, before, after }): Marking[] => {
    const [from, to] = way === 'undo' ? [after, before] : [before, after];
    const named = { reading, step: step.id, way };
    const { sighting } = to;
    const aside: Marking = to.setAside
      ? { ...named, kind: 'set aside', ...to.setAside }
      : { ...named, kind: 'taken back' };
    if (from.sighting === sighting) return [aside];
    const moved: Marking = { ...named, kind: 'moved', ...(sighting !== undefined && { sighting }) };
    return to.setAside && !from.setAside ? [moved, aside] : [moved];
  });
}

/** What a step did, as a person would name it. */
export function stepWords({ changes }: MarkStep): string {
  const [{ reading, before, after }] = changes as [MarkChange];
  if (changes.length > 1) {
    const these = `${changes.length} readings`;
    if (!after.setAside) return `take ${these} back`;
    return after.setAside.by === 'fit'
      ? `set aside the ${these} that the fit would leave out`
      : `set ${these} aside`;
  }
  if (before.sighting !== after.sighting) {
    return after.sighting === undefined
      ? `take reading ${reading} out of its sighting`
      : `move reading ${reading} to sighting ${after.sighting}`;
  }
  if (!after.setAside) return `take reading ${reading} back`;
  return after.setAside.by === 'fit'
    ? `set aside reading ${reading}, which the fit would leave out`
    : `set reading ${reading} aside`;
}
