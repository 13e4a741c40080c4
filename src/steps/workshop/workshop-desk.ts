import type { Problem } from '../../records/logbook-file-reader.ts';
import type { PaperInShort } from '../../records/papers.ts';
import type { KitFields, WorkshopTerms } from '../../records/workshop-notes.ts';
import type { Bench } from '../bench.ts';
import type { FileOut } from '../file-out.ts';
import type { WorkshopNow } from './roster.ts';

export type { KitRow, KitResult, KitStage, Whereabouts, WorkshopNow } from './roster.ts';
export { STAGES, type KitFields, type WorkshopTerms } from '../../records/workshop-notes.ts';

/** What the workshop part of the page shows: replaced whole at every change, never changed in place. */
export interface WorkshopState {
  /** A line for each workshop; absent until they were read. */
  workshops?: readonly PaperInShort[];
  /** The one whose page is open; `now` is absent until it was read, or where there is none of that id. */
  opened?: { paper: string; isRead: boolean; now?: WorkshopNow };
  /** Boards that are linked here and are no kit of the opened workshop. */
  strangers: readonly { serial: string; name: string }[];
  /** Site checks of boards linked here, the newest first: one of them can stand for all. */
  siteChecks: readonly { board: string; checked: string; verdict: string }[];
  /** What is being done that takes a while. */
  work?: string;
  /** What was done last. */
  said: string;
  /** What went wrong last. */
  trouble?: {
    heading: string;
    message: string;
    /** Where in a file or a pasted list something is wrong, and what. */
    problems: readonly Problem[];
    others: number;
    /** What the button says that does it all the same ({@link WorkshopDesk.bringInAllTheSame}); absent where there is none. */
    allTheSame?: string;
  };
}

/**
 * Workshops as a person works on them: the list of all, and one of them with its roster. What is done is written to the
 * logbook before it shows; what goes wrong is shown and changes nothing. No method rejects.
 */
export interface WorkshopDesk {
  readonly state: WorkshopState;
  /** Calls `listener` after every change of state, until the returned function is called. */
  subscribe(listener: () => void): () => void;
  /** Opens the page of a workshop, or, without an id, the list of all. Resolves when it was read. */
  open(paper?: string): Promise<void>;
  /** Opens a new workshop. @returns its id; undefined where it was not written */
  begin(terms: WorkshopTerms): Promise<string | undefined>;
  setTerms(terms: WorkshopTerms): Promise<boolean>;
  /** Adds kits, all or none. @returns whether they were added */
  addKits(kits: readonly KitFields[]): Promise<boolean>;
  /** Adds kits from lines `serial, builder, place`. @returns whether they were added */
  addPasted(text: string): Promise<boolean>;
  changeKit(kit: string, to: KitFields): Promise<boolean>;
  /** The kit turned out to have this board, which may be on no other kit. */
  giveBoard(kit: string, serial: string): Promise<boolean>;
  takeOff(kit: string): Promise<boolean>;
  putBack(kit: string): Promise<boolean>;
  /** @param kit absent where the whole workshop is meant */
  remark(text: string, kit?: string): Promise<boolean>;
  /** The newest site check of that board, which is linked here, stands for all; undefined: none does any more. */
  checkSiteForAll(board: string | undefined): Promise<boolean>;
  /** The workshop with all entries of its boards, as a logbook file for another computer. */
  takeOut(): Promise<FileOut<Blob> | undefined>;
  /** Results of all kits as CSV. */
  takeOutResults(): FileOut<string> | undefined;
  /** Brings in a file of another computer, workshops and boards with it. */
  bringIn(file: Blob): Promise<void>;
  bringInAllTheSame(): Promise<void>;
}

/** What of the bench a workshop works with. */
export type BenchOfWorkshop = Pick<
  Bench,
  'papers' | 'places' | 'entriesOf' | 'exchange' | 'logbook' | 'subscribe'
>;
