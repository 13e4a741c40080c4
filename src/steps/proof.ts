import { degrees, radians, sightDirection, turn } from '../calib/geometry.ts';
import { directionStatistics } from '../calib/spread.ts';
import { applyCoefficients, type Applied, type Coefficients } from '../calib/model.ts';
import type { Vec3 } from '../calib/reading.ts';
import type { Validity } from '../calib/validity.ts';
import type { BoardReading } from '../protocol/board.ts';
import type { TrueReading } from '../protocol/simulator.ts';
import type {
  PlannedSighting,
  ProofFigure,
  ProofRecord,
  TakenReading,
  TruthErrors,
} from '../records/entries.ts';
import type { Slot } from './calibration-state.ts';
import { outsideWords } from './outside-words.ts';
import { largest, meanAndDeviation, rootMeanSquare } from './statistics.ts';
import { BLIND_TO, SPREAD_IS_BLIND, TOLERANCE, type Limits } from './tolerance.ts';

/** The proof: fresh readings that no fit ever saw, and what they say of the coefficients that were sealed. */

/**
 * Three lines that the cube plan does not have, four rolls each that it does not have either: one near level, one
 * looking down, one looking up. Degrees.
 */
export const PROOF_SIGHTINGS: readonly PlannedSighting[] = [
  { sighting: 'P1', azimuth: 20, inclination: 8, rolls: [30, 120, 210, 300] },
  { sighting: 'P2', azimuth: 155, inclination: -28, rolls: [10, 100, 190, 280] },
  { sighting: 'P3', azimuth: 250, inclination: 52, rolls: [70, 160, 250, 340] },
];

/** Places of the proof that have no reading yet, in order. */
export function openProofSlots(taken: readonly TakenReading[]): Slot[] {
  return PROOF_SIGHTINGS.flatMap((sighting) =>
    sighting.rolls.map((roll) => ({ sighting, roll })),
  ).filter(
    ({ sighting, roll }) =>
      !taken.some((row) => row.sighting === sighting.sighting && row.aim?.roll === roll),
  );
}

/** What a proof is held against. */
export interface ProofTerms {
  limits: Limits;
  /** Of the fit that gave the coefficients; absent where the logbook has none. */
  fit?: {
    /** Mean length of the field over its readings. */
    field: number;
    /** What it holds for: a reading beyond is no proof of it, nor against it. */
    validity: Validity;
  };
}

/** The figures whose limit goes with the tolerance, by name. */
const OF_TOLERANCE = {
  'mean spread': { limit: ({ spread }: Limits) => spread, unit: '°' },
  'length of the field varies by': { limit: ({ field }: Limits) => 100 * field, unit: '%' },
  'length of gravity varies by': { limit: ({ gravity }: Limits) => 100 * gravity, unit: '%' },
  'dip varies by': { limit: ({ dip }: Limits) => dip, unit: '°' },
} as const;

/**
 * Whether what a proof found is within other limits than those it was held against. A proof that lacks one of the
 * figures that these limit is not: nobody can tell.
 */
export const holdsWithin = ({ figures }: Pick<ProofRecord, 'figures'>, limits: Limits): boolean =>
  Object.entries(OF_TOLERANCE).every(([name, { limit }]) =>
    figures.some((each) => each.name === name && each.value <= limit(limits)),
  );

/** Proof of a sealed set over fresh readings. */
export function proofOf(
  readings: readonly TakenReading[],
  coefficients: Coefficients,
  generation: number,
  { limits, fit }: ProofTerms,
): ProofRecord {
  const applied = readings.map((row) => ({
    row,
    seen: applyCoefficients(coefficients, row.reading.acc, row.reading.mag),
  }));
  const field = meanAndDeviation(applied.map(({ seen }) => seen.field));
  const gravity = meanAndDeviation(applied.map(({ seen }) => seen.gravity));
  const dip = meanAndDeviation(
    applied.flatMap(({ seen }) => (seen.dip === undefined ? [] : degrees(seen.dip))),
  );
  const spreads = spreadsOf(applied);
  const n = readings.length;
  const within = (name: keyof typeof OF_TOLERANCE, value: number) => {
    const { limit, unit } = OF_TOLERANCE[name];
    return figure(name, value, limit(limits), unit, n);
  };
  const figures = [
    ...agreementFigures(
      readings.map((row) => row.reading),
      coefficients,
    ),
    within('mean spread', meanAndDeviation(spreads).mean),
    within('length of the field varies by', (100 * field.sd) / field.mean),
    within('length of gravity varies by', (100 * gravity.sd) / gravity.mean),
    within('dip varies by', dip.sd),
    ...(fit
      ? [
          figure(
            'length of the field since the fit changed by',
            100 * Math.abs(field.mean / fit.field - 1),
            100 * TOLERANCE.fieldChange,
            '%',
            n,
          ),
        ]
      : []),
  ];
  const old = readings.filter((row) => row.reading.generation !== generation);
  return {
    generation,
    readings: readings.map((row) => row.id),
    figures,
    passed: old.length === 0 && figures.every((each) => each.good),
    blindTo: [SPREAD_IS_BLIND, ...BLIND_TO],
    warnings: [
      ...(old.length === 0
        ? []
        : [
            `${old.length} readings were taken while the board ran another generation of coefficients`,
          ]),
      ...(fit ? beyond(fit.validity, applied) : [NO_FIT]),
    ],
  };
}

const beyond = (validity: Validity, applied: readonly Seen[]): string[] =>
  outsideWords(
    validity,
    applied.map(({ row: { id, reading }, seen: { g, b } }) => ({
      id,
      g,
      b,
      ...(reading.temperature !== undefined && { temperature: reading.temperature }),
    })),
  ).map((each) => `Outside what the calibration holds for: ${each}`);

const NO_FIT =
  'The logbook has no fit that gave these coefficients: for which temperature and attitudes they hold is not known';

function figure(
  name: string,
  value: number,
  limit: number,
  unit: ProofFigure['unit'],
  n: number,
): ProofFigure {
  return { name, value, limit, unit, n, good: value <= limit };
}

interface Seen {
  row: TakenReading;
  seen: Applied;
}

/** The board's own angles against ours from the same counts; an angle that either lacks is not counted. */
export function agreementFigures(
  readings: readonly Omit<BoardReading, 'reading' | 'generation'>[],
  coefficients: Coefficients,
): ProofFigure[] {
  const azimuth: number[] = [];
  const inclination: number[] = [];
  const roll: number[] = [];
  for (const board of readings) {
    const seen = applyCoefficients(coefficients, board.acc, board.mag);
    if (board.inclination !== undefined && seen.inclination !== undefined) {
      inclination.push(board.inclination - degrees(seen.inclination));
      if (board.azimuth !== undefined && seen.azimuth !== undefined) {
        const difference = degrees(turn(radians(board.azimuth), seen.azimuth));
        azimuth.push(difference * Math.cos(seen.inclination));
      }
    }
    if (board.roll !== undefined && seen.roll !== undefined) {
      roll.push(degrees(turn(radians(board.roll), seen.roll)));
    }
  }
  return (
    [
      ['azimuth × cos inclination', azimuth],
      ['inclination', inclination],
      ['roll', roll],
    ] as const
  ).map(([name, differences]) => ({
    name: `the board’s ${name} against ours`,
    value: largest(differences),
    limit: TOLERANCE.agreement,
    unit: '°',
    n: differences.length,
    good: differences.length > 0 && largest(differences) <= TOLERANCE.agreement,
  }));
}

/** Spread of each sighting with two readings or more, degrees. */
function spreadsOf(applied: readonly Seen[]): number[] {
  const lines = new Map<string, Vec3[]>();
  for (const { row, seen } of applied) {
    const sight = sightDirection(seen.g, seen.b);
    if (row.sighting === undefined || sight === undefined) continue;
    lines.set(row.sighting, [...(lines.get(row.sighting) ?? []), sight]);
  }
  return [...lines.values()]
    .flatMap((sights) => directionStatistics(sights)?.spread ?? [])
    .map(degrees);
}

/** Errors of a set against a simulated board's truth. */
export function truthErrors(
  coefficients: Coefficients,
  truth: readonly TrueReading[],
): TruthErrors {
  const azimuth: number[] = [];
  const inclination: number[] = [];
  for (const real of truth) {
    const seen = applyCoefficients(coefficients, real.acc, real.mag);
    if (seen.inclination !== undefined)
      inclination.push(degrees(seen.inclination) - real.inclination);
    if (seen.azimuth !== undefined) {
      const difference = degrees(turn(radians(real.azimuth), seen.azimuth));
      azimuth.push(difference * Math.cos(radians(real.inclination)));
    }
  }
  return {
    azimuth: rootMeanSquare(azimuth),
    inclination: rootMeanSquare(inclination),
    largestAzimuth: largest(azimuth),
    largestInclination: largest(inclination),
    n: truth.length,
  };
}

/** One figure for the screen, and whether it is within its tolerance. */
export interface FigureWords {
  name: string;
  figure: string;
  words: string;
  good: boolean;
}

/** Figures of a proof for the screen. */
export function proofWords(proof: ProofRecord): FigureWords[] {
  return proof.figures.map(({ name, value, limit, unit, n, good }) => {
    const digits = limit !== undefined && limit < 0.1 ? 4 : 2;
    const text = (number: number) => `${number.toFixed(digits)}${unit === '%' ? ' %' : unit}`;
    return {
      name: name[0].toUpperCase() + name.slice(1),
      figure: n === 0 ? 'nothing to compare' : text(value),
      words: `over ${n} readings${limit === undefined ? '' : `; at most ${text(limit)}`}`,
      good,
    };
  });
}

/** Errors against the truth for the screen. */
export function truthWords(truth: TruthErrors): FigureWords[] {
  const words = (name: string, rms: number, most: number) => ({
    name,
    figure: `${rms.toFixed(3)}° rms`,
    words: `${most.toFixed(3)}° at most, over ${truth.n} attitudes in all directions and rolls, without noise; tolerance ${TOLERANCE.truth.toFixed(2)}° rms`,
    good: rms <= TOLERANCE.truth,
  });
  return [
    words('True error of azimuth × cos inclination', truth.azimuth, truth.largestAzimuth),
    words('True error of inclination', truth.inclination, truth.largestInclination),
  ];
}
