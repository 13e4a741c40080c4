import type { SiteCheckRecord, ToleranceChoice } from '../../records/entries.ts';
import {
  STAGES,
  type KitFields,
  type StageName,
  type WorkshopTerms,
} from '../../records/workshop-notes.ts';
import { glance, type Glance } from '../board-glance.ts';
import type { BoardHistory } from '../calibration-state.ts';
import { listed, type Standing } from '../finding.ts';
import type { PlaceState } from '../place-state.ts';
import { isSince, NOT_SEEN, stageOf, standingOf } from './kit-stage.ts';
import { lastSeen, type KitRecord, type WorkshopRecords } from './workshop-records.ts';

/** What the roster of a workshop says of its kits. */

/**
 * Where the board of a kit is. `linked`: at this bench. `dropped out`: at this bench, its link was lost, or is being made again.
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
  proof?: {
    /** By the tolerance that was chosen at the board. */
    passed: boolean;
    /** By that of the workshop, as far as it limits a proof. */
    holds: boolean;
    readings: number;
  };
  /** What speaks against relying on what was sealed, in a few words; absent where nothing is known to. */
  against?: string;
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
  /** Ids under which other computers added the same kit; the serial number told that it is the same. */
  alias: readonly string[];
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
  /** What other kits of the roster are called that have the same serial number; empty in order. */
  twins: readonly string[];
}

/** A check of the site that a board made at that time. */
export interface SiteForAll {
  board: string;
  checked: string;
  verdict: SiteCheckRecord['verdict'];
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
  site?: SiteForAll;
  /** How many kits are at each stage or beyond, how many are proven with nothing against it, and how many are in trouble. */
  counts: { kits: number; linked: number; written: number; proven: number; trouble: number };
}

/** What is known here of a board: the place at this bench that has it, and what the logbook says where it is not linked. */
export interface KnownBoard {
  place?: PlaceState;
  logged?: {
    history: BoardHistory;
    /** Of its newest entry. */
    time: string;
    /** That wrote it, where that is another bench. */
    bench?: string;
  };
  /** Id of this bench: what it noted itself of how a board stood is no news to it. */
  here?: string;
}

/** The line of a kit. */
export function kitRow(
  kit: KitRecord,
  known: KnownBoard,
  records: Pick<WorkshopRecords, 'terms' | 'site' | 'seen'>,
): KitRow {
  const row = rowOf(kit, known, records);
  if (kit.twins.length === 0) return row;
  // whose board it is must be settled before anything that is said of it
  const trouble = `the same serial number as ${listed(kit.twins)}`;
  return { ...row, trouble, shape: shapeOf(row.stage, trouble, row.shape) };
}

function rowOf(
  kit: KitRecord,
  { place, logged, here }: KnownBoard,
  { terms, site, seen }: Pick<WorkshopRecords, 'terms' | 'site' | 'seen'>,
): KitRow {
  const history = place?.history ?? logged?.history;
  const row = { ...kit, ...siteOf(history, terms.day, site), ...nameOf(history) };
  const standing = history && standingOf(history, terms);
  const link = place?.link.state;
  if (place && standing && (link === 'linked' || link === 'linking' || link === 'lost')) {
    const live = glance(place);
    const trouble = live.trouble ?? (link === 'lost' ? live.link : standing.trouble);
    return {
      ...row,
      ...standing,
      // while it is linked again it is not back yet
      whereabouts: link === 'linked' ? 'linked' : 'dropped out',
      ...(link !== 'linked' && asOf(logged)),
      shape: shapeOf(standing.stage, trouble, live.shape),
      ...(live.work !== undefined && { work: live.work }),
      next: live.next,
      ...(trouble !== undefined && { trouble }),
    };
  }
  const told = lastSeen(seen, kit.serial, here);
  // what another computer saw of it later says more than its entries, as far as they are here
  if (told && (!logged || Date.parse(told.seen) > Date.parse(logged.time))) {
    const { stage: name, words, trouble } = told;
    const now = {
      ...(standing?.result && { result: standing.result }),
      stage: stageOf(name, words),
      ...(trouble !== undefined && { trouble }),
    };
    return {
      ...row,
      ...now,
      whereabouts: 'elsewhere',
      ...(told.bench !== undefined && { bench: told.bench }),
      asOf: told.seen,
      shape: shapeOf(now.stage, now.trouble, 'watch'),
    };
  }
  if (standing) {
    const bench = logged?.bench;
    const from = bench === undefined ? {} : { bench };
    const whereabouts = bench === undefined ? 'put away' : 'elsewhere';
    return {
      ...row,
      ...standing,
      whereabouts,
      ...from,
      ...asOf(logged),
      shape: shapeOf(standing.stage, standing.trouble, 'watch'),
    };
  }
  return { ...row, whereabouts: 'not seen', stage: NOT_SEEN, shape: 'ahead' };
}

const asOf = (logged: KnownBoard['logged']): Pick<KitRow, 'asOf'> =>
  logged ? { asOf: logged.time } : {};

/** The worst of what is so, else that it is done, else what it is otherwise. */
const shapeOf = (
  { name }: KitStage,
  trouble: string | undefined,
  otherwise: Glance['shape'],
): Glance['shape'] => {
  if (otherwise === 'waiting') return otherwise;
  return trouble !== undefined ? 'bad' : name === 'proven' ? 'good' : otherwise;
};

const nameOf = (history: BoardHistory | undefined): Pick<KitRow, 'name'> =>
  history?.identity?.name ? { name: history.identity.name } : {};

/** Its own check of the site on that day is nearer to it than one for all. */
const siteOf = (
  history: BoardHistory | undefined,
  day: string,
  forAll: SiteForAll | undefined,
): Pick<KitRow, 'site'> => {
  const checked = history?.site.newest?.time;
  return checked !== undefined && isSince(day, checked)
    ? { site: 'own' }
    : forAll
      ? { site: 'for all' }
      : {};
};

/** Proven, and nothing known that speaks against it; that its link was lost since does not. */
const isProven = ({ stage, result, trouble }: KitRow): boolean =>
  stage.name === 'proven' &&
  (result ? result.judged !== 'bad' && result.against === undefined : trouble === undefined);

/** The workshop as it is, from its records and a line for each kit of them. */
export function workshopNow(
  { paper, terms, remarks, site }: WorkshopRecords,
  kits: readonly KitRow[],
  takenOff: readonly KitRow[],
): WorkshopNow {
  const reached = (name: StageName) =>
    kits.filter(({ stage }) => stage.step >= STAGES.indexOf(name)).length;
  return {
    paper,
    terms,
    kits,
    takenOff,
    remarks,
    ...(site && { site }),
    counts: {
      kits: kits.length,
      linked: reached('linked'),
      written: reached('written'),
      proven: kits.filter(isProven).length,
      trouble: kits.filter(({ trouble }) => trouble !== undefined).length,
    },
  };
}
