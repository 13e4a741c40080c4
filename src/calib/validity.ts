import { DIP } from './calibration-problem.ts';
import {
  attitudesEverywhere,
  standardErrors,
  type AngleErrors,
  type Uncertainty,
} from './covariance.ts';
import type { Fit, FittedReading } from './fit.ts';
import {
  angleBetween,
  angles,
  bodyVectors,
  dot,
  length,
  radians,
  rotate,
  unit,
} from './geometry.ts';
import { applyCoefficients } from './model.ts';
import type { Reading, Vec3 } from './reading.ts';

/**
 * What a calibration holds for: the temperatures and the attitudes that its readings covered. Plain data, that can be
 * kept with the coefficients and asked of any reading later. Radians, degrees Celsius.
 */
export interface Validity {
  /** Coldest and warmest of the readings used; absent where none told its temperature. */
  temperature?: { coldest: number; warmest: number };
  /** Directions of down and of the field in the body, unit length, of each reading used. */
  down: Vec3[];
  field: Vec3[];
  /** Forward parameters and covariance, for the standard error in any attitude. */
  uncertainty: Pick<Uncertainty, 'theta' | 'covariance'>;
  limits: ValidityLimits;
}

/** How far outside its readings a calibration is still trusted. */
export interface ValidityLimits {
  /** Degrees Celsius beyond the coldest and the warmest reading. */
  temperature: number;
  /** Angle from the nearest reading's direction of down, and of the field; radians. */
  reach: number;
  /** Greatest standard error of azimuth × cos inclination, and of inclination; radians. */
  standardError: AngleErrors;
}

/**
 * Our own choice, and to be replaced by whoever knows the sensor. 5 °C: ordinary magnetometers' offsets drift by up to
 * some 0.1 % of the field per degree (from memory). 50°: the cube plan with quarter turns leaves gaps of 45° between its
 * directions of down (a level sight at a roll of 45° is that far from any), and readings are a few degrees off their
 * aims. 0.25°: half of the mean spread that common practice accepts.
 */
export const ORDINARY_LIMITS: ValidityLimits = {
  temperature: 5,
  reach: radians(50),
  standardError: { azimuth: radians(0.25), inclination: radians(0.25) },
};

/**
 * - `colder`, `warmer`: than any reading of the calibration, by more than the limit
 * - `down_not_covered`, `field_not_covered`: no reading of the calibration had down, or the field, near this direction
 *   in the body
 * - `azimuth_uncertain`, `inclination_uncertain`: the standard error in this attitude is over the limit
 * - `no_direction`: down or field has no direction here, or both have the same
 */
export type OutsideReason =
  | 'colder'
  | 'warmer'
  | 'down_not_covered'
  | 'field_not_covered'
  | 'azimuth_uncertain'
  | 'inclination_uncertain'
  | 'no_direction';

/** What is asked of a validity: directions of down and field in the body, of any length, and the temperature. */
export interface Asked {
  g: Vec3;
  b: Vec3;
  temperature?: number;
}

/** How an attitude or a reading stands to what a calibration holds for. */
export interface Standing {
  /** Why it lies outside; empty where it lies inside. */
  reasons: OutsideReason[];
  /** Whether temperature was looked at: false where the reading or the calibration does not tell it, as is normal. */
  temperatureTold: boolean;
  /** Angle to the nearest reading's direction of down, and of the field. Absent with `no_direction`. */
  down?: number;
  field?: number;
  /** Standard errors in this attitude at the dip of the calibration. Absent with `no_direction`. */
  standardError?: AngleErrors;
}

/**
 * @param fit and the readings it was made of, in any order; only those it used count
 * @throws RangeError where the fit used a reading that is not among them
 */
export function validityOf(
  fit: Pick<Fit, 'coefficients' | 'uncertainty'> & { readings: readonly FittedReading[] },
  readings: readonly (Pick<Reading, 'id' | 'acc' | 'mag'> & { temperature?: number })[],
  limits: Partial<ValidityLimits> = {},
): Validity {
  const byId = new Map(readings.map((reading) => [reading.id, reading]));
  const used = fit.readings
    .filter((reading) => reading.used)
    .map(({ id }) => {
      const reading = byId.get(id);
      if (!reading) throw new RangeError(`the fit used reading ${id}, which is not given`);
      return reading;
    });
  const seen = used.map(({ acc, mag }) => applyCoefficients(fit.coefficients, acc, mag));
  const temperatures = used.flatMap(({ temperature }) =>
    temperature === undefined ? [] : [temperature],
  );
  const { theta, covariance } = fit.uncertainty;
  return {
    ...(temperatures.length > 0
      ? { temperature: { coldest: Math.min(...temperatures), warmest: Math.max(...temperatures) } }
      : {}),
    down: seen.map(({ g }) => unit(g)),
    field: seen.map(({ b }) => unit(b)),
    uncertainty: { theta, covariance },
    limits: { ...ORDINARY_LIMITS, ...limits },
  };
}

/**
 * Tells whether, and why, a reading lies outside what a calibration holds for. An attitude that is only thought of is
 * asked for with `bodyVectors`; a reading with what `applyCoefficients` makes of it.
 */
export function standing(validity: Validity, asked: Asked): Standing {
  const found = attitudeStanding(validity, asked);
  const { temperature } = asked;
  const { temperature: span, limits } = validity;
  if (!span || temperature === undefined || !Number.isFinite(temperature)) {
    return { temperatureTold: false, ...found };
  }
  const reasons: OutsideReason[] = [];
  if (temperature < span.coldest - limits.temperature) reasons.push('colder');
  if (temperature > span.warmest + limits.temperature) reasons.push('warmer');
  return { temperatureTold: true, ...found, reasons: [...reasons, ...found.reasons] };
}

/** Why a reading lies outside what a calibration holds for; empty where it lies inside. */
export const outside = (validity: Validity, asked: Asked): OutsideReason[] =>
  standing(validity, asked).reasons;

/** Those of {@link attitudesEverywhere}, at the calibration's dip, that lie outside, and how many were asked for. */
export function attitudesOutside(validity: Validity): {
  of: number;
  outside: (AttitudeStanding & { azimuth: number; inclination: number; roll: number })[];
} {
  const all = attitudesEverywhere();
  const dip = validity.uncertainty.theta[DIP]!;
  return {
    of: all.length,
    outside: all.flatMap(([azimuth, inclination, roll]) => {
      const found = attitudeStanding(validity, bodyVectors(azimuth, inclination, roll, dip));
      return found.reasons.length > 0 ? [{ azimuth, inclination, roll, ...found }] : [];
    }),
  };
}

/** How an attitude stands, whatever the temperature. */
type AttitudeStanding = Omit<Standing, 'temperatureTold'>;

function attitudeStanding(
  { down, field, uncertainty, limits }: Validity,
  asked: Asked,
): AttitudeStanding {
  const attitude = attitudeOf(asked);
  if (!attitude) return { reasons: ['no_direction'] };
  const far = { down: nearest(asked.g, down), field: nearest(asked.b, field) };
  const standardError = standardErrors(uncertainty, ...attitude);
  const reasons: OutsideReason[] = [];
  if (!(far.down <= limits.reach)) reasons.push('down_not_covered');
  if (!(far.field <= limits.reach)) reasons.push('field_not_covered');
  if (!(standardError.azimuth <= limits.standardError.azimuth)) reasons.push('azimuth_uncertain');
  if (!(standardError.inclination <= limits.standardError.inclination)) {
    reasons.push('inclination_uncertain');
  }
  return { reasons, ...far, standardError };
}

/** How far a sight that is nearer than half of it to the vertical is taken off it, for its errors to be computed. */
const TILT = radians(0.1);

/** Azimuth, inclination and roll at which errors are computed; a vertical sight, which has none, is tilted a little. */
function attitudeOf({ g, b }: Asked): [number, number, number] | undefined {
  let seen = angles(g, b);
  if (Math.hypot(g[1], g[2]) < Math.sin(TILT / 2) * length(g)) {
    const [c, s] = [Math.cos(TILT), Math.sin(TILT)];
    const tilt = [c, 0, s, 0, 1, 0, -s, 0, c] as const;
    seen = angles(rotate(tilt, g), rotate(tilt, b));
  }
  const { azimuth, inclination, roll } = seen;
  return azimuth === undefined || inclination === undefined || roll === undefined
    ? undefined
    : [azimuth, inclination, roll];
}

/** Angle from a vector to the nearest of some directions. */
function nearest(v: Vec3, directions: readonly Vec3[]): number {
  let best: Vec3 | undefined;
  let most = -Infinity;
  for (const direction of directions) {
    const cosine = dot(v, direction);
    if (cosine > most) [best, most] = [direction, cosine];
  }
  return best ? angleBetween(v, best) : Infinity;
}
