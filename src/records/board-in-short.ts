import type { CheckKind, CheckRecord, Entry } from './entries.ts';
import {
  isRecordedAlready,
  NOTHING_SINCE,
  sinceAfter,
  type SinceCalibrated,
} from './since-calibrated.ts';

/** What the list of all boards says of one, without reading its entries. */
export interface BoardInShort {
  serial: string;
  /** As the board said when it was last linked, until then as a person said; absent where neither did. */
  name?: string;
  hardware?: string;
  /** How many entries there are of it, and how many calibrations were started. */
  entries: number;
  calibrations: number;
  /** The earliest and the latest time of an entry, ISO 8601. */
  firstTime: string;
  lastTime: string;
  /** The newest proof of what is in force; absent where it was not proven. */
  proof?: { time: string; passed: boolean };
  /**
   * The newest check in the field of each kind, of what is in force; absent where there was none. One that is not
   * settled leaves one that failed before it: only one that is passed says anything against that.
   */
  checks?: Partial<Record<CheckKind, { time: string; verdict: CheckRecord['verdict'] }>>;
  /** What was put in force here, what it runs, and what else tells when it is to be calibrated again. */
  since: SinceCalibrated;
}

/** What is to be said of a board after one more entry, which is read after all that came before. */
export function inShortAfter(board: BoardInShort | undefined, entry: Entry): BoardInShort {
  const { time } = entry;
  const before = board ?? {
    serial: entry.board,
    entries: 0,
    calibrations: 0,
    firstTime: time,
    lastTime: time,
    since: NOTHING_SINCE,
  };
  const again = isRecordedAlready(before.since, entry);
  const after: BoardInShort = {
    ...before,
    entries: before.entries + 1,
    since: again ? before.since : sinceAfter(before.since, entry),
    firstTime: Date.parse(time) < Date.parse(before.firstTime) ? time : before.firstTime,
    lastTime: Date.parse(time) > Date.parse(before.lastTime) ? time : before.lastTime,
  };
  switch (entry.kind) {
    case 'board linked': {
      const { name, hardware } = entry.identity;
      return { ...after, name, hardware };
    }
    case 'renamed':
      return { ...after, name: entry.to };
    case 'calibration started':
      return { ...after, calibrations: before.calibrations + 1 };
    case 'calibration entered': {
      const name = before.name ?? entry.sheet.boardName;
      return {
        ...after,
        calibrations: before.calibrations + 1,
        ...(name !== undefined && { name }),
      };
    }
    case 'sealed':
    case 'reverted':
    case 'restored':
      if (again) return after;
      delete after.proof; // it was of the coefficients before
      delete after.checks;
      return after;
    case 'proof':
      return { ...after, proof: { time, passed: entry.passed } };
    case 'check': {
      const { of, verdict, crc } = entry;
      if (crc !== after.since.inForce?.crc) return after;
      if (verdict === 'not settled' && after.checks?.[of]?.verdict === 'failed') return after;
      return { ...after, checks: { ...after.checks, [of]: { time, verdict } } };
    }
    default:
      return after;
  }
}
