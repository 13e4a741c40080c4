import { degrees } from '../calib/geometry.ts';
import { cubePlan } from '../calib/plan.ts';
import type { Plan } from '../records/entries.ts';

/** The customary plan, its angles in degrees as the logbook and files keep them. */
export function cubePlanInDegrees(): Plan {
  const rounded = (angle: number) => Math.round(degrees(angle) * 1e6) / 1e6;
  return {
    name: 'cube',
    azimuths: 'absolute',
    sightings: cubePlan().map(({ name, azimuth, inclination, rolls }) => ({
      sighting: name,
      azimuth: rounded(azimuth),
      inclination: rounded(inclination),
      rolls: rolls.map(rounded),
    })),
  };
}

/** Whether a plan that was the customary one asks for less than that. */
export function isPlanCut(plan: Plan): boolean {
  const whole = cubePlanInDegrees();
  if (plan.name !== whole.name) return false;
  return whole.sightings.some(({ sighting, rolls }) => {
    const there = plan.sightings.find((each) => each.sighting === sighting);
    return rolls.some((roll) => !there?.rolls.includes(roll));
  });
}
