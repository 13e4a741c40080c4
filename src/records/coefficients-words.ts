import { setCrc } from '../protocol/messages.ts';
import { coefficientValues, type Coefficients } from '../calib/model.ts';

/** What is written with coefficients that leave this program, so that other firmware can use them. */

/** Where a set of coefficients comes from, as far as it is known. */
export interface SetAbout {
  /** Serial number of the board it is for. */
  board?: string;
  /** What a person calls it: a generation, a file's name. */
  name?: string;
}

/**
 * A text from outside, such that no text can end a comment or a string in C, or a line: letters and digits of ASCII,
 * blank, `.`, `_` and `-` stay, everything else stands percent-encoded as UTF-8. At most 120 characters.
 */
export function plainText(text: string): string {
  const encoded = encodeURIComponent(text.slice(0, 120).toWellFormed())
    .replace(/[!'()*~]/g, (each) => `%${each.charCodeAt(0).toString(16).toUpperCase()}`)
    .replace(/%20/g, ' ');
  return encoded.length > 120 ? `${encoded.slice(0, 117).replace(/%.?$/, '')}...` : encoded;
}

/**
 * A binary32 value as a decimal number that gives back just that value: nine significant digits do so (Matula 1968, In-
 * and-out conversions, Comm. ACM 11). Always with a point, trailing zeros left out.
 */
export function decimal(value: number): string {
  const single = Math.fround(value);
  const [digits = '', exponent] = Math.abs(single).toPrecision(9).split('e');
  const whole = digits.includes('.') ? digits.replace(/0+$/, '').replace(/\.$/, '.0') : `${digits}.0`; // prettier-ignore
  const sign = single < 0 || Object.is(single, -0) ? '-' : '';
  return sign + whole + (exponent === undefined ? '' : `e${exponent}`);
}

/** What stands above the numbers, a line each: which set it is, what the numbers mean, and the caution. Plain ASCII. */
export function headLines(set: Coefficients, { board, name }: SetAbout): string[] {
  return [
    `Coefficients of a compass-clinometer board, ${set.model}, CRC-32 ${crcOf(set)}.`,
    ...(board === undefined ? [] : [`Board: ${plainText(board)}`]),
    ...(name === undefined ? [] : [`From: ${plainText(name)}`]),
    '',
    ...CONVENTION_LINES,
    '',
    ...CAUTION_LINES,
  ];
}

/** CRC-32 of a set as boards give it (SPEC.md, section 6.1): eight hexadecimal digits. */
export const crcOf = (coefficients: Coefficients): string =>
  setCrc({ model: coefficients.model, values: coefficientValues(coefficients) });

/** What the numbers mean, a line each; plain ASCII. */
export const CONVENTION_LINES: readonly string[] = [
  'Body axes: x along the sight, y to the right, z down when held upright.',
  'World axes: x to magnetic north, y east, z down. Azimuth counts from magnetic north.',
  'Counts are those of each chip along its own axes, averaged or not, in the units in which',
  'the calibration was made; the matrices turn them into body axes. Element by element:',
  '',
  '  s = c_acc / acc_scale - o',
  '  g = A (s + q s s)            direction down, length one where all is well',
  '  b = B (c_mag / mag_scale - p)  direction of the magnetic field, length one where all is well',
  '',
  'A and B are given row by row: g[i] = A[i][0] t[0] + A[i][1] t[1] + A[i][2] t[2].',
  'The order is as written: scale, then offset, then curvature, then matrix.',
  '',
  'Angles: bring g and b to length one; e = g x b and n = e x g (cross products), each brought',
  'to length one. Then, in radians,',
  '',
  '  azimuth     = atan2(e[0], n[0])   clockwise from magnetic north; add 2 pi where negative',
  '  inclination = asin(-g[0])         up positive; limit the argument to -1 ... 1',
  '  roll        = atan2(g[1], g[2])   clockwise as seen by the person aiming',
  '',
  'Aimed straight up or down azimuth and roll have no meaning, and no azimuth has one where g and b',
  'are parallel or either has no length: say so then, and give no number.',
  'CRC-32/ISO-HDLC is over one byte (0x53 straight, 0x42 bowed) and the binary32 words, most',
  'significant byte first, in the order acc_scale, mag_scale, o, A, p, B and, where bowed, q.',
];

/** Said wherever coefficients leave. */
const CAUTION_LINES: readonly string[] = [
  'A magnetic heading alone must not be relied on where an error can hurt someone; local rules and',
  'qualified surveyors decide. A calibration holds only for the battery, the housing and the',
  'temperature it was made with. Prove it on the board with fresh readings before it is used.',
];
