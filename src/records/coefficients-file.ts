import * as v from 'valibot';
import { DIP } from '../calib/calibration-problem.ts';
import { determinant } from '../calib/geometry.ts';
import { coefficientValues, type Coefficients, type Mat3 } from '../calib/model.ts';
import { coefficientsOf } from '../calib/state.ts';
import {
  basisFromJson,
  basisSchema,
  basisToJson,
  type CalibrationBasis,
} from './calibration-basis.ts';

/**
 * Coefficients as a JSON file (docs/files.md, docs/schemas/coefficients-1.schema.json). A file says what its numbers
 * mean, so that it can be used without this program; reading one trusts nothing.
 */

const TYPE = 'lodebench.coefficients';
const VERSION = 1;

/** The most bytes such a file may have; one has about two thousand, and with its calibration some thirty thousand. */
const MOST_BYTES = 1_000_000;

const CONVENTIONS = {
  body: 'x along the sight, y to the right, z down when held upright',
  world: 'x to magnetic north, y east, z down',
  formula:
    'counts c of either chip along its own axes: s = c_acc/accScale - o; g = A (s + q*s*s), element by element; b = B (c_mag/magScale - p). g is the direction down and b that of the field in body axes, each of length one where all is well',
  angles:
    'with g and b at length one: e = g x b and n = e x g, at length one too; azimuth = atan2(e_x, n_x) clockwise from magnetic north, inclination = asin(-g_x) up positive, roll = atan2(g_y, g_z) clockwise as seen by the person aiming',
  numbers: 'IEEE-754 binary32, as a board stores them; matrices row by row',
} as const;

type Triple = [number, number, number];

/** What a coefficients file holds. */
export interface CoefficientsFile {
  coefficients: Coefficients;
  /** What is known of the calibration that they came from; absent where the file does not say. */
  basis?: CalibrationBasis;
}

/** Coefficients as they stand in JSON: matrices as lists of rows. */
export interface CoefficientsJson {
  model: 'straight' | 'bowed';
  accScale: number;
  magScale: number;
  o: Triple;
  A: [Triple, Triple, Triple];
  p: Triple;
  B: [Triple, Triple, Triple];
  q: Triple;
}

const stored = v.pipe(
  v.number('it must be a number'),
  v.transform(Math.fround),
  v.finite('it must be a number within the range of binary32'),
);
const scale = v.pipe(stored, v.gtValue(0, 'it must be above zero'));
const triple = v.strictTuple([stored, stored, stored], 'it must be a list of three numbers');
const matrix = v.pipe(
  v.strictTuple([triple, triple, triple], 'it must be a list of three rows of three numbers'),
  v.check(
    (rows) => determinant(rows.flat() as unknown as Mat3) !== 0,
    'it must have an inverse: its rows lie in one plane',
  ),
);
const Body = v.pipe(
  v.object({
    model: v.picklist(['straight', 'bowed'], 'it must be "straight" or "bowed"'),
    accScale: scale,
    magScale: scale,
    o: triple,
    A: matrix,
    p: triple,
    B: matrix,
    q: triple,
    calibration: v.optional(basisSchema),
  }),
  v.forward(
    v.check(
      ({ model, q }) => model === 'bowed' || q.every((value) => value === 0),
      'it must be zero in a straight model',
    ),
    ['q'],
  ),
);
const Head = v.object({ type: v.literal(TYPE), version: v.pipe(v.number(), v.integer()) });

/** Coefficients as JSON has them; every number goes through binary32. */
export function coefficientsToJson(coefficients: Coefficients): CoefficientsJson {
  const { model, accScale, magScale, o, A, p, B, q } = coefficients;
  const list = (values: readonly number[]) => values.map(Math.fround) as Triple;
  const rows = (m: Mat3): [Triple, Triple, Triple] => [
    list(m.slice(0, 3)),
    list(m.slice(3, 6)),
    list(m.slice(6, 9)),
  ];
  return {
    model,
    accScale: Math.fround(accScale),
    magScale: Math.fround(magScale),
    o: list(o),
    A: rows(A),
    p: list(p),
    B: rows(B),
    q: list(q),
  };
}

/** Writes a coefficients file. @param basis what is known of the calibration that they came from */
export function writeCoefficients(coefficients: Coefficients, basis?: CalibrationBasis): string {
  const body = coefficientsToJson(coefficients);
  const file = {
    type: TYPE,
    version: VERSION,
    conventions: CONVENTIONS,
    ...body,
    ...(basis && { calibration: basisToJson(basis) }),
  };
  // lists of numbers on one line each, so that a person can read a matrix
  const text = JSON.stringify(file, null, 2);
  return `${text.replace(/\[[^[\]]*\]/g, (list) => list.replace(/\s+/g, ' ').replace('[ ', '[').replace(' ]', ']'))}\n`;
}

/**
 * - `not_json`: no JSON text in UTF-8, or far too long for coefficients
 * - `wrong_type`: JSON, but no coefficients file
 * - `newer_version`: from a newer version of this format
 * - `bad_value`: something is missing or wrong at `path`
 */
export type CoefficientsCause = 'not_json' | 'wrong_type' | 'newer_version' | 'bad_value';

export interface CoefficientsFault {
  ok: false;
  cause: CoefficientsCause;
  /** Where in the file, such as `A[1][2]`; absent where the whole file is meant. */
  path?: string;
  message: string;
}

function fault(cause: CoefficientsCause, what: string, path?: string): CoefficientsFault {
  const message = `${path === undefined ? '' : `${path}: `}${what}. Nothing was changed.`;
  return { ok: false, cause, ...(path !== undefined && { path }), message };
}

/** Reads a coefficients file from its bytes, whole or not at all. Numbers are rounded to binary32, as a board does. */
export function readCoefficients(
  bytes: Uint8Array,
): ({ ok: true } & CoefficientsFile) | CoefficientsFault {
  if (bytes.length > MOST_BYTES) {
    return fault('not_json', `the file is too long for coefficients (over ${MOST_BYTES} bytes)`);
  }
  let content: unknown;
  try {
    content = JSON.parse(new TextDecoder('utf-8', { fatal: true }).decode(bytes));
  } catch (error) {
    const why = error instanceof Error ? error.message.replace(/\p{C}/gu, '·') : '';
    return fault('not_json', `the file is not JSON text in UTF-8 (${why})`);
  }
  const head = v.safeParse(Head, content);
  if (!head.success) {
    return fault(
      'wrong_type',
      `this is no coefficients file: it must hold "type": "${TYPE}" and a whole number as "version"`,
      v.getDotPath(head.issues[0]) ?? undefined,
    );
  }
  const { version } = head.output;
  if (version > VERSION) {
    return fault(
      'newer_version',
      `the file is of version ${version} and this program reads up to ${VERSION}. Use a newer program`,
      'version',
    );
  }
  if (version !== VERSION) {
    return fault('bad_value', `there is no version ${version} of this format`, 'version');
  }
  const body = v.safeParse(Body, content);
  if (!body.success) {
    const [issue] = body.issues;
    const path = (issue.path ?? []).map(({ key }) => (typeof key === 'number' ? `[${key}]` : `.${String(key)}`)).join(''); // prettier-ignore
    const what = issue.received === 'undefined' ? 'it is missing' : issue.message;
    return fault('bad_value', what, path.replace(/^\./, ''));
  }
  const { A, B, calibration, ...rest } = body.output;
  const flat = (rows: readonly (readonly number[])[]) => rows.flat() as unknown as Mat3;
  const coefficients: Coefficients = { ...rest, A: flat(A), B: flat(B) };
  if (!calibration) return { ok: true, coefficients };
  const basis = basisFromJson(calibration);
  return belongs(basis, coefficients)
    ? { ok: true, coefficients, basis }
    : fault('bad_value', 'it is of other coefficients than those in the file', 'calibration.theta');
}

/** Whether the parameters of a calibration are those of the coefficients, which are rounded to binary32. */
function belongs({ uncertainty }: CalibrationBasis, coefficients: Coefficients): boolean {
  const { accScale, magScale, model } = coefficients;
  if (uncertainty.theta.length !== (model === 'bowed' ? DIP + 4 : DIP + 1)) return false;
  const theta = Float64Array.from(uncertainty.theta);
  const values = coefficientValues(coefficientsOf(theta, { acc: accScale, mag: magScale }));
  return coefficientValues(coefficients).every(
    (value, i) => Math.abs(value - values[i]!) <= 1e-5 * Math.max(1, Math.abs(value)),
  );
}
