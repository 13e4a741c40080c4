import type { SimulatorSettings } from '../protocol/simulator.ts';
import type { BoardHistory } from './calibration-state.ts';

/** What the screen shows of one place at the bench: replaced whole at every change, never changed in place. */
export interface PlaceState {
  link: {
    state: 'none' | 'linking' | 'linked' | 'lost';
    /** What a person would call the link. */
    label?: string;
  };
  /** All that the logbook says of the board at this place. */
  history: BoardHistory;
  /** How the simulated board is, or will be, set; absent where the board is none. */
  simulator?: SimulatorSettings;
  /** What is being done now. Nothing else can be started at this place meanwhile. */
  work?: Work;
  /** What went wrong last: what happened, what is safe, what to do next. */
  trouble?: Trouble;
  /** The latest thing worth saying aloud. */
  said: string;
  /** What an undo would undo, in words. */
  undo?: string;
}

/** A piece of work, how far it is, and whether a person may stop it. */
export interface Work {
  what: string;
  done?: number;
  of?: number;
  stoppable: boolean;
}

export interface Trouble {
  heading: string;
  message: string;
}

export type { SimulatorSettings } from '../protocol/simulator.ts';
export { allMountings as MOUNTINGS } from '../calib/model.ts';
