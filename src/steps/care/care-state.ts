import type { MemoryState } from '../../protocol/board.ts';
import type { ImageReport } from '../../protocol/care-messages.ts';
import type { PlaceState } from '../place-state.ts';
import type { SettingsSnapshot } from './care-history.ts';
import type { FirmwareJudgement } from './firmware-fit.ts';

/** What the page knows of a board's care beside the logbook: what was asked of the board, and what a person wants. */
export interface CareState {
  /** Of which board. */
  serial: string;
  /** Wanted settings by name, where they differ from those in force. */
  wanted: ReadonlyMap<string, string>;
  /** A setting was changed that takes effect only once the board has started again. */
  restartWaits?: true;
  /** What its memory held when it was last asked. */
  memory?: MemoryState;
  /** Absent where the board has no light. */
  light?: 'on' | 'off';
  /** What its clock said, seconds since 1970, UTC (0: it was never set), and when; absent where it has none. */
  clock?: { said: number; at: string };
  /** Absent where it takes no firmware over the link. */
  image?: ImageReport;
  /** A file of firmware that a person chose. */
  chosen?: ChosenFirmware;
  /** Settings in the logbook that could be put back; absent until they were looked for. */
  snapshots?: readonly OfferedSnapshot[];
  /** What a snapshot that was staged could not bring back, a sentence each. */
  notBroughtBack?: readonly string[];
}

export interface ChosenFirmware {
  name: string;
  file: Uint8Array;
  judgement: FirmwareJudgement;
}

export interface OfferedSnapshot extends SettingsSnapshot {
  serial: string;
  /** The keeper's name for that board; may be empty. */
  name: string;
}

/** What is known of the care of the board at a place. */
export function careOf({ care, history }: PlaceState): CareState {
  const serial = history.identity?.serial ?? '';
  return care?.serial === serial ? care : { serial, wanted: new Map() };
}
