import type { ToleranceChoice } from '../../records/entries.ts';
import type { KitFields, StageName, WorkshopTerms } from '../../records/workshop-notes.ts';
import type { Glance } from '../board-glance.ts';
import type { Standing } from '../finding.ts';

/** What the roster of a workshop says of its kits. */

/**
 * Where the board of a kit is. `linked`: at this bench (or about to be). `dropped out`: at this bench, its link was lost.
 * `put away`: it was here. `elsewhere`: what is known of it was written at another computer. `not seen`: nothing is.
 */
export type Whereabouts = 'linked' | 'dropped out' | 'put away' | 'elsewhere' | 'not seen';

/** How far a kit is. */
export interface KitStage {
  name: StageName;
  /** In words with figures: "readings 31 of 56", "judged: good enough". */
  words: string;
  /** Which of STAGES, from 0. */
  step: number;
  /** How many of the readings that are wanted now are there; absent where none are. */
  progress?: { done: number; of: number };
}

/** What came of a kit, as far as it came. */
export interface KitResult {
  /** Generation that was sealed; absent before. */
  generation?: number;
  /** When it was sealed, ISO 8601. */
  sealed?: string;
  /** CRC of the coefficients as the board has it; absent before they are sealed. */
  crc?: string;
  tolerance: ToleranceChoice;
  /** How the fit stands against the tolerance. */
  judged: Standing;
  /** Degrees: mean spread, absent where no sighting has two readings, and halves of the 95 % intervals of what the coefficients add. */
  meanSpread?: number;
  azimuth: number;
  inclination: number;
  /** How many readings the fit used. */
  readings: number;
  /** Absent where there is no proof. */
  proof?: { passed: boolean; readings: number };
  /** Coldest and warmest reading that the fit used, degrees Celsius. */
  temperature?: { coldest: number; warmest: number };
}

export interface KitRemark {
  text: string;
  time: string;
}

/** One line of the roster: replaced whole where anything of it changes. */
export interface KitRow {
  /** Id of the kit. */
  kit: string;
  serial: string;
  builder: string;
  /** Its place on the bench. */
  place: string;
  /** What the board calls itself; absent where it does not or nobody has seen it. */
  name?: string;
  whereabouts: Whereabouts;
  /** Id of the bench that wrote last of its board, where that is another. */
  bench?: string;
  stage: KitStage;
  /** When the stage was known, ISO 8601; absent while the board is linked and where it was not seen. */
  asOf?: string;
  /** How it stands in all: as a {@link Glance} has it. */
  shape: Glance['shape'];
  /** What is being done at the board now. */
  work?: string;
  /** What to do next at the board; absent where it is not at this bench. */
  next?: string;
  /** What is wrong, in a few words. */
  trouble?: string;
  /** Absent before a fit. */
  result?: KitResult;
  /** How its site was checked: by this board itself, or by another for all. */
  site?: 'own' | 'for all';
  remarks: readonly KitRemark[];
  /** What was written of it elsewhere at the same time, and gave way. */
  overruled: readonly { field: keyof KitFields; value: string; time: string }[];
}

/** A workshop as it is now. */
export interface WorkshopNow {
  paper: string;
  terms: WorkshopTerms;
  /** In the order in which they were added; a kit keeps its place whatever becomes of its board. */
  kits: readonly KitRow[];
  /** Kits that were taken off, to be put back. */
  takenOff: readonly KitRow[];
  /** Of the whole workshop. */
  remarks: readonly KitRemark[];
  /** The site check that stands for all. */
  site?: { board: string; checked: string; verdict: string };
  /** How many kits are at each stage or beyond, and how many are in trouble. */
  counts: { kits: number; linked: number; written: number; proven: number; trouble: number };
}
