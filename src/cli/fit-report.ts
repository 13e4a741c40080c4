import { interval95 } from '../calib/quantiles.ts';
import type { AngleChange, ChipChange } from '../calib/comparison.ts';
import type { FittedReading } from '../calib/fit.ts';
import { degrees } from '../calib/geometry.ts';
import type { ModelVerdict } from '../calib/model-choice.ts';
import type { ResidualTest } from '../calib/residual-tests.ts';
import type { Stop } from '../calib/solver.ts';
import type { OutsideReason } from '../calib/validity.ts';
import { coefficientsToJson, type CoefficientsJson } from '../records/coefficients-file.ts';
import type { ToleranceChoice } from '../records/entries.ts';
import type { ReadingsFile } from '../records/readings-csv.ts';
import type { Advice } from '../steps/advice.ts';
import type { ComparisonOutcome } from '../steps/comparison-words.ts';
import type { FileFit } from '../steps/fit-file.ts';
import { judge, type Standing } from '../steps/judgement.ts';
import { meanAndDeviation, rootMeanSquare } from '../steps/statistics.ts';

/** What `fit --json` prints (docs/files.md). Angles in degrees, residuals and noise of the chips in counts. */
export interface FitReport {
  model: 'straight' | 'bowed';
  coefficients: CoefficientsJson;
  /** Of the sightings that have a spread; null without any. */
  meanSpread: number | null;
  /** What the mean spread was taken over, all of it seen by the fit. */
  meanSpreadOver: { sightings: number; readings: number; seenByFit: true };
  sightings: { sighting: string; n: number; spread: number | null }[];
  readings: { given: number; used: number };
  /** Of the readings used. `aim` is null where no sighting has two readings. */
  residuals: { acc: Residuals; mag: Residuals; aim: Residuals | null };
  noise: { acc: number; mag: number; aim: number | null };
  uncertainty: {
    /** Of azimuth × cos inclination. */
    azimuth: Uncertain;
    inclination: Uncertain;
  };
  /** Of the readings used: lengths of the calibrated vectors, and the dip as each reading shows it. */
  gravity: Constancy;
  field: Constancy;
  dip: Constancy & { fitted: number };
  /** Degrees Celsius; null where the file has none. */
  temperature: { least: number; most: number } | null;
  /** What it is judged against. */
  tolerance: { degrees: number; grade: NonNullable<ToleranceChoice['grade']> | null };
  /** `watch` stops nothing, but a person should look. */
  standing: Standing;
  verdict: string;
  /** Likely causes, most telling first, and what to do. */
  advice: readonly Advice[];
  /** What these readings cannot say and somebody must. */
  notKnown: readonly string[];
  modelChoice: ModelVerdict | null;
  /** Each sighting in turn judged by a fit that had not seen it; null where that could not be had. */
  heldOut: { sightings: number; meanSpread: number | null; doubtful: string[] } | null;
  /** Changes in counts; null where they were not made. */
  residualTests: readonly ResidualTest[] | null;
  holdsFor: {
    attitudes: { of: number; outside: number; reasons: Partial<Record<OutsideReason, number>> };
    /** Largest standard errors of any attitude, degrees. */
    largest: { azimuth: number; inclination: number };
  } | null;
  /** Against the coefficients of another file; null where none was given. */
  comparison: ComparisonReport | null;
  setAside: { id: string; reason: string }[];
  stopped: Stop;
  iterations: number;
  warnings: string[];
}

interface Residuals {
  rms: number;
  largest: number;
  /** Id of the reading with the largest. */
  reading: string;
}

interface Uncertain {
  standardError: number;
  /** Half the width of the 95 % interval. */
  interval95: number;
}

interface Constancy {
  mean: number;
  /** Standard deviation, with n − 1. */
  deviation: number;
}

/** Angles in degrees; ratios as they are: 0.01 is one percent. */
type ComparisonReport = { with: string; same: boolean } & (
  | { acc: ChipChange; mag: ChipChange; between: Triple; rollZero: number; curvature: Triple; azimuth: AngleChange | null; inclination: AngleChange } // prettier-ignore
  | { refused: string | null }
);

type Triple = readonly [number, number, number];

export function fitReport(
  fit: FileFit,
  file: ReadingsFile,
  tolerance: ToleranceChoice,
  comparison?: { with: string; outcome: ComparisonOutcome },
): FitReport {
  const used = fit.readings.filter((reading) => reading.used);
  const withSpread = fit.sightings.filter(({ spread }) => spread !== undefined);
  const aims = residuals(used, ({ aimError }) =>
    aimError === undefined ? [] : [degrees(aimError)],
  );
  const temperatures = file.readings.flatMap(({ temperature }) => temperature ?? []);
  const uncertain = (standardError: number, freedom: number): Uncertain => ({
    standardError: degrees(standardError),
    interval95: degrees(interval95(standardError, freedom)),
  });
  const { standing, verdict, advice, notKnown } = judge(fit, undefined, tolerance);
  return {
    model: fit.coefficients.model,
    coefficients: coefficientsToJson(fit.coefficients),
    meanSpread: fit.meanSpread === undefined ? null : degrees(fit.meanSpread),
    meanSpreadOver: {
      sightings: withSpread.length,
      readings: withSpread.reduce((sum, { n }) => sum + n, 0),
      seenByFit: true,
    },
    sightings: fit.sightings.map(({ sighting, n, spread }) => ({
      sighting,
      n,
      spread: spread === undefined ? null : degrees(spread),
    })),
    readings: { given: fit.readings.length, used: used.length },
    residuals: {
      acc: residuals(used, ({ accResidual }) => accResidual ?? []),
      mag: residuals(used, ({ magResidual }) => magResidual ?? []),
      aim: aims.reading === '' ? null : aims,
    },
    noise: {
      acc: fit.noise.acc,
      mag: fit.noise.mag,
      aim: fit.noise.aim === undefined ? null : degrees(fit.noise.aim),
    },
    uncertainty: {
      azimuth: uncertain(fit.uncertainty.azimuth, fit.uncertainty.freedom.azimuth),
      inclination: uncertain(fit.uncertainty.inclination, fit.uncertainty.freedom.inclination),
    },
    gravity: constancy(used.map(({ gravity }) => gravity)),
    field: constancy(used.map(({ field }) => field)),
    dip: {
      fitted: degrees(fit.dip),
      ...constancy(used.flatMap(({ dip }) => (dip === undefined ? [] : [degrees(dip)]))),
    },
    temperature:
      temperatures.length === 0
        ? null
        : {
            least: temperatures.reduce((a, b) => Math.min(a, b)),
            most: temperatures.reduce((a, b) => Math.max(a, b)),
          },
    tolerance: { degrees: tolerance.degrees, grade: tolerance.grade ?? null },
    standing,
    verdict,
    advice,
    notKnown,
    modelChoice: fit.modelChoice ?? null,
    heldOut: fit.heldOut
      ? {
          sightings: fit.heldOut.count,
          meanSpread: fit.heldOut.meanSpread === undefined ? null : degrees(fit.heldOut.meanSpread),
          doubtful: fit.heldOut.doubtful,
        }
      : null,
    residualTests: fit.residualTests ?? null,
    holdsFor: fit.holdsFor
      ? {
          attitudes: fit.holdsFor.attitudes,
          largest: {
            azimuth: degrees(fit.holdsFor.largest.azimuth),
            inclination: degrees(fit.holdsFor.largest.inclination),
          },
        }
      : null,
    comparison: comparison ? comparisonReport(comparison) : null,
    setAside: fit.setAside,
    stopped: fit.stopped,
    iterations: fit.iterations,
    warnings: fit.warnings,
  };
}

function comparisonReport({
  with: path,
  outcome,
}: {
  with: string;
  outcome: ComparisonOutcome;
}): ComparisonReport {
  if (outcome.same) return { with: path, same: true, refused: null };
  if (!outcome.ok) return { with: path, same: false, refused: outcome.cause };
  const { acc, mag, between, rollZero, curvature, azimuth, inclination } = outcome;
  const each = (v: Triple): Triple => [degrees(v[0]), degrees(v[1]), degrees(v[2])];
  const chip = (change: ChipChange): ChipChange => ({
    ...change,
    crossAxis: each(change.crossAxis),
    turn: each(change.turn),
  });
  const angle = ({ rms, largest, at }: AngleChange): AngleChange => ({
    rms: degrees(rms),
    largest: degrees(largest),
    at: {
      azimuth: degrees(at.azimuth),
      inclination: degrees(at.inclination),
      roll: degrees(at.roll),
    },
  });
  return {
    with: path,
    same: false,
    acc: chip(acc),
    mag: chip(mag),
    between: each(between),
    rollZero: degrees(rollZero),
    curvature,
    azimuth: azimuth ? angle(azimuth) : null,
    inclination: angle(inclination),
  };
}

function constancy(values: readonly number[]): Constancy {
  const { mean, sd } = meanAndDeviation(values);
  return { mean, deviation: sd };
}

function residuals(
  readings: readonly FittedReading[],
  of: (reading: FittedReading) => readonly number[],
): Residuals {
  const all = readings.flatMap((reading) =>
    of(reading).map((value) => ({ size: Math.abs(value), id: reading.id })),
  );
  const worst = all.reduce((a, b) => (b.size > a.size ? b : a), { size: 0, id: all[0]?.id ?? '' });
  return {
    rms: all.length === 0 ? 0 : rootMeanSquare(all.map(({ size }) => size)),
    largest: worst.size,
    reading: worst.id,
  };
}
