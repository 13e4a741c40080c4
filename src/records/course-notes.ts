import type { CourseWarning } from '../calib/check-course.ts';
import type { BoardReading } from '../protocol/board.ts';

/**
 * What is written about a check course: what can be in the body of a note of one (a note is only ever added, and what is
 * so now follows from reading them in order). Plain data, no NaN. Angles are degrees: azimuth clockwise from magnetic
 * north unless it says otherwise, inclination up positive.
 */
export type CourseNote =
  /** The course as it is from now on, whole; its legs and stations keep their names for as long as they are the same. */
  | ({ kind: 'course laid out' } & CourseLayout)
  /** What the course is settled by from now on. */
  | ({ kind: 'course terms' } & CourseTerms)
  /** The course is shot on that day (ISO 8601, such as 2031-05-12), by `outing`, which is unique over all courses. */
  | { kind: 'outing begun'; outing: string; day: string }
  | ({ kind: 'shot' } & CourseShot)
  /** The shot, by the id of its note, is left out of what is settled, until it is taken back. */
  | { kind: 'shot set aside'; shot: string; reason: string }
  | { kind: 'shot taken back'; shot: string }
  | ({ kind: 'outing settled' } & OutingSettled);

export interface CourseLayout {
  name: string;
  /** Their names, each once. */
  stations: readonly string[];
  legs: readonly CourseLeg[];
  /** How often each instrument shoots a leg from either end. */
  each: number;
  /** Where it lies: degrees, north and east positive; metres. Wanted where a true bearing is known. */
  place?: { latitude: number; longitude: number; height: number };
  /** Grid north from true north, degrees, east positive. Wanted where a bearing from grid north is known. */
  convergence?: number;
  /**
   * Only of a course that is made up, for simulated boards: by how much the field is turned at stations, and by how much
   * the sight of the second instrument of a day is bent, degrees. Their hands hold them so.
   */
  madeUp?: { turned: readonly { station: string; degrees: number }[]; bent: number };
}

/** A leg, named by its stations; fore is from `from` to `to`. There is one leg at most between two stations. */
export interface CourseLeg {
  from: string;
  to: string;
  /** What is known of it beforehand; `sigma` is a standard uncertainty. */
  azimuth?: { degrees: number; sigma: number; north: 'magnetic' | 'true' | 'grid' };
  inclination?: { degrees: number; sigma: number };
}

export type ShotWay = 'fore' | 'back';

/** A board by its serial number, or any other instrument by a name. */
export type CourseInstrument = { board: string } | { name: string };

export interface CourseTerms {
  /**
   * Where the field is not turned: at the clean stations, or on the mean of all; each give or take `sigma`, degrees.
   * `nothing said`: then azimuths and disturbances are determined only as differences.
   */
  stations: { clean: readonly string[]; sigma: number } | { zeroMean: number } | 'nothing said';
  /**
   * An instrument whose shots through the day tell how the field changed with time; `asRight`: it is also taken as right,
   * give or take so many degrees of azimuth and of inclination.
   */
  reference?: { instrument: CourseInstrument; asRight?: number };
  /** What an instrument may be off by at most, degrees. */
  tolerance: number;
}

export interface CourseShot {
  outing: string;
  /** The leg by its stations, in the order in which the leg has them. */
  leg: { from: string; to: string };
  /** `back`: shot from the leg's end to its beginning. The angles are as shown then. */
  way: ShotWay;
  instrument: CourseInstrument;
  azimuth?: number;
  inclination?: number;
  /** When it was taken, as a time in UTC. */
  taken?: string;
  source: ShotSource;
}

export type ShotSource =
  /**
   * A reading of a board, seen through the coefficients that it ran: their generation and CRC. The board's own angles are
   * in the reading. `turned`: a simulated hand held it so many degrees to the right of the mark, to stand for iron or for
   * a bent sight.
   */
  | {
      from: 'link' | 'memory';
      reading: BoardReading;
      generation: number;
      crc: string;
      turned?: number;
    }
  | { from: 'file'; file: string; line: number }
  | { from: 'hand' };

/** What was settled of an outing, with all that went in: shots by the ids of their notes. */
export interface OutingSettled {
  outing: string;
  shots: readonly string[];
  layout: CourseLayout;
  terms: CourseTerms;
  /** Magnetic from true north on that day, and its standard uncertainty; absent where it was not wanted. */
  declination?: { degrees: number; sigma: number; model: string };
  result: CourseResult;
}

/** A value, its standard error and degrees of freedom (left out where known beforehand), and half its 95 % interval; degrees. */
export interface CourseFigure {
  value: number;
  error: number;
  freedom?: number;
  half: number;
}

/**
 * A value; or, where it is not determined by itself, how far it is above another of its kind, or that others are told as
 * so far above it (`base`). Nothing where none of these is.
 */
export interface CourseQuantity {
  alone?: CourseFigure;
  above?: CourseFigure & { other: string };
  base?: true;
}

/**
 * - `within`: its interval lies within what is allowed
 * - `off`: it differs from nothing, or from the others, by more than chance
 * - `scatters`: its shots scatter more than those of the others
 * - `not settled`: none of these
 */
export type InstrumentStanding = 'within' | 'off' | 'scatters' | 'not settled';

/** What a course says of one instrument. */
export interface InstrumentResult {
  instrument: CourseInstrument;
  shots: number;
  standing: InstrumentStanding;
  /** As one sentence. */
  verdict: string;
  /** What its shots fit only all together: other signs of inclination, or each from the other end of its leg. */
  reversed?: 'sign changed' | 'other way';
  /** What its azimuths and inclinations show too much everywhere: by itself, or against the others. */
  azimuth?: CourseFigure & { against: 'zero' | 'others' };
  inclination?: CourseFigure & { against: 'zero' | 'others' };
  /** Standard deviation of one shot. */
  scatter: { azimuth?: number; inclination?: number };
  /** What else there is to say, a sentence each. */
  words: readonly string[];
}

/** A standard deviation with its 95 % interval (without end above where little tells it); degrees. */
export interface CourseDeviation {
  value: number;
  low: number;
  high?: number;
}

/** By the definitions of ISO 5725: of one instrument again and again, and of any instrument. */
export interface CoursePrecision {
  repeatability?: CourseDeviation;
  reproducibility?: CourseDeviation;
}

export interface CourseResult {
  instruments: readonly InstrumentResult[];
  /** By how much azimuths shot there show too much; `disturbs`: more than chance explains. */
  stations: readonly ({ station: string; disturbs: boolean } & CourseQuantity)[];
  legs: readonly {
    from: string;
    to: string;
    /** From magnetic north. */
    azimuth: CourseQuantity;
    inclination: CourseQuantity;
  }[];
  /** Shots that look wrong, by the ids of their notes, and the evidence as a sentence. */
  doubted: readonly { shot: string; words: string }[];
  precision: { azimuth: CoursePrecision; inclination: CoursePrecision };
  /** How far the field turned through the day; absent where no reference tells. */
  drift?: { range: number; verdict: 'drifts' | 'no drift seen' | 'cannot tell' };
  /** What is not determined, and why; what speaks against relying on it; what it cannot see: a sentence each. */
  notDetermined: readonly string[];
  warnings: readonly string[];
  blindTo: readonly string[];
  /** What `warnings` say, by its kind; absent where there is nothing, and in results written before it was kept. */
  causes?: readonly CourseWarning[];
}

/** By which an instrument is known within a course. */
export const instrumentKey = (instrument: CourseInstrument): string =>
  'board' in instrument ? `board ${instrument.board}` : `other ${instrument.name}`;

/** What an instrument is called in a file or a table. */
export const instrumentName = (instrument: CourseInstrument): string =>
  'board' in instrument ? instrument.board : instrument.name;

export const isSameLeg = (
  a: Pick<CourseLeg, 'from' | 'to'>,
  b: Pick<CourseLeg, 'from' | 'to'>,
): boolean => a.from === b.from && a.to === b.to;
