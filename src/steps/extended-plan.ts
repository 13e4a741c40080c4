import type { Plan, PlannedSighting } from '../records/entries.ts';
import type { KeptReading } from './calibration-state.ts';

/** A plan that goes on, or is cut short. */

/** As many as half of the customary plan: then it is fitted again, and seen whether it is enough. */
export const MOST_MORE_AT_ONCE = 28;

/** The plan without what it still lacks. */
export const takenPart = (plan: Plan, readings: readonly KeptReading[]): Plan => ({
  ...plan,
  sightings: plan.sightings.flatMap((sighting) => {
    const rolls = sighting.rolls.filter((roll) =>
      readings.some((row) => row.sighting === sighting.sighting && row.aim?.roll === roll),
    );
    return rolls.length > 0 ? [{ ...sighting, rolls }] : [];
  }),
});

/** The plan with sightings added, or rolls added to those it has. */
export function extended(plan: Plan, more: readonly PlannedSighting[]): Plan {
  const rollsOf = (name: string) =>
    more.flatMap(({ sighting, rolls }) => (sighting === name ? rolls : []));
  const known = new Set(plan.sightings.map(({ sighting }) => sighting));
  return {
    ...plan,
    sightings: [
      ...plan.sightings.map((each) => ({
        ...each,
        rolls: [...new Set([...each.rolls, ...rollsOf(each.sighting)])],
      })),
      ...more.filter(({ sighting }) => !known.has(sighting)),
    ],
  };
}
