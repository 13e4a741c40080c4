import {
  compareCoefficients,
  type AngleChange,
  type ChipChange,
  type Comparison,
  type ComparisonRefusal,
} from '../calib/comparison.ts';
import { degrees, length, radians } from '../calib/geometry.ts';
import { coefficientsFrom, coefficientValues, type Coefficients } from '../calib/model.ts';
import type { Vec3 } from '../calib/reading.ts';
import type { StoredSet } from '../protocol/board.ts';
import type { ChosenSet, FitRecord, SetSource } from '../records/entries.ts';
import type { BoardHistory } from './calibration-state.ts';
import { degreesText } from './finding.ts';

/** Two sets of coefficients of one board, held against each other in physical terms and in words. */

export interface ComparisonWords {
  /** In one sentence, what it means for the angles. */
  lead: string;
  /** What happened to the chips, a line each. */
  rows: readonly { name: string; figure: string }[];
}

export type ComparisonOutcome =
  { same: true } | ({ same: false } & (Comparison | ComparisonRefusal));

/** @param dip of the field, radians */
export function compared(from: Coefficients, to: Coefficients, dip: number): ComparisonOutcome {
  const values = coefficientValues(to).map(Math.fround);
  const same =
    from.model === to.model &&
    coefficientValues(from).every((value, i) => Math.fround(value) === values[i]);
  return same ? { same } : { same, ...compareCoefficients(from, to, dip) };
}

const REFUSED: Record<ComparisonRefusal['cause'], string> = {
  singular: 'One of the two sets shows no angles at all, so there is nothing to compare.',
  mirrored: 'One set has a chip as a mirror image of the other: they are not of one board.',
  no_counts:
    'The curvature of the set before is such that in some attitude no counts would read so: there is nothing to compare.',
};

/**
 * @param before what the set is called that the other is held against, such as "generation 3"
 */
export function comparisonWords(outcome: ComparisonOutcome, before: string): ComparisonWords {
  if (outcome.same) return { lead: `These are the very numbers of ${before}.`, rows: [] };
  if (!outcome.ok) return { lead: REFUSED[outcome.cause], rows: [] };
  const { azimuth, inclination, acc, mag, between, rollZero, curvature } = outcome;
  const angles = [
    ...(azimuth ? [`azimuth × cos inclination by ${changeWords(azimuth)}`] : []),
    `inclination by ${changeWords(inclination)}`,
  ];
  return {
    lead: `Against ${before}, readings of the same counts change: ${angles.join(', ')}.`,
    rows: [
      ...(azimuth ? [{ name: 'Azimuth changes most', figure: atWords(azimuth) }] : []),
      { name: 'Inclination changes most', figure: atWords(inclination) },
      { name: 'The sight moved by', figure: degreesText(degrees(Math.hypot(acc.turn[1], acc.turn[2]))) }, // prettier-ignore
      ...chipRows('Accelerometer', acc, '1 g'),
      ...chipRows('Magnetometer', mag, 'the field'),
      {
        name: 'Magnetometer turned against accelerometer',
        figure: degreesText(degrees(length(between))),
      },
      { name: 'Roll reads more by', figure: `${signed(degrees(rollZero), 2)}°` },
      ...(curvature.some((each) => each !== 0)
        ? [{ name: 'Curvature, chip x, y, z', figure: percents(curvature, 'at 1 g') }]
        : []),
    ],
  };
}

/** What a set is called that is put on a board as it is, in the midst of a sentence. */
export function sourceWords({ generation, fit, entered }: SetSource): string {
  if (generation !== undefined) return `the coefficients of generation ${generation}`;
  if (entered !== undefined) return `the coefficients “${entered}”`;
  return fit ? 'the coefficients of a fit that was never sealed' : 'other coefficients';
}

/** A set that is to be put on the board as it is, against what the board runs; undefined where that is nothing. */
export function chosenAgainst(
  { set, dip }: ChosenSet,
  inForce: StoredSet | undefined,
): ComparisonWords | undefined {
  if (!inForce) return undefined;
  const words = comparisonWords(
    compared(
      coefficientsFrom(inForce.model, inForce.values),
      coefficientsFrom(set.model, set.values),
      dip ?? radians(ORDINARY_DIP),
    ),
    `generation ${inForce.generation}, which the board runs`,
  );
  if (dip !== undefined || words.rows.length === 0) return words;
  return {
    ...words,
    lead: `${words.lead} The dip of the field is not known here: ${ORDINARY_DIP}° was taken.`,
  };
}

/** Degrees; of middle latitudes, for where no fit and no file has told the dip. */
export const ORDINARY_DIP = 65;

/** A fit against what the board runs, as last read from it. */
export function comparedWithBoard(
  { coefficients, dip }: Pick<FitRecord, 'coefficients' | 'dip'>,
  { model, values, generation }: StoredSet,
): ComparisonWords {
  return comparisonWords(
    compared(coefficientsFrom(model, values), coefficients, dip),
    `generation ${generation}, which the board runs`,
  );
}

/** The newest fit of a calibration against what the board runs; undefined where either is missing. */
export function comparedOnBoard({
  calibration,
  inForce,
}: BoardHistory): ComparisonWords | undefined {
  const { fit } = calibration ?? {};
  return fit && inForce && comparedWithBoard(fit, inForce);
}

const changeWords = ({ rms, largest }: AngleChange): string =>
  `${degreesText(degrees(rms))} (root mean square over all attitudes), ${degreesText(Math.abs(degrees(largest)))} at most`;

function atWords({ largest, at }: AngleChange): string {
  const whole = (angle: number) => `${Math.round(degrees(angle))}°`.replace('-', '−');
  return `${signed(degrees(largest), 2)}° at azimuth ${whole(at.azimuth)}, inclination ${whole(at.inclination)}, roll ${whole(at.roll)}`;
}

/** In body axes: along the sight, to the right, down. */
function chipRows(name: string, { offset, gain, crossAxis }: ChipChange, unit: string) {
  return [
    { name: `${name} zero, along the sight, right, down`, figure: percents(offset, `of ${unit}`) },
    { name: `${name} gain, the same axes`, figure: percents(gain) },
    {
      name: `${name} axes lean together`,
      figure: `${crossAxis.map((angle) => signed(degrees(angle), 2)).join(', ')}°`,
    },
  ];
}

const signed = (value: number, digits: number): string => {
  const text = Math.abs(value).toFixed(digits);
  return Number(text) === 0 ? text : `${value < 0 ? '−' : '+'}${text}`;
};

const percents = (values: Vec3, of = ''): string =>
  `${values.map((value) => signed(100 * value, 2)).join(', ')} %${of && ` ${of}`}`;
