import { interval95 } from '../calib/quantiles.ts';
import type { FitRefusal } from '../calib/fit.ts';
import { attitude, degrees, radians } from '../calib/geometry.ts';
import {
  knowledgeAfter,
  knowledgeFrom,
  nominalKnowledge,
  readingsNeeded,
  type Forecast,
  type Knowledge,
} from '../calib/next-reading.ts';
import type { ReadingsFile } from '../records/readings-csv.ts';
import { fitFile, readingsIn, type FileFit, type FileFitOptions } from './fit-file.ts';

/** Where to aim next, from a file of readings. */
export interface NextAdvice {
  ok: true;
  forecast: Forecast;
  /** `fit`: from a fit of the readings; `plan`: they do not settle a fit yet, so their planned aims stand for them. */
  from: 'fit' | 'plan';
  /** Why there is no fit yet. */
  refusal?: FitRefusal;
  warnings: readonly string[];
  /** Half of the 95 % interval of azimuth × cos inclination as it stands, degrees; absent without a fit. */
  interval?: number;
}

/** Before there is a fit: an ordinary board (1 mg, 0.2 % of the field) at a dip as in the middle latitudes. */
const NOMINAL = { noise: { acc: 0.001, mag: 0.002 }, dip: radians(65) };

/**
 * @param wanted standard error of azimuth × cos inclination over all attitudes, degrees
 */
export function adviseNext(
  file: ReadingsFile,
  wanted: number,
  options: FileFitOptions = {},
): NextAdvice | FitRefusal {
  const result = fitFile(file, options);
  if (result.ok) {
    const knowledge = knowledgeFrom(result, readingsIn(file));
    return {
      ok: true,
      forecast: readingsNeeded(knowledge, radians(wanted)),
      from: 'fit',
      warnings: result.warnings,
      interval: intervalOf(result),
    };
  }
  const open = result.cause === 'too_few' || result.cause === 'undetermined';
  const planned = open ? plannedKnowledge(file) : undefined;
  if (!planned) return result;
  return {
    ok: true,
    forecast: readingsNeeded(planned, radians(wanted)),
    from: 'plan',
    refusal: result,
    warnings: [],
  };
}

const intervalOf = ({ uncertainty }: FileFit): number =>
  degrees(interval95(uncertainty.azimuth, uncertainty.freedom.azimuth));

/** What is known where every reading was taken as planned; undefined where the plan of one is not known. */
function plannedKnowledge(file: ReadingsFile): Knowledge | undefined {
  const taken = readingsIn(file).flatMap(({ sighting, aim = {} }) => {
    const { azimuth, inclination, roll } = aim;
    if (azimuth === undefined || inclination === undefined || roll === undefined) return [];
    const held = { attitude: attitude(azimuth, inclination, roll) };
    return [sighting === undefined ? held : { ...held, sighting }];
  });
  return taken.length === file.readings.length
    ? knowledgeAfter(nominalKnowledge(NOMINAL), taken)
    : undefined;
}
