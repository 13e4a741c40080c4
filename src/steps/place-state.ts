import type { Attitude, SimulatorSettings } from '../protocol/simulator.ts';
import type { BoardHistory } from './calibration-state.ts';
import type { CareState } from './care/care-state.ts';
import type { ReadingsLeft } from './collecting/forecasting.ts';
import type { LinkEnd } from './link-end.ts';
import type { KindName } from './link-help.ts';
import type { LiveFit } from './live-fit.ts';

/** What the screen shows of one place at the bench: replaced whole at every change, never changed in place. */
export interface PlaceState {
  link: LinkState;
  /** All that the logbook says of the board at this place. */
  history: BoardHistory;
  /**
   * The newest provisional fit of the readings kept now, or why there is none; absent where no calibration is open, and
   * until the first is made. While a newer one is being made it is the one before: `readings` says how many it saw.
   */
  live?: LiveFit;
  /** While a person collects: how many readings are left for the tolerance, by the provisional fit. */
  left?: ReadingsLeft | { failed: string };
  /** What was asked of the board for its care, and what is wanted; absent until it was linked in this page. */
  care?: CareState;
  /** How the simulated board is, or will be, set; absent where the board is none. */
  simulator?: SimulatorSettings;
  /** What is being done now. Nothing else can be started at this place meanwhile. */
  work?: Work;
  /** What went wrong last: what happened, what is safe, what to do next. */
  trouble?: Trouble;
  /** The latest thing worth saying aloud. */
  said: string;
  /** What became of the latest reading of a board in a person's hand; another object for each. */
  told?: Told;
  /** The simulated board is turned by a person, who has brought it to this attitude; absent where its own hand turns it. */
  ownHand?: Attitude;
}

export interface LinkState {
  /** `none`: this place is empty, no board was linked here yet. */
  state: 'none' | 'linking' | 'linked' | 'lost';
  kind?: KindName;
  /** What a person would call the link. */
  label?: string;
  /** While it is lost: what became of it. */
  end?: LinkEnd;
  /** It ended while nobody could see the page. */
  hidden?: true;
  /** While it is lost: it is made again by itself, at once or when the system says that the board is there. */
  returns?: true;
  /** While it is linked: the board did not answer when it was last asked. */
  silent?: true;
}

/** A piece of work, how far it is, and whether a person may stop it. */
export interface Work {
  what: string;
  done?: number;
  of?: number;
  stoppable: boolean;
  /** It waits for something, and a person may have it go on without: what the button for that says. */
  insist?: string;
}

/**
 * For one who does not look. `taken`: a reading is in. `doubted`: it is in, but may not be what it should be. `whole`: it
 * was the last of its sighting. `done`: it was the last of all. `refused`: there is none.
 */
export interface Told {
  kind: 'taken' | 'doubted' | 'whole' | 'done' | 'refused';
  /** As a sentence. */
  words: string;
}

export interface Trouble {
  heading: string;
  message: string;
  /** What to do next, the likeliest first, where the message does not say it. */
  next?: readonly string[];
}

export type { Attitude, SimulatorSettings } from '../protocol/simulator.ts';
export { BOARD_FAULTS, isBoardFault } from '../protocol/simulator.ts';
export { allMountings as MOUNTINGS } from '../calib/model.ts';
