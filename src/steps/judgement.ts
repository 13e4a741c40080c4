import { interval95 } from '../calib/covariance.ts';
import { degrees } from '../calib/geometry.ts';
import type { HeldOut } from '../calib/held-out.ts';
import type { BoardIdentity } from '../protocol/board.ts';
import type { FitRecord } from '../records/entries.ts';
import { largest, meanAndDeviation } from './statistics.ts';
import { BLIND_TO, SPREAD_IS_BLIND, TOLERANCE } from './tolerance.ts';

/** Whether a fit is good enough, and why: what the numbers are held against, in words. */

/** How one figure stands: `watch` stops nothing, but a person should know. */
export type Standing = 'good' | 'watch' | 'bad';

export interface Finding {
  name: string;
  /** The figure with its unit, as it goes on screen. */
  figure: string;
  /** What it was taken over, and what is normal. */
  words: string;
  standing: Standing;
}

export interface Judgement {
  standing: Standing;
  /** In one sentence: good enough or not, and for what. */
  verdict: string;
  findings: readonly Finding[];
  blindTo: readonly string[];
  warnings: readonly string[];
}

type DeclaredNoise = Pick<BoardIdentity, 'accNoise' | 'magNoise'>;

/** A fit, and whether it was free to leave readings out; absent where nobody took that from it. */
type Judged = Omit<FitRecord, 'id'> & { screened?: boolean };

const UNSCREENED =
  'You took back a reading the fit would leave out, so every reading is used that you did not set aside yourself, and no other is left out for you';

/** Degrees on screen. */
export const degreesText = (value: number, digits = 2): string => `${value.toFixed(digits)}°`;
const percentText = (ratio: number): string => `${(100 * ratio).toFixed(2)} %`;

const within = (value: number, limit: number): Standing => (value <= limit ? 'good' : 'bad');

/** Judges a fit against the tolerances; `declared` is the noise the board declares, where it is known. */
export function judge(fit: Judged, declared?: DeclaredNoise): Judgement {
  const used = fit.readings.filter((reading) => reading.used);
  const field = meanAndDeviation(used.map((reading) => reading.field));
  const gravity = meanAndDeviation(used.map((reading) => reading.gravity));
  const dip = meanAndDeviation(used.flatMap(({ dip }) => (dip === undefined ? [] : degrees(dip))));
  const misfit = largest(used.flatMap((reading) => reading.misfit ?? []));
  const n = used.length;
  const { freedom } = fit.uncertainty;
  const warnings = [...fit.warnings, ...(fit.screened === false ? [UNSCREENED] : [])];

  const findings: Finding[] = [
    spreadFinding(fit),
    ...(fit.heldOut ? [heldOutFinding(fit.heldOut)] : []),
    intervalFinding('Azimuth × cos inclination', fit.uncertainty.azimuth, freedom.azimuth),
    intervalFinding('Inclination', fit.uncertainty.inclination, freedom.inclination),
    {
      name: 'Length of the field',
      figure: `varies by ${percentText(field.sd / field.mean)}`,
      words: `standard deviation over ${n} readings; at most ${percentText(TOLERANCE.field)}`,
      standing: within(field.sd / field.mean, TOLERANCE.field),
    },
    {
      name: 'Length of gravity',
      figure: `varies by ${percentText(gravity.sd / gravity.mean)}`,
      words: `standard deviation over ${n} readings; at most ${percentText(TOLERANCE.gravity)}`,
      standing: within(gravity.sd / gravity.mean, TOLERANCE.gravity),
    },
    {
      name: 'Dip',
      figure: `${degreesText(degrees(fit.dip))}, varies by ${degreesText(dip.sd)}`,
      words: `standard deviation over ${n} readings; at most ${degreesText(TOLERANCE.dip)}`,
      standing: within(dip.sd, TOLERANCE.dip),
    },
    {
      name: 'Worst reading',
      figure: `misfit ${misfit.toFixed(1)}`,
      words: `of those the fit used; about one is normal, over ${TOLERANCE.misfit} is not`,
      standing: misfit <= TOLERANCE.misfit ? 'good' : 'watch',
    },
    noiseFinding(fit, declared),
  ];

  const bad = findings.filter((finding) => finding.standing === 'bad');
  const watch = findings.filter((finding) => finding.standing === 'watch');
  const doubt = watch.length > 0 || warnings.length > 0;
  const standing = bad.length > 0 ? 'bad' : doubt ? 'watch' : 'good';
  return {
    standing,
    verdict: verdictOf(standing, bad, watch, warnings.length),
    findings,
    blindTo: [SPREAD_IS_BLIND, ...BLIND_TO],
    warnings,
  };
}

function spreadFinding(fit: Omit<FitRecord, 'id'>): Finding {
  const with_ = fit.sightings.filter((sighting) => sighting.spread !== undefined);
  const readings = with_.reduce((sum, sighting) => sum + sighting.n, 0);
  if (fit.meanSpread === undefined) {
    return {
      name: 'Mean spread',
      figure: 'not known',
      words: 'no sighting has two readings or more, so nothing says how well they agree',
      standing: 'watch',
    };
  }
  return {
    name: 'Mean spread',
    figure: degreesText(degrees(fit.meanSpread)),
    words: `over ${with_.length} sightings, ${readings} readings that the fit saw; at most ${degreesText(TOLERANCE.spread)} is common practice`,
    standing: within(degrees(fit.meanSpread), TOLERANCE.spread),
  };
}

function heldOutFinding({ meanSpread, count, doubtful }: HeldOut): Finding {
  const doubt =
    doubtful.length > 0
      ? `; ${doubtful.length === 1 ? `sighting ${doubtful[0]} does` : `sightings ${doubtful.join(' and ')} do`} not agree with the others: was the field disturbed there?`
      : '';
  return {
    name: 'Sightings left out in turn',
    figure: meanSpread === undefined ? 'no spread' : `spread ${degreesText(degrees(meanSpread))}`,
    words: `mean over ${count} sightings, each judged by a fit that had not seen it; at most ${degreesText(TOLERANCE.spread)}${doubt}`,
    standing:
      meanSpread !== undefined && degrees(meanSpread) > TOLERANCE.spread
        ? 'bad'
        : doubtful.length > 0
          ? 'watch'
          : 'good',
  };
}

function intervalFinding(name: string, standardError: number, freedom: number): Finding {
  const error = degrees(standardError);
  const half = interval95(error, freedom);
  return {
    name,
    figure: `± ${degreesText(half)}`,
    words: `95 % interval (standard error ${degreesText(error, 3)}), over all rolls and directions to 70° up or down; at most ± ${degreesText(TOLERANCE.interval)}`,
    standing: within(half, TOLERANCE.interval),
  };
}

function noiseFinding(fit: Omit<FitRecord, 'id'>, declared?: DeclaredNoise): Finding {
  const { acc, mag, aim } = fit.noise;
  const gravity = percentText(acc / fit.coefficients.accScale);
  const field = percentText(mag / fit.coefficients.magScale);
  const finding = { name: 'Noise found', figure: `gravity ${gravity}, field ${field}` };
  const over = `per reading and axis${aim === undefined ? '' : `, aim ${degreesText(degrees(aim))}`}`;
  if (!declared) return { ...finding, words: over, standing: 'good' };
  const ratios = [acc / declared.accNoise, mag / declared.magNoise];
  const ordinary = ratios.every(
    (ratio) => ratio <= TOLERANCE.noiseRatio && ratio >= 1 / TOLERANCE.noiseRatio,
  );
  return {
    ...finding,
    words:
      `${over}; ${ratios[0].toFixed(1)} and ${ratios[1].toFixed(1)} times what the board declares` +
      (ordinary ? '' : ', which is unusual: was it held still, in a clean place?'),
    standing: ordinary ? 'good' : 'watch',
  };
}

function verdictOf(
  standing: Standing,
  bad: readonly Finding[],
  watch: readonly Finding[],
  warnings: number,
): string {
  const names = (findings: readonly Finding[]) =>
    findings.map((finding) => finding.name.toLowerCase()).join(', ');
  if (standing === 'bad') return `Not good enough: ${names(bad)}.`;
  if (standing === 'watch') {
    const looks = [
      ...(watch.length > 0 ? [names(watch)] : []),
      ...(warnings > 0 ? ['the warnings'] : []),
    ];
    return `Good enough, with something to look at: ${looks.join(', ')}.`;
  }
  return 'Good enough: every figure is within its tolerance.';
}

/** After how many steps the fit settled, in words; one that does not settle is refused. */
export const settledWords = (iterations: number): string =>
  `The fit settled after ${iterations} ${iterations === 1 ? 'step' : 'steps'}.`;
