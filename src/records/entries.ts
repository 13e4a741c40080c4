import type { AngleErrors, Uncertainty } from '../calib/covariance.ts';
import type { HeldOut } from '../calib/held-out.ts';
import type { ModelVerdict } from '../calib/model-choice.ts';
import type { ResidualTest } from '../calib/residual-tests.ts';
import type { OutsideReason } from '../calib/validity.ts';
import type { Stop, RefusalCause, SightingSpread, FittedReading } from '../calib/fit.ts';
import type { Coefficients } from '../calib/model.ts';
import type { BoardIdentity, BoardReading, MemoryState, StoredSet } from '../protocol/board.ts';
import type { Setting } from '../protocol/care-messages.ts';
import type { CoefficientSet } from '../protocol/coefficient-set.ts';
import type { RangeCorrection } from '../protocol/range-settings.ts';

/**
 * Everything that can happen to a board, one entry each. Entries are only ever added; what is so now follows from
 * folding them in order. They are plain data (kept by structured clone, exported as JSON): no functions, no NaN.
 * What came over the wire or goes on screen is in degrees, as there; what the fit gave is in radians, as there.
 */

/** Where the instrument was to point, degrees; whatever of it is known. */
export interface AimDegrees {
  azimuth?: number;
  inclination?: number;
  roll?: number;
}

/** One sighting of a plan: a line, and the rolls to read it at, in order. Degrees. */
export interface PlannedSighting {
  sighting: string;
  azimuth: number;
  inclination: number;
  rolls: readonly number[];
}

export interface Plan {
  /** What a person would call it, such as "cube". */
  name: string;
  sightings: readonly PlannedSighting[];
  /** Whether magnetic north was set out, or azimuths count only from each other. */
  azimuths: 'absolute' | 'relative';
  /** Sign of the dip at this place, where the person said so. */
  dipSign?: 1 | -1;
}

/** A reading as it was taken: what the board sent, and what it was meant to be. */
export interface TakenReading {
  /** Unique within the calibration; the name by which other entries mean this reading. */
  id: string;
  reading: BoardReading;
  /** Readings of one calibration with the same value here were taken along one line; absent for a free attitude. */
  sighting?: string;
  aim?: AimDegrees;
}

/** A reading that was not taken here, as counts of the scales of its calibration. */
export interface EnteredReading {
  /** Unique within the calibration. */
  id: string;
  sighting?: string;
  acc: readonly [number, number, number];
  mag: readonly [number, number, number];
  /** Degrees Celsius. */
  temperature?: number;
  aim?: AimDegrees;
}

/** Readings of a calibration that were taken elsewhere, as they were given, and how they were understood. */
export interface EnteredSheet {
  /** What the board is called, where the person said so. */
  boardName?: string;
  by: 'hand' | 'file';
  /** Name of the file. */
  file?: string;
  /** The text itself, whole. */
  text: string;
  /** What separates its cells, what marks its decimals, and what each of its columns was taken for. */
  separator: 'tab' | 'semicolon' | 'comma' | 'space';
  decimal: 'point' | 'comma';
  columns: readonly string[];
  /** Units of the text. */
  units: { acc: string; mag: string; angle?: string; temperature?: string };
  /** Counts that are about 1 g and about the length of the field; absent where nobody knows them. */
  scales?: { acc: number; mag: number };
  /** How the chips sit, where the person said so. */
  mounting?: { acc: string; mag: string };
}

/** A place that a reading is taken for. */
export interface CaptureAim {
  purpose: 'fit' | 'proof';
  sighting: string;
  aim: Required<AimDegrees>;
}

/** How true azimuth and inclination are to be, degrees: a figure of one's own, or that of a published survey grade. */
export interface ToleranceChoice {
  degrees: number;
  grade?: '3' | '5' | '6';
}

/** What a calibration holds for, in short. */
export interface HoldsFor {
  /** Coldest and warmest of the readings used, degrees Celsius; absent where none told its temperature. */
  temperature?: { coldest: number; warmest: number };
  /** Attitudes that stand for all, and how many of them no reading was near, by reason; one may have several. */
  attitudes: { of: number; outside: number; reasons: Partial<Record<OutsideReason, number>> };
  /** Largest standard errors among those attitudes, radians. */
  largest: AngleErrors;
}

/** What a model says of the readings it was fitted to, in short. Radians. */
export interface ModelInShort {
  uncertainty: Pick<Uncertainty, 'azimuth' | 'inclination' | 'freedom'>;
  meanSpread?: number;
  /** Noise of the accelerometer per reading and axis, of 1 g. */
  accNoise: number;
}

/** What was found out about a fit beside what it says itself. Radians. Each is absent where it could not be had. */
export interface Examination {
  modelChoice?: ModelVerdict;
  /** What the model that was not taken says; absent also where it was written before this was kept. */
  otherModel?: ModelInShort;
  heldOut?: HeldOut;
  residualTests?: readonly ResidualTest[];
  holdsFor?: HoldsFor;
  /** What the noise of one reading adds to its angles, whatever the coefficients: standard deviation over all attitudes. */
  readingNoise?: AngleErrors;
}

/** What a fit gave, without what can be computed again from it. Radians, counts. */
export interface FitRecord extends Examination {
  /** Unique within the calibration. */
  id: string;
  coefficients: Coefficients;
  dip: number;
  noise: { acc: number; mag: number; aim?: number };
  meanSpread?: number;
  sightings: readonly SightingSpread[];
  readings: readonly FittedReading[];
  uncertainty: Uncertainty;
  setAside: readonly { id: string; reason: string }[];
  stopped: Stop;
  iterations: number;
  warnings: readonly string[];
}

/** One figure of a proof with the most it may be; `unit` is empty for a ratio. */
export interface ProofFigure {
  /** What it is, in words. */
  name: string;
  value: number;
  limit?: number;
  unit: '°' | '%' | '';
  /** How many readings it was taken over. */
  n: number;
  good: boolean;
}

export interface ProofRecord {
  /** Of the coefficients proven. */
  generation: number;
  /** Ids of the proof readings it was taken over. */
  readings: readonly string[];
  figures: readonly ProofFigure[];
  passed: boolean;
  /** What this proof cannot see, in words. */
  blindTo: readonly string[];
  warnings: readonly string[];
}

/** Errors of coefficients against the simulated board's own truth, over `n` attitudes without noise. Degrees. */
export interface TruthErrors {
  /** Of azimuth × cos inclination, and of inclination: root mean squares, and the largest. */
  azimuth: number;
  inclination: number;
  largestAzimuth: number;
  largestInclination: number;
  n: number;
}

/** A reading in a board's memory that makes no sense: its number, and why. */
export interface UnreadableReading {
  reading: number;
  reason: string;
}

/** Where a set of coefficients comes from that is put on a board with no fit made for it. */
export interface SetSource {
  /** As which generation the board ran it last; absent where it never did. */
  generation?: number;
  /** The fit that gave it: the calibration, and its id there. */
  fit?: { calibration: string; id: string };
  /** What it is called, where it was entered from elsewhere. */
  entered?: string;
}

/** A set of coefficients that is to be put on a board as it is. */
export interface ChosenSet {
  set: CoefficientSet;
  crc: string;
  source: SetSource;
  /** Dip of the field where the board is used, radians, as far as the logbook knows it. */
  dip?: number;
}

/**
 * A check of the instrument in the field as a person set it out; where it is aimed, and in which order, follows from it.
 * Degrees, metres. Each reading of an aim is taken with the instrument aimed anew.
 *
 * - `rolls`: one mark, four rolls a quarter turn apart, `each` times round
 * - `fore and back`: two marks, each seen from the other, `each` readings at either; `heights`: by how much what was
 *   aimed at was higher over its mark than the instrument was held over its own, and how far it is, level; absent where
 *   that is nothing
 * - `known bearings`: marks with a bearing each, from the north that is named: true = grid + `convergence`,
 *   magnetic = true − `declination`. `declinationError` is its standard error; `trueTo` what no bearing is off by more
 * - `battery swap`: two marks about a quarter turn apart, four rolls on each, `each` times round, before and after
 * - `loop`: legs of these lengths in order, the last back to the first mark, each sighted from both ends `each` times, or
 *   `ways: 'fore'` from its beginning alone; `lengthsTo`: what no length is off by more; `heldTo`: how near to its mark the
 *   instrument is held, 0 if absent; `ranged`: the board's own range module measures the lengths, those here are rough
 * - `range`: baselines of these taped lengths, from the point of the instrument that `from` names, each ranged `each`
 *   times; `lengthsTo`: what no tape reading is off by more; `tapeTo`: the same of the tape itself, parts in a million;
 *   `limit`: what no range may be off by more
 * - `beam`: where the pointer beam lands beside a mark that is sighted, at two distances, in four rolls; then the farther
 *   mark sighted in four rolls, `each` times round, and the same with the beam on it. `readTo`: what no landing is off
 *   by more, millimetres
 */
export type CheckTerms =
  | { check: 'rolls'; mark: string; each: number }
  | {
      check: 'fore and back';
      each: number;
      heights?: { fore: number; back: number; distance: number };
    }
  | {
      check: 'known bearings';
      north: 'magnetic' | 'true' | 'grid';
      declination: number;
      declinationError: number;
      convergence: number;
      trueTo: number;
      each: number;
      marks: readonly { mark: string; bearing: number }[];
    }
  | { check: 'battery swap'; each: number }
  | {
      check: 'loop';
      lengths: readonly number[];
      lengthsTo: number;
      each: number;
      ways?: 'fore';
      heldTo?: number;
      ranged?: true;
    }
  | {
      check: 'range';
      lengths: readonly number[];
      lengthsTo: number;
      tapeTo: number;
      from: string;
      limit: number;
      each: number;
    }
  | { check: 'beam'; near: Landings; far: Landings; readTo: number; each: number };

/**
 * Where a pointer beam lands while a mark is sighted, upright, a quarter right, upside down and a quarter left:
 * millimetres to the right of the mark and above it, as one sees them who faces it. `distance`: from the instrument, m.
 */
export interface Landings {
  distance: number;
  landed: readonly { right: number; up: number }[];
}

/**
 * What a range check found: a range is `constant` + `scale` × the length, in metres, with the variances of the two and
 * their covariance, and Student's degrees of freedom. It holds between the lengths `least` and `most`, counted from `from`.
 */
export interface FoundRange {
  constant: number;
  scale: number;
  covariance: { constant: number; scale: number; both: number };
  freedom: number;
  least: number;
  most: number;
  from: string;
  /** What the board added while its readings were taken; absent where it has no settings for that. */
  correction?: RangeCorrection;
}

export type CheckKind = CheckTerms['check'];

/** A figure of a check: how far off something is, with the half-width of its 95 % interval, both in `unit`; it may be infinite. */
export interface CheckFigure {
  /** What it is, in words. */
  name: string;
  value: number;
  half: number;
  unit: '°' | 'm' | '%' | 'mm' | 'ppm';
  /** The most that it may be either way, and how it stands; absent where it is only told. */
  limit?: number;
  standing?: CheckStanding;
  /** What 95 in 100 stay below, of instruments and people no worse than is known of these; absent where nothing tells it. */
  expected?: number;
  /** How many readings it was taken over. */
  n: number;
}

/** `not settled`: the interval reaches to both sides of what is allowed. */
export type CheckStanding = 'within' | 'outside' | 'not settled';

/** What came of a check. */
export interface CheckRecord {
  /** Id of the check. */
  check: string;
  of: CheckKind;
  /** Of the coefficients that were checked, and their CRC. */
  generation: number;
  crc: string;
  tolerance: ToleranceChoice;
  verdict: 'passed' | 'failed' | 'not settled';
  figures: readonly CheckFigure[];
  /** What speaks against relying on it, a sentence each. */
  warnings: readonly string[];
  /** What the figures say, a sentence each. */
  found?: readonly string[];
  /** What came of a range check. */
  range?: FoundRange;
}

/** A mean, and the standard deviation of one reading about it. */
export interface Scattered {
  mean: number;
  sd: number;
}

/** What a board held still at one spot of a site read; none of it is kept on the board. */
export interface SiteSpot {
  time: string;
  /** How many readings; and how many more were left out because the board moved. */
  n: number;
  moved: number;
  /** Length of the field: one where the coefficients were made, or raw counts over the board's own scale. */
  field: Scattered;
  /** Radians; absent where no coefficients tell it. */
  dip?: Scattered;
  /** Which way down was, in the axes of the accelerometer as it sits: a unit vector of raw counts. */
  down: readonly [number, number, number];
  /** The field, in the axes of the magnetometer as it sits: mean raw counts over the board's own scale. */
  raw: readonly [number, number, number];
}

/** Whether a site is magnetically clean, as far as a board can tell. */
export interface SiteCheckRecord {
  /** Degrees, north and east positive; metres above the sea. */
  place?: { latitude: number; longitude: number; height: number };
  /** The field that a model expects there: radians, and nT. `valid`: whether it covers the day. */
  expected?: {
    model: string;
    valid: boolean;
    declination: number;
    dip: number;
    strength: number;
  };
  /** The coefficients that the board ran and that the readings were seen through; absent where they were taken raw. */
  through?: { generation: number; crc: string };
  /** Strength of the field that a model expects where these were made, nT; absent where that place is not known. */
  madeIn?: number;
  /** One, or two that are some steps apart. */
  spots: readonly SiteSpot[];
  figures: readonly ProofFigure[];
  /** `nothing found`: as far as could be told, which is not far; `open`: more is to be done before anything is said. */
  verdict: 'clean' | 'disturbed' | 'nothing found' | 'open';
  /** What this check could not tell, a sentence each. */
  blindTo: readonly string[];
}

/**
 * How a board lies while it is looked at in the check of its assembly. `at rest`: level and upright, the sight to the north.
 * The tilts begin there and keep the azimuth; `quarter turn` is level and upright again, the sight to the east.
 */
export type AssemblyPose =
  'at rest' | 'nose up' | 'nose down' | 'right side down' | 'upside down' | 'quarter turn';

/** Looks at the sensors of a board in one pose, in the order they came; none of it is kept on the board. */
export interface PoseLooks {
  pose: AssemblyPose;
  looks: readonly Omit<BoardReading, 'reading' | 'generation'>[];
  /** Looks that the board refused: how many, and with what. */
  refused?: { code: 'saturated' | 'low_power'; times: number };
  /** Somebody saw that it lay as was wanted, whatever its sensors said. */
  sure?: true;
}

/** What may be found wrong with a board that was just put together; what each means is in `steps/assembly/finding-words.ts`. */
export type AssemblyFault =
  | 'no answer'
  | 'stuck'
  | 'clipped'
  | 'end of range'
  | 'noisy'
  | 'quiet'
  | 'lags'
  | 'turned'
  | 'reversed'
  | 'swapped'
  | 'mirrored'
  | 'contradictory'
  | 'offset'
  | 'scale'
  | 'supply low'
  | 'supply implausible'
  | 'temperature implausible';

export interface AssemblyFinding {
  fault: AssemblyFault;
  /** Absent where it concerns neither or both. */
  chip?: 'acc' | 'mag';
  /** The axes of the chip that it concerns, by the chip's own names; absent where it is all of it. */
  axes?: readonly ('x' | 'y' | 'z')[];
  /** What was seen, a sentence or two with figures and what is normal. */
  evidence: string;
}

/** What came of a check of the assembly. */
export interface AssemblyRecord {
  /** `not settled`: nothing was found, but not everything could be looked at. */
  verdict: 'sound' | 'faulty' | 'not settled';
  findings: readonly AssemblyFinding[];
  /** How the chips were found to sit, as `+y-x+z`; absent where that could not be told. */
  mounting: { acc?: string; mag?: string };
  /** What could not be told, a sentence each. */
  untold: readonly string[];
}

interface Happening {
  /** Serial number of the board. */
  board: string;
  /** When, ISO 8601 with UTC offset, as `Date.toISOString` gives it. */
  time: string;
}

/**
 * What a person says of a board. `id` is unique over all boards, so that it can be withdrawn; `on` is the day it
 * happened, ISO 8601, where that is not the day it was written.
 */
export type Remark =
  | { kind: 'note'; text: string; id?: string; on?: string }
  | { kind: 'battery changed'; id: string; text?: string; on?: string }
  /** Knocked, or dropped. */
  | { kind: 'knocked'; id: string; text?: string; on?: string }
  /** A remark was wrong: it counts no more. */
  | { kind: 'remark withdrawn'; of: string };

/** What happens to a board, in a calibration or outside any. */
type BoardEntry = Happening & {
  calibration?: string;
} & (
    | { kind: 'board linked'; identity: BoardIdentity; link: string }
    /**
     * What was on the board, before anything was changed: the readings of it that the logbook did not hold, and those
     * that could not be read.
     */
    | {
        kind: 'memory saved';
        memory: MemoryState;
        readings: readonly BoardReading[];
        unreadable?: readonly UnreadableReading[];
      }
    /** The sets that were on the board, before anything was changed; absent where it has none. */
    | { kind: 'coefficients saved'; inForce?: StoredSet; previous?: StoredSet }
    /** Readings acknowledged, so that the board may forget them. */
    | { kind: 'erased'; through: number; count: number }
    | Remark
    /** The second spot of a site is told together with the first, in an entry of its own. */
    | ({ kind: 'site checked' } & SiteCheckRecord)
    /**
     * A check in the field begins, of what the board runs then. Nothing that the board keeps is changed by one. `id` is
     * unique over all boards. The newest check that was begun and has come to no end is the one that is under way.
     */
    | {
        kind: 'check begun';
        id: string;
        terms: CheckTerms;
        tolerance: ToleranceChoice;
        generation: number;
        set: CoefficientSet;
        crc: string;
        /** What the board added to its ranges then; absent where it has no settings for that. */
        correction?: RangeCorrection;
      }
    /** A reading for one place of a check; of several for one place the newest counts. */
    | { kind: 'check reading'; check: string; place: string; reading: BoardReading }
    /** What came of a check. */
    | ({ kind: 'check' } & CheckRecord)
    /** A check was left before it came to an end. */
    | { kind: 'check left'; check: string }
    /**
     * A check of the assembly begins. It changes nothing on the board. The newest that was begun and has come to no end is
     * the one that is under way.
     */
    | { kind: 'assembly check begun'; id: string }
    /** The board in one pose of that check; of several for one pose the newest counts. */
    | ({ kind: 'assembly looked at'; check: string } & PoseLooks)
    | ({ kind: 'assembly checked'; check: string } & AssemblyRecord)
    /** It was left before it came to an end. */
    | { kind: 'assembly check left'; check: string }
    /** Coefficients from a calibration that was not made here: read from a file, or typed. Kept, and on no board yet. */
    | {
        kind: 'coefficients entered';
        set: CoefficientSet;
        crc: string;
        /** What a person calls them: the file's name, or who made them, and when. */
        name: string;
        by: 'file' | 'hand';
        /** Dip of the field where they were made, radians, where the file says it. */
        dip?: number;
      }
  );

/** How it is known that the board did something: it said so, or it was seen later that it had. */
export type Known = 'answer' | 'read back';

/** What a setting is to be. */
export interface SettingChange {
  name: string;
  to: string;
}

/**
 * What is done for the care of a board. Whatever changes it is written here before it is sent ("begun"), so that what
 * became of it is looked up at the next link if the answer is lost.
 */
export type CareEntry = Happening & {
  calibration?: string;
} & (
    | { kind: 'settings saved'; revision: number; settings: readonly Setting[] }
    | { kind: 'settings begun'; replaces: number; changes: readonly SettingChange[] }
    /** `restart`: one of them takes effect only once the board has started again. */
    | { kind: 'settings adopted'; revision: number; restart: boolean; known: Known }
    | { kind: 'settings failed'; reason: string }
    | { kind: 'rename begun'; from: string; to: string }
    | { kind: 'renamed'; to: string; known: Known }
    | { kind: 'rename failed'; reason: string }
    /** Seconds since 1970, UTC: what the board's clock said (absent where it was not set), and what it is to say. */
    | { kind: 'clock begun'; said?: number; utc: number }
    | { kind: 'clock set'; utc: number; known: Known }
    | { kind: 'clock failed'; reason: string }
    | { kind: 'erase begun'; through: number; count: number }
    | { kind: 'erase failed'; reason: string }
    /** A set from the logbook is to be in force again, after other firmware put its own there. */
    | { kind: 'restore begun'; replaces: number; crc: string }
    | { kind: 'restored'; generation: number; crc: string; replaced: number; known: Known }
    | { kind: 'restore failed'; reason: string }
    /** Other firmware is to run: from a file, or that in the spare slot. What was on the board is saved by now. */
    | ({ kind: 'update begun' } & UpdatePlan)
    | { kind: 'update swap begun' }
    /** The board said that it starts the new firmware, on trial. */
    | { kind: 'update swapped' }
    /** The new firmware was found healthy; what was looked at, in words. */
    | { kind: 'update confirm begun'; checks: readonly string[] }
    | { kind: 'update confirmed'; known: Known }
    /** Settings and coefficients are as they were, but for what is said here, a sentence each. */
    | { kind: 'update finished'; otherwise: readonly string[] }
    | { kind: 'update undone'; running: string; reason: string }
    | { kind: 'update given up'; reason: string }
  );

/** Firmware that is to take the place of another. */
export interface UpdatePlan {
  /** Versions. */
  from: string;
  to: string;
  source: 'file' | 'spare';
  /** Bytes, and CRC-32 as eight hexadecimal digits. */
  size: number;
  crc: string;
  /** How long the board tries it before it goes back by itself, seconds. */
  trialSeconds: number;
}

/**
 * A change of what a reading counts for. Changes made at once bear the same `step`; with `way` they undo the step of that
 * name, or do it again.
 */
interface InStep {
  step?: string;
  way?: 'undo' | 'redo';
}

/** What happens within one calibration. */
type CalibrationEntry = Happening & {
  /** Unique over all boards. */
  calibration: string;
} & (
    | { kind: 'calibration started'; plan: Plan }
    /** Begins a calibration of readings that were taken elsewhere: the bench never goes on with it, nor writes it to a board. */
    | { kind: 'calibration entered'; plan: Plan; sheet: EnteredSheet }
    | ({ kind: 'reading entered' } & EnteredReading)
    /** Begins a calibration that takes no readings but those of its proof: this set is to be put on the board as it is. */
    | ({ kind: 'set chosen' } & ChosenSet)
    /**
     * The plan goes on: these sightings are added to it, or, where it has one of that name, these rolls. `instead`: in place
     * of all that it still lacked.
     */
    | { kind: 'plan extended'; sightings: readonly PlannedSighting[]; instead?: true }
    /** What the calibration is to be judged against from now on. */
    | ({ kind: 'tolerance chosen' } & ToleranceChoice)
    /**
     * Written before the board is asked for a reading, so that one whose answer is lost is known by its aim.
     * `after` is the newest number the board had given then: the reading gets the next one.
     */
    | ({ kind: 'capture begun'; after: number } & CaptureAim)
    /** The board took no reading of it, or none that can be had. */
    | { kind: 'capture failed'; reason: string }
    | ({ kind: 'reading' } & TakenReading)
    | ({ kind: 'set aside'; reading: string; reason: string; by: 'person' | 'fit' } & InStep)
    | ({ kind: 'taken back'; reading: string } & InStep)
    /** It counts to that sighting from now on, or to none, whatever it was taken for. */
    | ({ kind: 'moved'; reading: string; sighting?: string } & InStep)
    | ({ kind: 'fit' } & FitRecord)
    | { kind: 'fit refused'; cause: RefusalCause; message: string; next: string }
    /**
     * Staged and checked: `crc` is what the board holds. `fit` is the id of the fit it came from; absent where it is the
     * set that was chosen.
     */
    | { kind: 'staged'; fit?: string; set: CoefficientSet; crc: string }
    /** Written before the seal is sent, so that an interrupted one is known afterwards. */
    | { kind: 'seal begun'; replaces: number; crc: string }
    /** `known` by the board's answer, or by reading back after a doubt. `replaced` is the generation before it. */
    | {
        kind: 'sealed';
        generation: number;
        crc: string;
        replaced: number;
        known: 'answer' | 'read back';
      }
    /** A seal that had begun turned out not to have happened. */
    | { kind: 'seal failed'; generation: number; reason: string }
    /** Written before the revert is sent; `crc` is of the set that is to be in force again. */
    | { kind: 'revert begun'; replaces: number; crc: string }
    /** `known` and `replaced` as with `sealed`. */
    | {
        kind: 'reverted';
        generation: number;
        crc: string;
        replaced: number;
        known: 'answer' | 'read back';
      }
    /** A revert that had begun turned out not to have happened. */
    | { kind: 'revert failed'; generation: number; reason: string }
    /** A fresh reading, taken after sealing: no fit ever sees it. */
    | ({ kind: 'proof reading' } & TakenReading)
    | ({ kind: 'proof' } & ProofRecord)
    | ({ kind: 'truth compared'; generation: number } & TruthErrors)
    | { kind: 'calibration ended'; outcome: 'proven' | 'abandoned'; reason: string }
    /** Taken up again where it was left, in place of any that was begun since. */
    | { kind: 'calibration resumed' }
  );

export type Entry = BoardEntry | CareEntry | CalibrationEntry;

export type EntryKind = Entry['kind'];

/** An entry of one kind, as `EntryOf<'sealed'>`. */
export type EntryOf<K extends EntryKind> = Extract<Entry, { kind: K }>;

/**
 * An entry as it lies in the logbook. Numbers grow in the order in which entries came to it; one that was written at
 * another bench also has that bench and its number there.
 */
export type StoredEntry = Entry & { number: number; foreign?: { bench: string; number: number } };
