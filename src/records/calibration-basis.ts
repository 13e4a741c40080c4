import * as v from 'valibot';
import type { Uncertainty } from '../calib/covariance.ts';
import { degrees, radians } from '../calib/geometry.ts';
import type { Vec3 } from '../calib/reading.ts';
import type { Validity } from '../calib/validity.ts';

/**
 * What a coefficients file may say of the calibration behind it, under `calibration`: enough to fit the offsets again
 * with the rest as prior, to say how certain an angle is, and to tell a reading that lies outside.
 */
export interface CalibrationBasis {
  /** How many readings the fit used. */
  readings: number;
  /** Radians. */
  dip: number;
  /** Standard deviations: counts, counts, radians. */
  noise: { acc: number; mag: number; aim?: number };
  uncertainty: Uncertainty;
  /** Directions thinned out, so that the file stays small. */
  validity: Omit<Validity, 'uncertainty'>;
}

const finite = v.pipe(v.number('it must be a number'), v.finite('it must be a finite number'));
const positive = v.pipe(finite, v.gtValue(0, 'it must be above zero'));
const notNegative = v.pipe(finite, v.minValue(0, 'it must not be below zero'));
const angles = <S extends v.GenericSchema<number | null, number>>(value: S) =>
  v.object({ azimuth: value, inclination: value });
const direction = v.strictTuple([finite, finite, finite], 'it must be a list of three numbers');
const directions = v.array(direction, 'it must be a list of directions');
/** Infinity, which JSON has no word for, is null. */
const freedom = v.pipe(
  v.nullable(positive),
  v.transform((value) => value ?? Infinity),
);

/** Degrees, as always in a file; theta and its covariance as the fit has them, dip in radians there. */
export const basisSchema = v.pipe(
  v.object({
    readings: v.pipe(finite, v.integer('it must be a whole number'), v.minValue(1)),
    dip: v.pipe(finite, v.minValue(-90), v.maxValue(90)),
    noise: v.object({ acc: positive, mag: positive, aim: v.optional(positive) }),
    standardError: angles(notNegative),
    freedom: angles(freedom),
    theta: v.array(finite, 'it must be a list of numbers'),
    covariance: v.array(v.array(finite), 'it must be a list of rows'),
    temperature: v.optional(v.object({ coldest: finite, warmest: finite })),
    down: directions,
    field: directions,
    limits: v.object({
      temperature: notNegative,
      reach: notNegative,
      standardError: angles(notNegative),
    }),
  }),
  v.forward(
    v.check(
      ({ theta, covariance }) => isCovariance(covariance, theta.length),
      'it must be a covariance of theta: as many rows and columns, symmetric, no correlation over one',
    ),
    ['covariance'],
  ),
);

function isCovariance(rows: readonly (readonly number[])[], width: number): boolean {
  return (
    rows.length === width &&
    rows.every((row, i) => {
      const square = row.length === width && row[i]! >= 0;
      return (
        square &&
        row.every((value, c) => {
          const largest = Math.sqrt(row[i]! * (rows[c]?.[c] ?? 0));
          return rows[c]?.[i] === value && Math.abs(value) <= largest * (1 + 1e-6);
        })
      );
    })
  );
}

export function basisToJson(basis: CalibrationBasis): v.InferInput<typeof basisSchema> {
  const { readings, dip, noise, uncertainty, validity } = basis;
  const { azimuth, inclination, theta, covariance } = uncertainty;
  const { temperature, limits } = validity;
  const width = theta.length;
  const finiteOrNull = (value: number) => (Number.isFinite(value) ? value : null);
  return {
    readings,
    dip: degrees(dip),
    noise: {
      acc: noise.acc,
      mag: noise.mag,
      ...(noise.aim !== undefined && { aim: degrees(noise.aim) }),
    },
    standardError: { azimuth: degrees(azimuth), inclination: degrees(inclination) },
    freedom: {
      azimuth: finiteOrNull(uncertainty.freedom.azimuth),
      inclination: finiteOrNull(uncertainty.freedom.inclination),
    },
    theta: [...theta],
    // both halves alike to the last bit, whatever rounding left
    covariance: theta.map((_, i) =>
      theta.map((_, c) => covariance[Math.min(i, c) * width + Math.max(i, c)]!),
    ),
    ...(temperature && { temperature }),
    down: rounded(thinned(validity.down)),
    field: rounded(thinned(validity.field)),
    limits: {
      temperature: limits.temperature,
      reach: degrees(limits.reach),
      standardError: {
        azimuth: degrees(limits.standardError.azimuth),
        inclination: degrees(limits.standardError.inclination),
      },
    },
  };
}

export function basisFromJson(json: v.InferOutput<typeof basisSchema>): CalibrationBasis {
  const { readings, dip, noise, standardError, temperature, limits } = json;
  return {
    readings,
    dip: radians(dip),
    noise: {
      acc: noise.acc,
      mag: noise.mag,
      ...(noise.aim !== undefined && { aim: radians(noise.aim) }),
    },
    uncertainty: {
      azimuth: radians(standardError.azimuth),
      inclination: radians(standardError.inclination),
      freedom: json.freedom,
      theta: json.theta,
      covariance: json.covariance.flat(),
    },
    validity: {
      ...(temperature && { temperature }),
      down: json.down,
      field: json.field,
      limits: {
        temperature: limits.temperature,
        reach: radians(limits.reach),
        standardError: {
          azimuth: radians(limits.standardError.azimuth),
          inclination: radians(limits.standardError.inclination),
        },
      },
    },
  };
}

/** Directions nearer to one kept than this (cosine of 5°) say no more: a calibration reaches ten times as far. */
const SAME = Math.cos(radians(5));

function thinned(all: readonly Vec3[]): Vec3[] {
  const kept: Vec3[] = [];
  for (const v of all) {
    if (kept.every((k) => k[0] * v[0] + k[1] * v[1] + k[2] * v[2] < SAME)) kept.push(v);
  }
  return kept;
}

const rounded = (all: readonly Vec3[]): [number, number, number][] =>
  all.map(([x, y, z]) => [x, y, z].map((value) => Number(value.toFixed(5))) as never);
