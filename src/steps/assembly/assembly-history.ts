import type { AssemblyPose, AssemblyRecord, Entry, PoseLooks } from '../../records/entries.ts';
import type { BoardHistory } from '../calibration-state.ts';
import { without } from '../copy-without.ts';

/** Where the checks of how a board is put together stand, folded from the logbook's entries. */

/** The poses, in the order in which they are asked for. */
export const POSES: readonly AssemblyPose[] = [
  'at rest',
  'nose up',
  'nose down',
  'right side down',
  'upside down',
  'quarter turn',
];

export interface AssemblyCheck {
  id: string;
  /** When it was begun. */
  since: string;
  /** What counts of each pose that was looked at. */
  looked: ReadonlyMap<AssemblyPose, PoseLooks>;
  /** How often each was looked at. */
  times: ReadonlyMap<AssemblyPose, number>;
}

export interface AssemblyHistory {
  /** The check that is under way. */
  now?: AssemblyCheck;
  /** What the newest came to, and when. */
  newest?: AssemblyRecord & { time: string };
}

export const NO_ASSEMBLY: AssemblyHistory = {};

/** What is so after one more entry. Pure. */
export function afterAssembly(assembly: AssemblyHistory, entry: Entry): AssemblyHistory {
  const { now } = assembly;
  switch (entry.kind) {
    case 'assembly check begun': {
      const check = { id: entry.id, since: entry.time, looked: new Map(), times: new Map() };
      return { ...assembly, now: check };
    }
    case 'assembly looked at': {
      if (now?.id !== entry.check) return assembly;
      const { pose } = entry;
      const looks = without(entry, 'kind', 'board', 'time', 'calibration', 'check');
      const looked = new Map(now.looked).set(pose, looks);
      const times = new Map(now.times).set(pose, (now.times.get(pose) ?? 0) + 1);
      return { ...assembly, now: { ...now, looked, times } };
    }
    case 'assembly checked': {
      const record = without(entry, 'kind', 'board', 'calibration', 'check');
      return { ...(now?.id === entry.check ? without(assembly, 'now') : assembly), newest: record };
    }
    case 'assembly check left':
      return now?.id === entry.check ? without(assembly, 'now') : assembly;
    default:
      return assembly;
  }
}

/** Whether a board's assembly was checked, when, and how that came out. */
export type AssemblyStage =
  | { stage: 'not checked' }
  /** Nothing is known of it yet but what was looked at. */
  | { stage: 'under way'; since: string; looked: number; of: number }
  /** `faults`: how many findings; none where it is `sound` or `not settled`. */
  | { stage: 'checked'; time: string; verdict: AssemblyRecord['verdict']; faults: number };

/** The newest check of the assembly of a board, from its history. One that is under way comes before what an older came to. */
export function assemblyOf({ assembly }: { assembly: AssemblyHistory }): AssemblyStage {
  const { now, newest } = assembly;
  if (now)
    return { stage: 'under way', since: now.since, looked: now.looked.size, of: POSES.length };
  if (!newest) return { stage: 'not checked' };
  const { time, verdict, findings } = newest;
  return { stage: 'checked', time, verdict, faults: findings.length };
}

/**
 * What the newest check of the assembly found wrong, in a few words. It stands until a check finds nothing, or a set that was
 * sealed after it is proven; undefined where nothing is known to be wrong.
 */
export function assemblyFaults({
  assembly,
  calibration,
}: Pick<BoardHistory, 'assembly' | 'calibration'>): string | undefined {
  const { newest } = assembly;
  if (newest?.verdict !== 'faulty') return undefined;
  const { sealed, proof } = calibration ?? {};
  const isProvenSince =
    sealed && proof?.passed && Date.parse(sealed.time) > Date.parse(newest.time);
  if (isProvenSince) return undefined;
  const { length: faults } = newest.findings;
  return faults === 1 ? 'a fault in the assembly' : `${faults} faults in the assembly`;
}
