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
