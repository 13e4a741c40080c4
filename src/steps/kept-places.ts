import type { Attitude, SimulatorSettings } from '../protocol/simulator.ts';
import type { Logbook, LogbookFault } from '../records/logbook.ts';
import type { KindName } from './link-help.ts';

/** A board that was at the bench when the page was closed. */
export interface KeptPlace {
  serial: string;
  kind: KindName;
  /** What a person would call the link. */
  label: string;
  /** Of a board behind an address. */
  address?: string;
  /** Of a simulated board. */
  simulator?: SimulatorSettings;
  /** Of a simulated board that a person turns: how it is held. Degrees. */
  ownHand?: Attitude;
}

/** What was at the bench, and which of it was at hand. */
export interface KeptBench {
  places: readonly KeptPlace[];
  /** Its serial number. */
  atHand?: string;
}

const KEY = 'places at the bench';

export async function keptBench(logbook: Logbook): Promise<KeptBench> {
  // only the function below writes it
  return ((await logbook.kept(KEY)) as KeptBench | undefined) ?? { places: [] };
}

export function keepBench(
  logbook: Logbook,
  bench: KeptBench,
): Promise<{ ok: true } | LogbookFault> {
  return logbook.keep(KEY, bench);
}
