import type {
  Entry,
  EntryOf,
  FitRecord,
  Plan,
  PlannedSighting,
  ProofRecord,
  StoredEntry,
  TakenReading,
  TruthErrors,
  UnreadableReading,
} from '../records/entries.ts';
import type { BoardIdentity, BoardReading, MemoryState, StoredSet } from '../protocol/board.ts';
import type { CoefficientSet } from '../protocol/coefficient-set.ts';
import type { RefusalCause } from '../calib/fit.ts';
import { without } from './without.ts';

/**
 * What is so now with a board and its calibration, folded from the logbook's entries in order. Nothing else is
 * remembered: a page that was closed folds the same entries again and stands where it stood.
 */

export interface KeptReading extends TakenReading {
  /** Present where the reading is left out of the fit. */
  setAside?: { reason: string; by: 'person' | 'fit' };
}

/** One place of the plan: a sighting at one roll. */
export interface Slot {
  sighting: PlannedSighting;
  roll: number;
}

export interface CalibrationState {
  id: string;
  plan: Plan;
  started: string;
  readings: readonly KeptReading[];
  /** Readings that a person took back although a fit had set them aside: from then on the person decides. */
  overruled: boolean;
  /** How many fits were made, refusals not counted. */
  fits: number;
  /** The newest fit, or why there is none. `stale` where readings changed since. */
  fit?: FitRecord & { stale: boolean };
  refusal?: { cause: RefusalCause; message: string; next: string; stale: boolean };
  staged?: { fit: string; set: CoefficientSet; crc: string };
  /** A seal was sent and nothing is known of it yet. */
  sealBegun?: { replaces: number; crc: string };
  sealed?: Omit<EntryOf<'sealed'>, 'kind' | 'board' | 'calibration'> & {
    fit: string;
    set: CoefficientSet;
  };
  sealFailed?: { generation: number; reason: string };
  reverted?: { generation: number; crc: string; replaced: number };
  proofReadings: readonly TakenReading[];
  proof?: ProofRecord;
  truth?: TruthErrors & { generation: number };
  ended?: { outcome: 'proven' | 'abandoned'; reason: string; time: string };
}

export interface BoardHistory {
  identity?: BoardIdentity;
  /** What was on the board when it was last linked, before anything was changed. */
  memory?: MemoryState;
  savedAt?: string;
  /** Readings found on the board that belong to no calibration. */
  found: readonly BoardReading[];
  /** Readings in the board's memory that made no sense when they were recalled; absent where there was none. */
  unreadable?: readonly UnreadableReading[];
  inForce?: StoredSet;
  previous?: StoredSet;
  /** Numbers of all readings of this board that the logbook holds. */
  known: ReadonlySet<number>;
  /** The newest calibration. */
  calibration?: CalibrationState;
}

export const EMPTY_HISTORY: BoardHistory = { found: [], known: new Set() };

/** Folds a board's entries as they lie in the logbook, the oldest first. */
export function foldHistory(entries: readonly StoredEntry[]): BoardHistory {
  return entries.reduce((history, entry) => afterEntry(history, unnumbered(entry)), EMPTY_HISTORY);
}

/** The entry as it was written, so that folding anew gives just what folding along the way gave. */
function unnumbered(entry: StoredEntry): Entry {
  return without<StoredEntry, 'number'>(entry, 'number') as Entry;
}

/** What is so after one more entry. Pure: the state given is left as it was. */
export function afterEntry(history: BoardHistory, entry: Entry): BoardHistory {
  switch (entry.kind) {
    case 'board linked':
      return { ...history, identity: entry.identity };
    case 'memory saved':
      return {
        ...history,
        memory: entry.memory,
        savedAt: entry.time,
        found: [...history.found, ...entry.readings],
        known: withNumbers(history.known, entry.readings),
        ...(entry.unreadable && { unreadable: unreadableAfter(history, entry.unreadable) }),
      };
    case 'coefficients saved':
      return {
        ...without(history, 'inForce', 'previous'),
        ...(entry.inForce && { inForce: entry.inForce }),
        ...(entry.previous && { previous: entry.previous }),
      };
    case 'erased':
    case 'note':
      return history;
    case 'calibration started':
      return {
        ...history,
        calibration: {
          id: entry.calibration,
          plan: entry.plan,
          started: entry.time,
          readings: [],
          overruled: false,
          fits: 0,
          proofReadings: [],
        },
      };
    default: {
      const { calibration } = history;
      if (!calibration || calibration.id !== entry.calibration) return history;
      const after = { ...history, calibration: afterCalibrationEntry(calibration, entry) };
      return entry.kind === 'reading' || entry.kind === 'proof reading'
        ? { ...after, known: withNumbers(history.known, [entry.reading]) }
        : after;
    }
  }
}

function unreadableAfter(
  { unreadable = [] }: BoardHistory,
  now: readonly UnreadableReading[],
): readonly UnreadableReading[] {
  const again = (before: UnreadableReading) => now.some((each) => each.reading === before.reading);
  return [...unreadable.filter((before) => !again(before)), ...now];
}

function withNumbers(known: ReadonlySet<number>, readings: readonly BoardReading[]) {
  return new Set([...known, ...readings.map((reading) => reading.reading)]);
}

type CalibrationEntry = Exclude<
  Entry,
  {
    kind:
      | 'board linked'
      | 'memory saved'
      | 'coefficients saved'
      | 'erased'
      | 'note'
      | 'calibration started';
  }
>;

function afterCalibrationEntry(state: CalibrationState, entry: CalibrationEntry): CalibrationState {
  switch (entry.kind) {
    case 'reading':
      return stale({ ...state, readings: [...state.readings, taken(entry)] });
    case 'set aside': {
      const mark = { reason: entry.reason, by: entry.by };
      const after = changeReading(state, entry.reading, (row) => ({ ...row, setAside: mark }));
      return entry.by === 'fit' ? after : stale(after); // what a fit set aside, that fit did not see
    }
    case 'taken back': {
      const before = state.readings.find((row) => row.id === entry.reading)?.setAside;
      const after = changeReading(state, entry.reading, (row) => without(row, 'setAside'));
      return stale({ ...after, overruled: state.overruled || before?.by === 'fit' });
    }
    case 'fit': {
      const fit = { ...without(entry, ...STAMP), stale: false };
      return { ...without(state, 'refusal'), fits: state.fits + 1, fit };
    }
    case 'fit refused':
      return {
        ...without(state, 'fit'),
        refusal: { ...without(entry, ...STAMP), stale: false },
      };
    case 'staged':
      return { ...state, staged: without(entry, ...STAMP) };
    case 'seal begun':
      return { ...without(state, 'sealFailed'), sealBegun: without(entry, ...STAMP) };
    case 'sealed': {
      if (!state.staged) return state;
      const { fit, set } = state.staged;
      const { time } = entry;
      return {
        ...without(state, 'sealBegun', 'reverted', 'proof', 'truth', 'ended'),
        sealed: { ...without(entry, ...STAMP), time, fit, set },
        proofReadings: [],
      };
    }
    case 'seal failed':
      return { ...without(state, 'sealBegun'), sealFailed: without(entry, ...STAMP) };
    case 'reverted':
      return { ...state, reverted: without(entry, ...STAMP) };
    case 'proof reading':
      return { ...state, proofReadings: [...state.proofReadings, taken(entry)] };
    case 'proof':
      return { ...state, proof: without(entry, ...STAMP) };
    case 'truth compared':
      return { ...state, truth: without(entry, ...STAMP) };
    case 'calibration ended': {
      const { outcome, reason, time } = entry;
      return { ...state, ended: { outcome, reason, time } };
    }
  }
}

/** What every entry has, and no state keeps. */
const STAMP = ['kind', 'board', 'calibration', 'time'] as const;

function taken({ id, reading, sighting, aim }: TakenReading): TakenReading {
  return {
    id,
    reading,
    ...(sighting !== undefined && { sighting }),
    ...(aim !== undefined && { aim }),
  };
}

function changeReading(
  state: CalibrationState,
  id: string,
  change: (row: KeptReading) => KeptReading,
): CalibrationState {
  return { ...state, readings: state.readings.map((row) => (row.id === id ? change(row) : row)) };
}

function stale(state: CalibrationState): CalibrationState {
  return {
    ...state,
    ...(state.fit && { fit: { ...state.fit, stale: true } }),
    ...(state.refusal && { refusal: { ...state.refusal, stale: true } }),
  };
}

/** All places of a plan in its order. */
function slotsOf(plan: Plan): Slot[] {
  return plan.sightings.flatMap((sighting) => sighting.rolls.map((roll) => ({ sighting, roll })));
}

/** Readings taken for a place of the plan, those set aside included. */
export function readingsAt(slot: Slot, readings: readonly KeptReading[]): readonly KeptReading[] {
  return readings.filter(
    (row) => row.sighting === slot.sighting.sighting && row.aim?.roll === slot.roll,
  );
}

/** Places for which no reading was ever taken, in order. */
export function openSlots(state: CalibrationState): Slot[] {
  return slotsOf(state.plan).filter((slot) => readingsAt(slot, state.readings).length === 0);
}

/** Places whose readings were all set aside, in order. */
export function gapSlots(state: CalibrationState): Slot[] {
  return slotsOf(state.plan).filter((slot) => {
    const rows = readingsAt(slot, state.readings);
    return rows.length > 0 && rows.every((row) => row.setAside);
  });
}

/** Readings that a fit would see. */
export function keptReadings(state: CalibrationState): KeptReading[] {
  return state.readings.filter((row) => !row.setAside);
}

/** Whether the logbook holds this very reading: the same number with the same counts. */
export function holds(history: BoardHistory, reading: BoardReading): boolean {
  const { calibration, found } = history;
  const rows = [...(calibration?.readings ?? []), ...(calibration?.proofReadings ?? [])];
  return [...found, ...rows.map((row) => row.reading)].some((each) => sameReading(each, reading));
}

/** The same number with the same counts. */
export function sameReading(a: BoardReading, b: BoardReading): boolean {
  return (
    a.reading === b.reading &&
    a.acc.every((count, axis) => count === b.acc[axis]) &&
    a.mag.every((count, axis) => count === b.mag[axis])
  );
}

/** How two sets compare, number by number, as the 32 bits that a board keeps. */
export interface Comparison {
  equal: boolean;
  numbers: number;
  different: number;
}

export function compareBits(a: CoefficientSet, b: CoefficientSet): Comparison {
  const bits = (values: readonly number[]) => new Uint32Array(Float32Array.from(values).buffer);
  const [x, y] = [bits(a.values), bits(b.values)];
  const numbers = Math.max(x.length, y.length);
  const different = Array.from({ length: numbers }, (_, i) => x[i] !== y[i]).filter(Boolean).length;
  return { equal: a.model === b.model && different === 0, numbers, different };
}

/** Whether the board runs the generation that this calibration sealed, as last read from it. */
export const runsSealed = ({ inForce, calibration }: BoardHistory): boolean =>
  calibration?.sealed !== undefined && inForce?.generation === calibration.sealed.generation;
