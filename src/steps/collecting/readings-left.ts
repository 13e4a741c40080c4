import { degrees, radians } from '../../calib/geometry.ts';
import { knowledgeFrom, readingsNeeded } from '../../calib/next-reading.ts';
import { interval95 } from '../../calib/quantiles.ts';
import { takenPart } from '../extended-plan.ts';
import { moreReadings } from '../more-readings.ts';
import { MOST_AHEAD, type LeftQuestion, type ReadingsLeft } from './forecasting.ts';

/** Takes long: the page has it worked out in a worker. */
export function readingsLeft(question: LeftQuestion): ReadingsLeft {
  const { fit, readings, wanted, plan, taken } = question;
  const { uncertainty, fitted } = fit;
  const half = (error: number) => degrees(interval95(error, uncertainty.freedom.azimuth));
  // the interval is in proportion to the standard error
  const error = radians(wanted / half(radians(1)));
  const { now, needed } = readingsNeeded(
    knowledgeFrom({ ...fit, readings: fitted }, readings),
    error,
    { most: MOST_AHEAD },
  );
  const names = plan.sightings.map(({ sighting }) => sighting);
  const advised =
    needed === undefined || needed === 0
      ? []
      : moreReadings(
          {
            fit: { ...fit, readings: fitted },
            readings: taken,
            plan: takenPart(plan, taken),
          },
          needed,
          names,
        );
  return { now: half(now), wanted, ...(needed !== undefined && { needed }), advised };
}
