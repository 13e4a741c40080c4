import type { ORDINARY } from '../firmware-sim/raw-readings.ts';
import { randomStream } from '../firmware-sim/random.ts';
import { fit, type FitOptions } from '../src/calib/fit.ts';
import { degrees } from '../src/calib/geometry.ts';
import { allMountings } from '../src/calib/model.ts';
import type { Reading } from '../src/calib/reading.ts';
import type { Figure } from './figure.ts';
import { DECLARED, meanSquareErrors, simulateCalibration } from './simulated-calibration.ts';

const BOARDS = 2000;

/** Chips as far off as any that still work: offsets of twice the field, gains off by 30 %, cross-axis of 10 %. */
const hard: typeof ORDINARY = {
  acc: { offset: 0.3, gain: 0.3, cross: 0.1, askew: 3, drift: 0 },
  mag: { offset: 2, gain: 0.3, cross: 0.1, askew: 3, drift: 0 },
};

/** What is given beside the counts, and the sightings. */
const given = ['plan', 'mounting', 'both', 'relative plan and sign of dip'] as const;

/** One random board, and what of its plan and mounting is given. */
export function hardBoard(seed: number) {
  const random = randomStream(seed, 'hard board');
  const any = () => allMountings[random.below(48)]!;
  const [accMounting, magMounting] = [any(), any()];
  // one in ten at the magnetic equator itself
  const dip = random.below(10) === 0 ? 0 : random.between(-85, 85);
  const calibration = simulateCalibration(
    { seed, accMounting, magMounting, dip },
    { tolerances: hard },
  );
  const kind = given[seed % given.length]!;
  const mounting = { acc: accMounting, mag: magMounting };
  const turn = random.between(0, 6);
  const readings = calibration.readings.map((reading): Reading => {
    const { aim, ...rest } = reading;
    if (kind === 'mounting') return rest;
    return kind === 'relative plan and sign of dip'
      ? { ...rest, aim: { ...aim, azimuth: aim!.azimuth! + turn } }
      : reading;
  });
  const options: FitOptions = {
    ...DECLARED,
    ...(kind === 'mounting' || kind === 'both' ? { mounting } : {}),
    ...(kind === 'relative plan and sign of dip'
      ? { planAzimuths: 'relative' as const, dipSign: dip < 0 ? (-1 as const) : (1 as const) }
      : {}),
  };
  return { calibration, readings, options, kind };
}

/** Random boards of every mounting: how many come out wrong in silence, and how many are warned of or refused. */
export function hardBoards(): Figure[] {
  const wrong: string[] = [];
  const told: string[] = [];
  let asked = 0;
  for (let seed = 1; seed <= BOARDS; seed++) {
    const { calibration, readings, options, kind } = hardBoard(seed);
    const result = fit(readings, options);
    const name = `${seed} (${kind}, dip ${calibration.settings.dip.toFixed(1)}°)`;
    if (!result.ok) {
      // with the field level and azimuths relative, nothing in the readings tells north from south
      const open =
        kind === 'relative plan and sign of dip' && Math.abs(calibration.settings.dip) < 1.2;
      if (open && result.cause === 'ambiguous') asked += 1;
      else told.push(`${name}: ${result.cause}`);
      continue;
    }
    const error = Math.sqrt(meanSquareErrors(result.coefficients, calibration).azimuth);
    // a right answer scatters about its standard error; three times it, over all attitudes, is another answer
    if (error > 3 * result.uncertainty.azimuth && result.warnings.length === 0) {
      wrong.push(`${name}: ${degrees(error).toFixed(2)}°`);
    }
    if (result.warnings.length > 0) told.push(`${name}: ${result.warnings.join(' ')}`);
  }
  for (const line of [...wrong, ...told].slice(0, 20)) console.error(line);
  return [
    {
      what: `${BOARDS} random boards, plan or mounting or both given: wrong without a warning`,
      value: String(wrong.length),
      beside: 'none wanted',
    },
    {
      what: 'asked about, where a level field and relative azimuths leave north and south open, same boards',
      value: String(asked),
      beside: '',
    },
    {
      what: 'warned of or refused, the others',
      value: `${((100 * told.length) / (BOARDS - asked)).toFixed(2)} %`,
      beside: 'at most 1 % wanted',
    },
  ];
}
