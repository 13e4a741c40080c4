import { applyCoefficients, coefficientsFrom } from '../../calib/model.ts';
import { degrees, turn } from '../../calib/geometry.ts';
import type { StoredSet } from '../../protocol/board.ts';
import type { CoefficientSet } from '../../protocol/coefficient-set.ts';
import { ProtocolError } from '../../protocol/errors.ts';
import type { Message } from '../../protocol/fields.ts';
import type { Fields } from '../../protocol/line.ts';
import { EVENTS, REFUSAL, VERBS } from '../../protocol/messages.ts';

/** Whether the fields that a board sent are those of its message, and whether its angles follow from its counts. */

const MESSAGES = {
  ...Object.fromEntries(Object.entries(VERBS).map(([verb, { answer }]) => [verb, answer])),
  reading: EVENTS.reading,
  refused: EVENTS.refused,
  power: EVENTS.power,
  error: REFUSAL,
} as Record<MessageName, Message<unknown>>;

/** An answer by its verb, an event by its kind, or what every `error` answer has. */
export type MessageName = keyof typeof VERBS | keyof typeof EVENTS | 'error';

/** How many decimals a field may have (SPEC.md, sections 3, 5 and 6). A host understands more; a board sends no more. */
const DECIMALS: Readonly<Record<string, number>> = {
  acc_scale: 1,
  mag_scale: 1,
  acc_sd: 2,
  mag_sd: 2,
  acc: 2,
  mag: 2,
  acc_scatter: 2,
  mag_scatter: 2,
  temp_c: 1,
  volt: 2,
  azimuth: 3,
  inclination: 3,
  roll: 3,
  range_m: 3,
};

/** What is wrong with a message's fields: the first field at fault and why. */
export function messageFault(name: MessageName, fields: Fields): string | undefined {
  try {
    MESSAGES[name].read(fields);
  } catch (error) {
    if (!(error instanceof ProtocolError) || error.fault.cause !== 'nonsense') throw error;
    return `${error.fault.field} ${error.fault.why}`;
  }
  for (const [field, most] of Object.entries(DECIMALS)) {
    const long = fields[field]?.find((item) => (item.split('.')[1] ?? '').length > most);
    if (long !== undefined) return `${field} is ${long}, with more than ${most} decimals`;
  }
  return undefined;
}

/** A set of coefficients, its CRC proved; undefined where it cannot be read. */
export function readSet(fields: Fields): StoredSet | undefined {
  return messageFault('coefficients', fields) === undefined
    ? VERBS.coefficients.answer.read(fields)
    : undefined;
}

/** SPEC.md, section 6.2: how closely a board's angles must agree with the host's, degrees; and half the last decimal. */
const AGREE = 0.01 + 0.0005;
/** Nearer to the vertical, or to the field's own direction, azimuth and roll hang on the rounding of the counts. */
const LEAST_SINE = 0.02;

/** A board's angles held against those of its own counts. */
export interface AngleVerdict {
  /** How many angles could be compared. */
  compared: number;
  /** What does not agree, in words. */
  fault?: string;
}

/**
 * Compares (SPEC.md, section 6.2): azimuth × cos inclination, inclination and roll, wherever they have a meaning and the
 * board sent them.
 */
export function judgeAngles(fields: Fields, { model, values }: CoefficientSet): AngleVerdict {
  const read = VERBS.sense.answer.read(fields);
  const own = applyCoefficients(coefficientsFrom(model, values), read.acc, read.mag);
  if (own.inclination === undefined) return { compared: 0 };
  const cosine = Math.cos(own.inclination);
  const upright = cosine > LEAST_SINE;
  const level = upright && own.dip !== undefined && Math.cos(own.dip) > LEAST_SINE;
  const off = (sent: number | undefined, angle: number | undefined): number | undefined =>
    sent === undefined || angle === undefined
      ? undefined
      : Math.abs(degrees(turn((sent * Math.PI) / 180, angle)));
  const azimuth = level ? off(read.azimuth, own.azimuth) : undefined;
  const differences = [
    { name: 'azimuth', by: azimuth && azimuth * cosine, own: own.azimuth },
    { name: 'inclination', by: off(read.inclination, own.inclination), own: own.inclination },
    { name: 'roll', by: upright ? off(read.roll, own.roll) : undefined, own: own.roll },
  ].filter(({ by }) => by !== undefined);
  const worst = differences.find(({ by }) => by! > AGREE);
  return {
    compared: differences.length,
    ...(worst && {
      fault: `${worst.name} is ${fields[worst.name]?.[0]}, where its own counts give ${degrees(worst.own!).toFixed(3)}`,
    }),
  };
}
