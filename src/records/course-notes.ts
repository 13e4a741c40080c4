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
  /** Clean stations disturb nothing; `zero mean`: the disturbances are taken to come to nothing on the whole. */
  stations: { clean: readonly string[] } | 'zero mean' | 'nothing said';
  /**
   * An instrument that is taken as right. Its shots through the day, where it has enough of them, tell how the field
   * changed with time.
   */
  reference?: CourseInstrument;
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

/** A value with the half-width of its 95 % interval; degrees. */
export interface CourseFigure {
  value: number;
  half: number;
}

/** `cannot tell`: the interval reaches to both sides of what is allowed; or there is nothing that it could be told from. */
export type InstrumentVerdict = 'within' | 'off' | 'scatters' | 'cannot tell';

export interface CourseResult {
  verdict: 'all within' | 'some off' | 'not settled';
  /** Whether azimuths of legs, constants and disturbances stand by themselves, or only their differences do. */
  only: readonly ('differences of constants' | 'differences of disturbances')[];
  instruments: readonly {
    instrument: CourseInstrument;
    shots: number;
    verdict: InstrumentVerdict;
    /** What its azimuths show too much everywhere. */
    azimuth?: CourseFigure;
    /** The same of its inclinations. */
    inclination?: CourseFigure;
    /** Standard deviation of one shot. */
    scatter: { azimuth?: number; inclination?: number };
    /** As sentences. */
    words: readonly string[];
  }[];
  stations: readonly { station: string; azimuth?: CourseFigure; disturbs: boolean }[];
  legs: readonly { from: string; to: string; azimuth?: CourseFigure; inclination?: CourseFigure }[];
  /** Shots that look wrong, and the evidence as a sentence; by the ids of their notes. */
  doubted: readonly { shot: string; words: string }[];
  /** ISO 5725: standard deviations of one instrument on one leg, and of any of them. */
  repeatability: { azimuth?: number; inclination?: number };
  reproducibility: { azimuth?: number; inclination?: number };
  /** What is not determined, and why; what it cannot see; a sentence each. */
  notDetermined: readonly string[];
  blindTo: readonly string[];
  warnings: readonly string[];
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
