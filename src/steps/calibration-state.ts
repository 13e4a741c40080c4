import type {
  AimDegrees,
  CaptureAim,
  CareEntry,
  ChosenSet,
  EnteredReading,
  EnteredSheet,
  Entry,
  EntryKind,
  EntryOf,
  FitRecord,
  Plan,
  PlannedSighting,
  ProofRecord,
  StoredEntry,
  TakenReading,
  ToleranceChoice,
  TruthErrors,
  UnreadableReading,
} from '../records/entries.ts';
import type { BoardIdentity, BoardReading, MemoryState, StoredSet } from '../protocol/board.ts';
import type { CoefficientSet } from '../protocol/coefficient-set.ts';
import { setCrc } from '../protocol/messages.ts';
import { coefficientValues } from '../calib/model.ts';
import type { RefusalCause } from '../calib/fit.ts';
import { afterAssembly, NO_ASSEMBLY, type AssemblyHistory } from './assembly/assembly-history.ts';
import { afterCare, isCareEntry, type CareHistory } from './care/care-history.ts';
import { afterCheck, NO_CHECKS, type CheckHistory } from './checks/check-history.ts';
import { without } from './copy-without.ts';
import { afterMark, NO_STEPS, type Mark, type MarkEntry, type MarkSteps } from './mark-steps.ts';
import { extended, takenPart } from './extended-plan.ts';
import { afterSite, NO_SITE, type SiteHistory } from './site/site-history.ts';

/**
 * What is so now with a board and its calibration, folded from the logbook's entries in order. Nothing else is
 * remembered: a page that was closed folds the same entries again and stands where it stood.
 */

/** A reading, and what it counts for: `sighting` and `aim` are of the line that it counts to now. */
export interface KeptReading extends TakenReading {
  /** What it was taken for, where it was moved to another sighting, or to none. */
  takenFor?: Pick<TakenReading, 'sighting' | 'aim'>;
  /** Present where the reading is left out of the fit. */
  setAside?: { reason: string; by: 'person' | 'fit' };
  /** A person took it back although a fit had set it aside. */
  overruled?: true;
}

/** One place of the plan: a sighting at one roll. */
export interface Slot {
  sighting: PlannedSighting;
  roll: number;
}

export interface CalibrationState {
  id: string;
  /** Serial number of its board. */
  board: string;
  plan: Plan;
  started: string;
  /** Where its readings come from, if they were taken elsewhere. */
  entered?: EnteredSheet;
  /** The set that is to be put on the board as it is; absent where one is to be fitted. */
  chosen?: ChosenSet;
  /** What it is judged against, where a person chose that. */
  tolerance?: ToleranceChoice;
  readings: readonly KeptReading[];
  /** A reading counts that a person took back although a fit had set it aside: as long as it does, no fit screens. */
  overruled: boolean;
  /** What was set aside, taken back and moved, step by step. */
  marks: MarkSteps;
  /** Every fit that was made, the newest last. */
  fits: readonly FitRecord[];
  /**
   * The newest fit, or why there is none. `stale` where it did not use just the readings that count now; `screened`
   * where it was free to leave readings out; `found` where nobody said which sighting any reading was of, so that the fit
   * found that out by itself.
   */
  fit?: FitRecord & { stale: boolean; screened: boolean; found?: true };
  refusal?: { cause: RefusalCause; message: string; next: string; stale: boolean };
  /** All that was staged, the newest last; without `fit` where it is the set that was chosen, and so with `sealed`. */
  staged: readonly { fit?: string; set: CoefficientSet; crc: string }[];
  /** A seal was sent and nothing is known of it yet. */
  sealBegun?: { replaces: number; crc: string };
  sealed?: Omit<EntryOf<'sealed'>, 'kind' | 'board' | 'calibration'> & {
    fit?: string;
    set: CoefficientSet;
  };
  /** `unchanged` where the board runs what it ran before the seal was sent, and not some third set. */
  sealFailed?: { generation: number; reason: string; unchanged: boolean };
  /** The board was asked for a reading, which has not come yet. */
  captureBegun?: CaptureAim & { after: number };
  /** A revert was sent and nothing is known of it yet. */
  revertBegun?: { replaces: number; crc: string };
  reverted?: { generation: number; crc: string; replaced: number };
  proofReadings: readonly TakenReading[];
  /** The newest proof of what was sealed, over `proofReadings`. */
  proof?: ProofRecord;
  /** How many proofs of what was sealed were taken before and did not pass. */
  failedProofs: number;
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
  /** A calibration of this logbook has sealed coefficients on the board. */
  sealedHere?: true;
  /** Numbers of all readings of this board that the logbook holds. */
  known: ReadonlySet<number>;
  /** What is so with its settings, name, clock and firmware. */
  care: CareHistory;
  /** The checks of the instrument in the field. */
  checks: CheckHistory;
  /** The site, as far as the board was asked of it. */
  site: SiteHistory;
  /** The checks of how it is put together. */
  assembly: AssemblyHistory;
  /** The newest calibration, or an earlier one that was taken up again. */
  calibration?: CalibrationState;
  /**
   * Calibrations with readings that gave way to another, as they were then, while no other has been sealed since; absent
   * where there is none. The last is the one to go back to.
   */
  earlier?: readonly CalibrationState[];
}

export const EMPTY_HISTORY: BoardHistory = {
  found: [],
  known: new Set(),
  care: {},
  checks: NO_CHECKS,
  site: NO_SITE,
  assembly: NO_ASSEMBLY,
};

/**
 * Folds a board's entries as they lie in the logbook, the oldest first.
 *
 * Only the bench that began something with a board goes on with it: of what another bench began, just what came of it
 * counts here. So no file that is brought in has this bench write to a board. An emptied logbook is another bench: of
 * its own entries, brought back into it, nothing is gone on with either.
 */
export function foldHistory(entries: readonly StoredEntry[]): BoardHistory {
  return entries
    .filter((entry) => !entry.foreign || !isUndertaking(entry))
    .reduce((history, entry) => afterEntry(history, unnumbered(entry)), EMPTY_HISTORY);
}

/**
 * Whether an entry says only that something was begun, how far it is, or that it failed: what matters to the bench that
 * began it. A change of firmware is all of this kind, as each of its entries takes it further.
 */
const isUndertaking = ({ kind }: StoredEntry): boolean =>
  kind.startsWith('update ') || kind.endsWith(' begun') || UNDONE.has(kind);

const UNDONE: ReadonlySet<EntryKind> = new Set([
  'settings failed',
  'rename failed',
  'clock failed',
  'erase failed',
  'restore failed',
  'capture failed',
  'seal failed',
  'revert failed',
]);

/**
 * What is so with one calibration and its board, whichever is the newest: the board as it was when the last of the
 * readings was taken, with what it runs now. Of readings that were entered in other units than counts nothing of the
 * board can be compared, so nothing of it is said.
 *
 * @param entries of the board, in reading order
 */
export function foldCalibration(entries: readonly StoredEntry[], id: string): BoardHistory {
  const isOwn = (entry: Entry) => entry.calibration === id;
  const last = entries.findLastIndex((entry) => isOwn(entry) && OF_READINGS.has(entry.kind));
  const history = entries.reduce<BoardHistory>((before, stored, i) => {
    const entry = unnumbered(stored);
    if (BEGINNINGS.has(entry.kind) && !isOwn(entry)) return before;
    if (entry.kind === 'board linked' && i > last && before.identity) return before;
    if (entry.kind !== 'calibration entered') return afterEntry(before, entry);
    return { ...before, calibration: { ...begun(entry, entry.plan), entered: entry.sheet } };
  }, EMPTY_HISTORY);
  const units = history.calibration?.entered?.units;
  if (!units) return history;
  const isRaw = units.acc === 'counts' && units.mag === 'counts';
  const alone = without(history, 'identity');
  return isRaw ? alone : without(alone, 'inForce', 'previous');
}

const BEGINNINGS: ReadonlySet<EntryKind> = new Set([
  'calibration started',
  'calibration entered',
  'set chosen',
]);
const OF_READINGS: ReadonlySet<EntryKind> = new Set(['reading', 'proof reading', ...BEGINNINGS]);

/** The entry as it was written, so that folding anew gives just what folding along the way gave. */
function unnumbered(entry: StoredEntry): Entry {
  return without<StoredEntry, 'number' | 'foreign'>(entry, 'number', 'foreign') as Entry;
}

/** What is so after one more entry. Pure: the state given is left as it was. */
export function afterEntry(history: BoardHistory, entry: Entry): BoardHistory {
  const after = afterBoardEntry(history, entry);
  const checks = afterCheck(history.checks, entry);
  const site = afterSite(history.site, entry, after.calibration);
  const assembly = afterAssembly(history.assembly, entry);
  const isSame =
    checks === history.checks && site === history.site && assembly === history.assembly;
  return isSame ? after : { ...after, checks, site, assembly };
}

function afterBoardEntry(history: BoardHistory, entry: Entry): BoardHistory {
  if (isCareEntry(entry)) return afterCareEntry(history, entry);
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
      return { ...history, care: without(history.care, 'eraseBegun') };
    case 'note':
    case 'battery changed':
    case 'knocked':
    case 'remark withdrawn':
    case 'coefficients entered':
    case 'calibration entered':
    case 'check begun':
    case 'check':
    case 'check left':
    case 'site checked':
    case 'assembly check begun':
    case 'assembly looked at':
    case 'assembly checked':
    case 'assembly check left':
      return history;
    case 'check reading':
      return { ...history, known: withNumbers(history.known, [entry.reading]) };
    case 'calibration started':
      return inPlace(history, begun(entry, entry.plan));
    case 'set chosen': {
      const chosen = without(entry, ...STAMP);
      return inPlace(history, { ...begun(entry, NO_PLAN), chosen });
    }
    default: {
      const { calibration, earlier } = history;
      if (entry.kind === 'calibration resumed') {
        const before = earlier?.find(({ id }) => id === entry.calibration);
        if (before) return takenUp(history, before);
      }
      if (!calibration || calibration.id !== entry.calibration) return history;
      const before = withoutCapture(calibration, entry);
      const after: BoardHistory = {
        ...(entry.kind === 'sealed' ? without(history, 'earlier') : history),
        ...(entry.kind === 'sealed' && { sealedHere: true }),
        calibration: afterCalibrationEntry(before, entry),
      };
      return entry.kind === 'reading' || entry.kind === 'proof reading'
        ? { ...after, known: withNumbers(history.known, [entry.reading]) }
        : after;
    }
  }
}

/** Another calibration is begun. */
function inPlace(history: BoardHistory, calibration: CalibrationState): BoardHistory {
  const { calibration: left, earlier = [] } = history;
  if (!left || left.id === calibration.id || left.readings.length === 0) {
    return { ...history, calibration };
  }
  return { ...history, calibration, earlier: [...earlier, left] };
}

/** An earlier one in place of the newest, which can be gone back to last of all; what was proven is so still. */
function takenUp(history: BoardHistory, before: CalibrationState): BoardHistory {
  const { calibration: left, earlier = [] } = history;
  const others = earlier.filter((each) => each !== before);
  const rest = left && left.readings.length > 0 ? [left, ...others] : others;
  const calibration = before.ended?.outcome === 'proven' ? before : without(before, 'ended');
  return {
    ...without(history, 'earlier'),
    calibration,
    ...(rest.length > 0 && { earlier: rest }),
  };
}

/** Of a calibration in which nothing is to be fitted. */
const NO_PLAN: Plan = { name: 'none', sightings: [], azimuths: 'relative' };

const begun = (
  { board, calibration, time }: { board: string; calibration: string; time: string },
  plan: Plan,
): CalibrationState => ({
  id: calibration,
  board,
  plan,
  started: time,
  readings: [],
  overruled: false,
  marks: NO_STEPS,
  fits: [],
  staged: [],
  proofReadings: [],
  failedProofs: 0,
});

function afterCareEntry(history: BoardHistory, entry: CareEntry): BoardHistory {
  const { identity, inForce } = history;
  const care = afterCare(history.care, entry, inForce);
  const renamed = identity && entry.kind === 'renamed' && { ...identity, name: entry.to };
  return { ...history, care, ...(renamed && { identity: renamed }) };
}

/** A reading for the place that a capture was begun for ends it. */
function withoutCapture(state: CalibrationState, entry: CalibrationEntry): CalibrationState {
  const { captureBegun: begun } = state;
  if (!begun || entry.kind !== (begun.purpose === 'fit' ? 'reading' : 'proof reading'))
    return state;
  const there = entry.sighting === begun.sighting && entry.aim?.roll === begun.aim.roll;
  return there ? without(state, 'captureBegun') : state;
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
      | CareEntry['kind']
      | 'board linked'
      | 'memory saved'
      | 'coefficients saved'
      | 'erased'
      | 'note'
      | 'battery changed'
      | 'knocked'
      | 'remark withdrawn'
      | 'check begun'
      | 'check reading'
      | 'check'
      | 'check left'
      | 'site checked'
      | 'assembly check begun'
      | 'assembly looked at'
      | 'assembly checked'
      | 'assembly check left'
      | 'coefficients entered'
      | 'calibration started'
      | 'calibration entered'
      | 'set chosen';
  }
>;

function afterCalibrationEntry(state: CalibrationState, entry: CalibrationEntry): CalibrationState {
  switch (entry.kind) {
    case 'reading':
      if (isAmong(state.readings, entry.reading)) return state; // two benches recorded it
      return changed({ ...state, readings: [...state.readings, taken(entry, state)] });
    case 'reading entered':
      return changed({ ...state, readings: [...state.readings, enteredReading(entry, state)] });
    case 'set aside': {
      const setAside = { reason: entry.reason, by: entry.by };
      return marked(state, entry, (row) => ({ ...row, setAside }));
    }
    case 'taken back':
      return marked(state, entry, (row) => ({
        ...without(row, 'setAside'),
        ...(row.setAside?.by === 'fit' && { overruled: true }),
      }));
    case 'moved':
      return marked(state, entry, (row) => movedTo(row, entry.sighting, state));
    case 'plan extended': {
      const before = entry.instead ? takenPart(state.plan, state.readings) : state.plan;
      return { ...state, plan: extended(before, entry.sightings) };
    }
    case 'tolerance chosen':
      return { ...state, tolerance: without(entry, ...STAMP) };
    case 'fit': {
      const fit = without(entry, ...STAMP);
      const found = hasFound(fit, state.readings);
      const now = { ...fit, screened: !state.overruled, ...(found && { found: true as const }) };
      return {
        ...without(state, 'refusal'),
        fits: [...state.fits, fit],
        fit: { ...now, stale: !usesJust(now, state.readings) },
      };
    }
    case 'fit refused':
      return {
        ...without(state, 'fit'),
        refusal: { ...without(entry, ...STAMP), stale: false },
      };
    case 'staged':
      return { ...state, staged: [...state.staged, without(entry, ...STAMP)] };
    case 'seal begun':
      return { ...without(state, 'sealFailed'), sealBegun: without(entry, ...STAMP) };
    case 'sealed': {
      const { sealed, sealBegun } = state;
      const isKnown = sealed?.generation === entry.generation && sealed.crc === entry.crc;
      if (isKnown && !sealBegun) return state; // two benches recorded it: what was proven since stands
      // not always the newest: another bench may have staged one since
      const staged = state.staged.findLast(({ set }) => setCrc(set) === entry.crc);
      if (!staged) return state;
      const { fit, set } = staged;
      const { time } = entry;
      return {
        ...without(state, 'sealBegun', 'sealFailed', 'reverted', 'proof', 'truth', 'ended'),
        sealed: { ...without(entry, ...STAMP), time, set, ...(fit !== undefined && { fit }) },
        proofReadings: [],
        failedProofs: 0,
      };
    }
    case 'seal failed': {
      const unchanged = entry.generation === state.sealBegun?.replaces;
      return {
        ...without(state, 'sealBegun'),
        sealFailed: { ...without(entry, ...STAMP), unchanged },
      };
    }
    case 'capture begun':
      return { ...state, captureBegun: without(entry, ...STAMP) };
    case 'capture failed':
      return without(state, 'captureBegun');
    case 'revert begun':
      return { ...state, revertBegun: without(entry, ...STAMP) };
    case 'reverted':
      return { ...without(state, 'revertBegun'), reverted: without(entry, ...STAMP) };
    case 'revert failed':
      return without(state, 'revertBegun');
    case 'proof reading':
      if (isAmong(state.proofReadings, entry.reading)) return state;
      // one taken for a place, when all places were filled and the proof was drawn, begins the next proof
      if (state.proof && entry.sighting !== undefined) {
        return {
          ...without(state, 'proof', 'truth'),
          failedProofs: state.failedProofs + (state.proof.passed ? 0 : 1),
          proofReadings: [taken(entry, state)],
        };
      }
      return { ...state, proofReadings: [...state.proofReadings, taken(entry, state)] };
    case 'proof':
      return { ...state, proof: without(entry, ...STAMP) };
    case 'truth compared':
      return { ...state, truth: without(entry, ...STAMP) };
    case 'calibration ended': {
      const { outcome, reason, time } = entry;
      return { ...state, ended: { outcome, reason, time } };
    }
    case 'calibration resumed':
      return without(state, 'ended');
  }
}

/** What every entry has, and no state keeps. */
const STAMP = ['kind', 'board', 'calibration', 'time'] as const;

/**
 * The id for a new reading: the wanted one, or that with a mark where a reading of the calibration bears it. A number
 * given twice with other counts is another reading, and so is one that another page recorded.
 */
export function freeId(wanted: string, state: CalibrationState): string {
  const bears = (row: TakenReading) => row.id === id;
  let id = wanted;
  for (let time = 1; state.readings.some(bears) || state.proofReadings.some(bears); time++) {
    id = time === 1 ? `${wanted} again` : `${wanted} again ${time}`;
  }
  return id;
}

const isAmong = (rows: readonly TakenReading[], reading: BoardReading): boolean =>
  rows.some((row) => sameReading(row.reading, reading));

function taken(
  { id, reading, sighting, aim }: TakenReading,
  state: CalibrationState,
): TakenReading {
  return {
    id: freeId(id, state),
    reading,
    ...(sighting !== undefined && { sighting }),
    ...(aim !== undefined && { aim }),
  };
}

/** As one that was taken, though no board gave it a number. */
function enteredReading(
  { id, acc, mag, temperature, sighting, aim }: EnteredReading,
  state: CalibrationState,
): TakenReading {
  const reading: BoardReading = {
    reading: state.readings.length + 1,
    generation: 0,
    acc,
    mag,
    ...(temperature !== undefined && { temperature }),
  };
  return taken(
    { id, reading, ...(sighting !== undefined && { sighting }), ...(aim && { aim }) },
    state,
  );
}

function marked(
  state: CalibrationState,
  entry: MarkEntry,
  change: (row: KeptReading) => KeptReading,
): CalibrationState {
  const before = state.readings.find((row) => row.id === entry.reading);
  if (!before) return state;
  const after = change(before);
  const { reading } = entry;
  return changed({
    ...state,
    readings: state.readings.map((row) => (row === before ? after : row)),
    marks: afterMark(state.marks, entry, { reading, before: markOf(before), after: markOf(after) }),
  });
}

const markOf = ({ setAside, sighting }: KeptReading): Mark => ({
  ...(setAside && { setAside }),
  ...(sighting !== undefined && { sighting }),
});

/**
 * As one of that sighting: along its line, at the roll it was taken for. Without a sighting nothing is known of its aim.
 * Where a fit had set it aside it counts again, since the fit had judged it by the sighting it was in.
 */
function movedTo(
  row: KeptReading,
  sighting: string | undefined,
  { plan, readings }: CalibrationState,
): KeptReading {
  const { sighting: own, aim } = row;
  const takenFor = row.takenFor ?? {
    ...(own !== undefined && { sighting: own }),
    ...(aim && { aim }),
  };
  const moving = without(row, 'sighting', 'aim', 'takenFor');
  const rest = moving.setAside?.by === 'fit' ? without(moving, 'setAside') : moving;
  if (sighting === takenFor.sighting) return { ...rest, ...takenFor };
  if (sighting === undefined) return { ...rest, takenFor };
  const line =
    plan.sightings.find((each) => each.sighting === sighting) ??
    readings.find((each) => each.sighting === sighting && !each.takenFor)?.aim;
  const roll = takenFor.aim?.roll;
  const known: AimDegrees = {
    ...(line?.azimuth !== undefined && { azimuth: line.azimuth }),
    ...(line?.inclination !== undefined && { inclination: line.inclination }),
    ...(roll !== undefined && { roll }),
  };
  return { ...rest, sighting, ...(line && { aim: known }), takenFor };
}

/** What follows from its readings, after a change of them. */
function changed(state: CalibrationState): CalibrationState {
  const { readings, fit, refusal } = state;
  return {
    ...state,
    overruled: readings.some((row) => row.overruled && !row.setAside),
    ...(fit && { fit: { ...fit, stale: !usesJust(fit, readings) } }),
    ...(refusal && { refusal: { ...refusal, stale: true } }),
  };
}

/** Whether a fit used all readings that count, each to its sighting or all to none, and no other. */
function usesJust(
  fit: Pick<FitRecord, 'readings'> & { found?: true },
  readings: readonly KeptReading[],
): boolean {
  const used = new Map(fit.readings.filter((row) => row.used).map((row) => [row.id, row]));
  const kept = readings.filter((row) => !row.setAside);
  const isSo = ({ id, sighting }: KeptReading) => {
    const row = used.get(id);
    return row && (fit.found ? sighting === undefined : row.sighting === sighting);
  };
  return kept.length === used.size && kept.every(isSo);
}

/** Whether none of the readings that a fit was given, as they stand when it is made, is said to be of a sighting. */
function hasFound(fit: FitRecord, readings: readonly KeptReading[]): boolean {
  const given = new Set(fit.readings.map(({ id }) => id));
  return readings.every(({ id, sighting }) => !given.has(id) || sighting === undefined);
}

/** What could be written to the board now: the set that was chosen, or that of the newest fit. */
export interface Writable {
  /** Names it among all that could be written in this calibration. */
  id: string;
  set: CoefficientSet;
  fit?: string;
}

/** Undefined where there is none, or the readings have changed since the fit. */
export function writable({ chosen, fit }: CalibrationState): Writable | undefined {
  if (chosen) return { id: idOf({ crc: chosen.crc }), set: chosen.set };
  if (!fit || fit.stale) return undefined;
  const { model } = fit.coefficients;
  const set = { model, values: coefficientValues(fit.coefficients) };
  return { id: idOf({ fit: fit.id, crc: setCrc(set) }), set, fit: fit.id };
}

/**
 * The {@link Writable.id} of what was staged or sealed. A fit is not enough to name it: two benches that fitted the same
 * calibration number their fits alike.
 */
export const idOf = ({ fit, crc }: { fit?: string; crc: string }): string =>
  `${fit ?? 'set'} ${crc}`;

/** Whether what could be written now is what this calibration sealed. */
export const isSealedNow = (calibration: CalibrationState): boolean => {
  const { sealed } = calibration;
  return sealed !== undefined && writable(calibration)?.id === idOf(sealed);
};

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

/** What the newest fit would leave out and still counts: a person took it back. */
export function suggestedAside({ fit, readings }: CalibrationState): FitRecord['setAside'] {
  const kept = new Set(readings.filter((row) => !row.setAside).map(({ id }) => id));
  return fit?.setAside.filter(({ id }) => kept.has(id)) ?? [];
}

/** Readings that a fit would see. */
export function keptReadings(state: CalibrationState): KeptReading[] {
  return state.readings.filter((row) => !row.setAside);
}

/** Whether the logbook holds this very reading: the same number with the same counts. */
export function holds(history: BoardHistory, reading: BoardReading): boolean {
  const { calibration, found, checks } = history;
  const rows = [...(calibration?.readings ?? []), ...(calibration?.proofReadings ?? [])];
  const others = [...found, ...(checks.now?.readings.values() ?? [])];
  return isAmong(rows, reading) || others.some((each) => sameReading(each, reading));
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

/** Whether the board runs the very set that this calibration sealed, as last read from it. */
export const runsSealed = ({ inForce, calibration }: BoardHistory): boolean =>
  calibration?.sealed !== undefined &&
  inForce?.generation === calibration.sealed.generation &&
  inForce.crc === calibration.sealed.crc;

/** Whether the board is to take readings: a check is under way, or a calibration open and not proven yet. */
export const collectsNow = ({ calibration, checks }: BoardHistory): boolean =>
  checks.now !== undefined ||
  (calibration !== undefined && !calibration.ended && !calibration.proof);

/** Whether it is time to prove: the board runs what was sealed, and no newer fit stands ready to be written. */
export function provesNow(history: BoardHistory): boolean {
  const { calibration } = history;
  const newer = calibration?.fit && !calibration.fit.stale && !isSealedNow(calibration);
  return runsSealed(history) && !newer;
}
