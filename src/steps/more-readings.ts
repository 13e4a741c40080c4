import { angleBetween, degrees, direction, radians } from '../calib/geometry.ts';
import { advisedPlan, knowledgeFrom } from '../calib/next-reading.ts';
import type { FitRecord, PlannedSighting } from '../records/entries.ts';
import type { CalibrationState } from './calibration-state.ts';
import { cubePlanInDegrees } from './customary-plan.ts';
import { MOST_MORE_AT_ONCE } from './extended-plan.ts';

/** Where a full plan goes on, when more readings would make the calibration good enough. Degrees. */

/** A line nearer than this to one of the plan is that line: aims are read off the fit, which knows them to a degree. */
const SAME_LINE = radians(10);
/** A roll nearer than this to one of the plan would be the same reading again. */
const SAME_ROLL = 20;

/** As much of a fit as says where more readings tell most. */
export type FitToGoOnFrom = Pick<FitRecord, 'coefficients' | 'noise' | 'uncertainty' | 'readings'>;

/**
 * The readings that tell most beside those of the newest fit, as sightings to add to the plan. One that bears the name
 * of a sighting of the plan adds rolls to it.
 *
 * A new sighting never bears a name of the customary plan or of a reading: what was cut from a plan may be asked for
 * again.
 *
 * @param taken names that no new sighting may have, beside those
 * @returns nothing where there is no fit, or no attitude is left
 */
export function moreReadings(
  { fit, readings, plan }: Pick<CalibrationState, 'plan' | 'readings'> & { fit?: FitToGoOnFrom },
  count = MOST_MORE_AT_ONCE,
  taken: readonly string[] = [],
): PlannedSighting[] {
  if (!fit) return [];
  const byId = new Map(readings.map((row) => [row.id, row]));
  const rows = fit.readings.map(({ id }) => {
    const row = byId.get(id);
    if (!row) throw new Error(`the fit saw reading ${id}, which the calibration does not have`);
    const { acc, mag } = row.reading;
    return { id, acc, mag };
  });
  const advised = advisedPlan(count, knowledgeFrom(fit, rows)).plan;
  let number = plan.sightings.length;
  const names = new Set([
    ...taken,
    ...[...plan.sightings, ...cubePlanInDegrees().sightings].map(({ sighting }) => sighting),
    ...readings.flatMap(({ sighting, takenFor }) => [sighting, takenFor?.sighting]),
  ]);
  return advised.flatMap(({ azimuth, inclination, rolls }) => {
    const all = rolls.map((roll) => Math.round(degrees(roll)));
    const line = direction(azimuth, inclination);
    const known = plan.sightings.find(
      (each) =>
        angleBetween(line, direction(radians(each.azimuth), radians(each.inclination))) < SAME_LINE,
    );
    if (known) {
      const fresh = all.filter((roll) => known.rolls.every((each) => !isNear(each, roll)));
      return fresh.length > 0 ? [{ ...known, rolls: fresh }] : [];
    }
    do number++;
    while (names.has(String(number)));
    return [
      {
        sighting: String(number),
        azimuth: rounded(degrees(azimuth)),
        inclination: rounded(degrees(inclination)),
        rolls: all,
      },
    ];
  });
}

const isNear = (a: number, b: number): boolean =>
  Math.abs(((((a - b) % 360) + 540) % 360) - 180) < SAME_ROLL;

const rounded = (angle: number): number => Math.round(angle * 1e6) / 1e6;
