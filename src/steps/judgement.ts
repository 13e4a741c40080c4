import { interval95 } from '../calib/quantiles.ts';
import { degrees } from '../calib/geometry.ts';
import type { HeldOut } from '../calib/held-out.ts';
import type { OutsideReason } from '../calib/validity.ts';
import type { BoardIdentity } from '../protocol/board.ts';
import type { FitRecord, HoldsFor, ToleranceChoice } from '../records/entries.ts';
import { adviceFor, type Advice } from './advice.ts';
import type { BoardHistory } from './calibration-state.ts';
import {
  degreesText,
  listed,
  percentText,
  within,
  type Finding,
  type Standing,
} from './finding.ts';
import { modelFinding } from './model-words.ts';
import { departs, leftFinding } from './residual-words.ts';
import { largest, meanAndDeviation } from './statistics.ts';
import {
  BLIND_TO,
  limitsFor,
  ORDINARY_TOLERANCE,
  SPREAD_IS_BLIND,
  TOLERANCE,
  toleranceName,
  type Limits,
} from './tolerance.ts';

/** Whether a fit is good enough, and why: what the numbers are held against, in words. */

export { degreesText, type Finding, type Standing } from './finding.ts';

export interface Judgement {
  standing: Standing;
  /** In one sentence: good enough or not, and for what. */
  verdict: string;
  findings: readonly Finding[];
  /** Likely causes and what to do, most telling first; empty where nothing speaks against it. */
  advice: readonly Advice[];
  /** What these readings cannot say at all, and somebody must. */
  notKnown: readonly string[];
  blindTo: readonly string[];
  warnings: readonly string[];
}

type DeclaredNoise = Pick<BoardIdentity, 'accNoise' | 'magNoise'>;

/**
 * A fit and what was found out about it; whether it was free to leave readings out (absent where nobody took that from
 * it); and whether chip axes were taken for body axes for want of anything better.
 */
export type Judged = Omit<FitRecord, 'id'> & { screened?: boolean; assumedAxes?: boolean };

const UNSCREENED =
  'You took back a reading the fit would leave out, so every reading is used that you did not set aside yourself, and no other is left out for you';

/**
 * Judges a fit against a tolerance.
 *
 * @param declared noise as the board declares it, where it is known
 */
export function judge(
  fit: Judged,
  declared?: DeclaredNoise,
  tolerance: ToleranceChoice = ORDINARY_TOLERANCE,
): Judgement {
  const limits = limitsFor(tolerance);
  const used = fit.readings.filter((reading) => reading.used);
  const field = meanAndDeviation(used.map((reading) => reading.field));
  const gravity = meanAndDeviation(used.map((reading) => reading.gravity));
  const dip = meanAndDeviation(used.flatMap(({ dip }) => (dip === undefined ? [] : degrees(dip))));
  const misfit = largest(used.flatMap((reading) => reading.misfit ?? []));
  const n = used.length;
  const warnings = [...fit.warnings, ...(fit.screened === false ? [UNSCREENED] : [])];
  const half = halfIntervals(fit);
  const single = singleReading(fit);
  const average = readingsToAverage(fit, limits);
  const noise = noiseFinding(fit, declared);

  const azimuth = intervalFinding(AZIMUTH, half.azimuth, fit.uncertainty.azimuth, limits);
  const inclination = intervalFinding(
    'Inclination',
    half.inclination,
    fit.uncertainty.inclination,
    limits,
  );
  const spread = spreadFinding(fit, limits);
  const heldOut = heldOutFinding(fit.heldOut, limits);
  const fieldLength: Finding = {
    name: 'Length of the field',
    figure: `varies by ${percentText(field.sd / field.mean)}`,
    words: `standard deviation over ${n} readings; at most ${percentText(limits.field)}`,
    standing: within(field.sd / field.mean, limits.field),
  };
  const gravityLength: Finding = {
    name: 'Length of gravity',
    figure: `varies by ${percentText(gravity.sd / gravity.mean)}`,
    words: `standard deviation over ${n} readings; at most ${percentText(limits.gravity)}`,
    standing: within(gravity.sd / gravity.mean, limits.gravity),
  };
  const dipFinding: Finding = {
    name: 'Dip',
    figure: `${degreesText(degrees(fit.dip))}, varies by ${degreesText(dip.sd)}`,
    words: `standard deviation over ${n} readings; at most ${degreesText(limits.dip)}`,
    standing: within(dip.sd, limits.dip),
  };
  const findings: Finding[] = [
    azimuth,
    inclination,
    ...(single === undefined ? [] : [singleFinding(single, average, limits)]),
    heldOut,
    spread,
    fieldLength,
    gravityLength,
    dipFinding,
    {
      name: 'Worst reading',
      figure: `misfit ${misfit.toFixed(1)}`,
      words: `of those the fit used; about one is normal, over ${TOLERANCE.misfit} is not`,
      standing: misfit <= TOLERANCE.misfit ? 'good' : 'watch',
    },
    noise.finding,
    leftFinding(fit.residualTests, {
      acc: fit.coefficients.accScale,
      mag: fit.coefficients.magScale,
    }),
    ...(fit.modelChoice ? [modelFinding(fit.coefficients.model, fit.modelChoice)] : []),
    ...(fit.holdsFor ? [holdsForFinding(fit.holdsFor, fit.uncertainty, limits)] : []),
  ];

  const bad = findings.filter((finding) => finding.standing === 'bad');
  const watch = findings.filter((finding) => finding.standing === 'watch');
  const notKnown = notKnownOf(fit);
  const doubt = watch.length > 0 || warnings.length > 0 || notKnown.length > 0;
  const standing = bad.length > 0 || fit.assumedAxes ? 'bad' : doubt ? 'watch' : 'good';
  const isBad = (finding: Finding) => finding.standing === 'bad';
  const advice =
    standing === 'good'
      ? []
      : adviceFor({
          fit,
          assumedAxes: fit.assumedAxes === true,
          varies: {
            field: field.sd / field.mean / limits.field,
            gravity: gravity.sd / gravity.mean / limits.gravity,
          },
          over: {
            field: isBad(fieldLength),
            dip: isBad(dipFinding),
            gravity: isBad(gravityLength),
            spread: isBad(spread) || isBad(heldOut),
            angle: isBad(azimuth) || isBad(inclination),
          },
          louder: noise.louder,
          limits,
          interval: Math.max(half.azimuth, half.inclination),
          average,
        });
  return {
    standing,
    verdict: verdictOf({ fit, tolerance, half, bad, watch, warnings, notKnown, advice }),
    findings,
    advice,
    notKnown,
    blindTo: [SPREAD_IS_BLIND, ...BLIND_TO],
    warnings,
  };
}

/** The newest fit of a board's calibration against the tolerance chosen for it; undefined where there is none. */
export function judgementOf({ calibration, identity }: BoardHistory): Judgement | undefined {
  return calibration?.fit && judge(calibration.fit, identity, calibration.tolerance);
}

const AZIMUTH = 'Azimuth × cos inclination';

interface Angles {
  azimuth: number;
  inclination: number;
}

/** Half of the 95 % interval of each angle as the coefficients alone leave it, degrees. */
function halfIntervals({ uncertainty }: Judged): Angles {
  const { azimuth, inclination, freedom } = uncertainty;
  return {
    azimuth: degrees(interval95(azimuth, freedom.azimuth)),
    inclination: degrees(interval95(inclination, freedom.inclination)),
  };
}

/** The same for one reading, with its own noise; undefined where that was not worked out. */
function singleReading({ uncertainty, readingNoise }: Judged): Angles | undefined {
  if (!readingNoise) return undefined;
  const { freedom } = uncertainty;
  const of = (angle: keyof Angles) =>
    degrees(interval95(Math.hypot(uncertainty[angle], readingNoise[angle]), freedom[angle]));
  return { azimuth: of('azimuth'), inclination: of('inclination') };
}

/** How many readings to average until calibration and noise together are within the tolerance; Infinity where none do. */
function readingsToAverage(fit: Judged, { angle }: Limits): number {
  const { uncertainty, readingNoise } = fit;
  if (!readingNoise) return 1;
  const numbers = (['azimuth', 'inclination'] as const).map((each) => {
    const freedom = uncertainty.freedom[each];
    const half = (error: number) => degrees(interval95(error, freedom));
    const left = angle ** 2 - half(uncertainty[each]) ** 2;
    return left > 0 ? Math.max(1, Math.ceil(half(readingNoise[each]) ** 2 / left)) : Infinity;
  });
  return Math.max(...numbers);
}

function intervalFinding(
  name: string,
  half: number,
  standardError: number,
  { angle }: Limits,
): Finding {
  return {
    name,
    figure: `±\u00a0${degreesText(half)}`,
    words: `95 % interval of what the coefficients add (standard error ${degreesText(degrees(standardError), 3)}), over all rolls and directions to 70° up or down; at most ±\u00a0${degreesText(angle)}`,
    standing: within(half, angle),
  };
}

function singleFinding(single: Angles, average: number, { angle }: Limits): Finding {
  const fine = Math.max(single.azimuth, single.inclination) <= angle;
  const mean =
    fine || !Number.isFinite(average) ? '' : `; the mean of ${average} readings is within it`;
  return {
    name: 'A single reading',
    figure: `±\u00a0${degreesText(single.azimuth)}, ±\u00a0${degreesText(single.inclination)}`,
    words: `95 % interval of azimuth × cos inclination and of inclination with the reading’s own noise, not your aim; ±\u00a0${degreesText(angle)} is asked${mean}`,
    standing: fine ? 'good' : 'watch',
  };
}

function spreadFinding(fit: Judged, limits: Limits): Finding {
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
    words: `over ${with_.length} sightings, ${readings} readings that the fit saw; ${spreadLimit(limits)}`,
    standing: within(degrees(fit.meanSpread), limits.spread),
  };
}

const spreadLimit = ({ spread }: Limits): string =>
  spread === TOLERANCE.spread
    ? `at most ${degreesText(spread)} is common practice`
    : `at most ${degreesText(spread)} (common practice is ${degreesText(TOLERANCE.spread)})`;

function heldOutFinding(heldOut: HeldOut | undefined, limits: Limits): Finding {
  const name = 'Sightings left out in turn';
  if (!heldOut) {
    return {
      name,
      figure: 'not known',
      words:
        'no fit of the others could be had to judge each sighting by, so these figures are of readings the fit saw',
      standing: 'watch',
    };
  }
  const { meanSpread, count, doubtful } = heldOut;
  const doubt =
    doubtful.length > 0
      ? `; ${doubtful.length === 1 ? `sighting ${doubtful[0]} does` : `sightings ${listed(doubtful)} do`} not agree with the others: was the field disturbed there?`
      : '';
  const bad = meanSpread !== undefined && degrees(meanSpread) > limits.spread;
  return {
    name,
    figure: meanSpread === undefined ? 'no spread' : `spread ${degreesText(degrees(meanSpread))}`,
    words: `${meanSpread === undefined ? `${count} readings without a sighting` : `mean over ${count} sightings`}, each judged by a fit that had not seen it; at most ${degreesText(limits.spread)}${doubt}`,
    standing: bad ? 'bad' : doubtful.length > 0 ? 'watch' : 'good',
  };
}

/** @returns `louder` tells which chip is noisier than declared beyond chance; undefined where nothing is declared */
function noiseFinding(
  fit: Judged,
  declared?: DeclaredNoise,
): { finding: Finding; louder: { acc: boolean; mag: boolean } | undefined } {
  const { acc, mag, aim } = fit.noise;
  const gravity = percentText(acc / fit.coefficients.accScale);
  const field = percentText(mag / fit.coefficients.magScale);
  const finding = { name: 'Noise found', figure: `gravity ${gravity}, field ${field}` };
  const over = `per reading and axis${aim === undefined ? '' : `, aim ${degreesText(degrees(aim))}`}`;
  if (!declared) {
    return { finding: { ...finding, words: over, standing: 'good' }, louder: undefined };
  }
  const ratios = { acc: acc / declared.accNoise, mag: mag / declared.magNoise };
  const beyond = (chip: 'acc' | 'mag') => {
    const chance = departs(fit.residualTests, `noise_${chip}`).length === 0;
    const limit = chance ? TOLERANCE.noiseRatio : TOLERANCE.noiseDeparts;
    return { louder: ratios[chip] > limit, quieter: ratios[chip] < 1 / limit };
  };
  const [a, m] = [beyond('acc'), beyond('mag')];
  const louder = a.louder || m.louder;
  const quieter = a.quieter || m.quieter;
  const chance =
    departs(fit.residualTests, 'noise').length > 0 ? ', more than chance explains' : '';
  const why = louder
    ? ': was it held still, in a clean place?'
    : quieter
      ? ': the board is better than it says, or the counts are smoothed'
      : '';
  return {
    finding: {
      ...finding,
      words: `${over}; ${ratios.acc.toFixed(1)} and ${ratios.mag.toFixed(1)} times what the board declares${chance}${why}`,
      standing: louder || quieter ? 'watch' : 'good',
    },
    louder: { acc: a.louder, mag: m.louder },
  };
}

const HOLDS_FOR = 'Holds for';

const OUTSIDE: Partial<Record<OutsideReason, string>> = {
  down_not_covered: 'held as no reading was',
  field_not_covered: 'turned to the field as no reading was',
};

function holdsForFinding(
  { temperature, attitudes: { of, outside, reasons }, largest: error }: HoldsFor,
  { freedom }: Judged['uncertainty'],
  { angle }: Limits,
): Finding {
  const span = temperature
    ? `${temperature.coldest.toFixed(1)} to ${temperature.warmest.toFixed(1)} °C`
    : 'temperature not told';
  const why = Object.entries(reasons).map(
    ([reason, n]) => `${OUTSIDE[reason as OutsideReason] ?? reason} in ${n}`,
  );
  const worst = Math.max(
    ...(['azimuth', 'inclination'] as const).map((each) =>
      degrees(interval95(error[each], freedom[each])),
    ),
  );
  return {
    name: HOLDS_FOR,
    figure: `${span}; ${outside === 0 ? 'all attitudes' : `${of - outside} of ${of} attitudes`}`,
    words: `temperatures within 5 °C of these, attitudes within 50° of a reading’s${why.length > 0 ? ` (beyond: ${why.join(', ')})` : ''}; ±\u00a0${degreesText(worst)} in the least certain one`,
    standing: outside === 0 && worst <= angle ? 'good' : 'watch',
  };
}

function notKnownOf(fit: Judged): string[] {
  return [
    ...(fit.assumedAxes
      ? [
          'how the chips sit: their axes were taken for body axes, and where that is not so every angle is wrong',
        ]
      : []),
    ...(fit.noise.aim === undefined
      ? [
          'where the sight points: no two readings share a line, so it is taken from how the chips are mounted',
        ]
      : []),
  ];
}

function verdictOf({
  fit,
  tolerance,
  half,
  bad,
  watch,
  warnings,
  notKnown,
  advice,
}: {
  fit: Judged;
  tolerance: ToleranceChoice;
  half: Angles;
  bad: readonly Finding[];
  watch: readonly Finding[];
  warnings: readonly string[];
  notKnown: readonly string[];
  advice: readonly Advice[];
}): string {
  const names = (findings: readonly Finding[]) =>
    listed(findings.map(({ name }) => name.toLowerCase()));
  const wanted = toleranceName(tolerance);
  const cause = advice[0] ? ` Likely cause: ${advice[0].cause}.` : '';
  if (fit.assumedAxes) {
    const rest =
      bad.length > 0
        ? ` Not good enough besides: ${names(bad)}.`
        : ' Lengths, dip and noise are in order.';
    return `Not known whether any angle is right: nothing says how the chips sit.${rest}`;
  }
  if (bad.length > 0) return `Not good enough for ${wanted}: ${names(bad)}.${cause}`;
  const interval = `the coefficients add ±\u00a0${degreesText(half.azimuth)} to azimuth × cos inclination and ±\u00a0${degreesText(half.inclination)} to inclination (95 % interval)`;
  const looks = [
    ...watch.map(({ name }) => (name === HOLDS_FOR ? 'where it holds' : name.toLowerCase())),
    ...(warnings.length > 0 ? ['the warnings'] : []),
  ];
  const unknown = notKnown.map((each) => each.split(':')[0]!);
  if (unknown.length > 0) {
    return `Good enough for ${wanted} as far as these readings tell: ${interval}. Not known: ${listed(unknown)}. Look at: ${listed(looks)}.`;
  }
  return looks.length > 0
    ? `Good enough for ${wanted}, with something to look at (${listed(looks)}): ${interval}.`
    : `Good enough for ${wanted}: ${interval}.`;
}

/** After how many steps the fit settled, in words; one that does not settle is refused. */
export const settledWords = (iterations: number): string =>
  `The fit settled after ${iterations} ${iterations === 1 ? 'step' : 'steps'}.`;
