import { lineWords, rollWords } from './attitude-words.ts';
import { readingsAt, type KeptReading, type Slot } from './calibration-state.ts';
import type { PlannedSighting } from '../records/entries.ts';

/** Which attitudes of a plan are covered, for the picture and in words. Degrees. */

/** `open`: nothing taken. `taken`: at least one reading counts. `aside`: all that was taken is set aside. */
export type SlotStanding = 'open' | 'taken' | 'aside';

export interface CoveredSighting {
  name: string;
  azimuth: number;
  inclination: number;
  words: string;
  rolls: readonly { roll: number; standing: SlotStanding; next: boolean }[];
}

/** How each place of the plan stands; `next` marks the one to take next. */
export function coverageOf(
  sightings: readonly PlannedSighting[],
  readings: readonly KeptReading[],
  next: Slot | undefined,
): CoveredSighting[] {
  return sightings.map((sighting) => ({
    name: sighting.sighting,
    azimuth: sighting.azimuth,
    inclination: sighting.inclination,
    words: lineWords(sighting),
    rolls: sighting.rolls.map((roll) => {
      const rows = readingsAt({ sighting, roll }, readings);
      const standing: SlotStanding =
        rows.length === 0 ? 'open' : rows.some((row) => !row.setAside) ? 'taken' : 'aside';
      const isNext = next?.sighting.sighting === sighting.sighting && next.roll === roll;
      return { roll, standing, next: isNext };
    }),
  }));
}

/** The whole picture in one sentence. */
export function coverageWords(covered: readonly CoveredSighting[]): string {
  const all = covered.flatMap((sighting) => sighting.rolls);
  const taken = all.filter((slot) => slot.standing === 'taken').length;
  const aside = all.filter((slot) => slot.standing === 'aside').length;
  const whole = covered.filter((each) => each.rolls.every((slot) => slot.standing === 'taken'));
  return (
    `${taken} of ${all.length} attitudes covered, ${whole.length} of ${covered.length} sightings whole` +
    (aside > 0 ? `, ${aside} set aside` : '') +
    '.'
  );
}

/** What is still to take, one text per sighting that lacks something, in the plan's order. */
export function gapWords(covered: readonly CoveredSighting[]): string[] {
  return covered.flatMap(({ words, rolls }) => {
    const missing = rolls.filter((slot) => slot.standing !== 'taken');
    if (missing.length === 0) return [];
    if (missing.length === rolls.length) return [`${words}: all ${rolls.length} rolls`];
    return [`${words}: ${missing.map((slot) => rollWords(slot.roll)).join(', ')}`];
  });
}
