import type { CaptureAim } from '../records/entries.ts';
import { openSlots, provesNow, type BoardHistory, type Slot } from './calibration-state.ts';
import { openProofSlots } from './proof.ts';

/** What a reading is taken for. */
export type Purpose = CaptureAim['purpose'];

/** What a reading that nobody announced is for. */
export const purposeNow = (history: BoardHistory): Purpose =>
  provesNow(history) ? 'proof' : 'fit';

/** Places that still lack a reading, in order, for what is being done now. */
export function openPlaces(history: BoardHistory): Slot[] {
  const { calibration } = history;
  if (!calibration || calibration.ended) return [];
  return purposeNow(history) === 'fit'
    ? openSlots(calibration)
    : openProofSlots(calibration.proofReadings);
}

/**
 * The place that the screen asks for next: what a person who presses the trigger aims at. None while a check in the field is
 * under way, which has aims of its own.
 */
export function shownAim(history: BoardHistory): CaptureAim | undefined {
  if (history.checks.now) return undefined;
  const [slot] = openPlaces(history);
  return slot && aimAt(slot, purposeNow(history));
}

/** A place of the plan, or of the proof, as an aim. */
export const aimAt = ({ sighting, roll }: Slot, purpose: Purpose): CaptureAim => ({
  purpose,
  sighting: sighting.sighting,
  aim: { azimuth: sighting.azimuth, inclination: sighting.inclination, roll },
});
