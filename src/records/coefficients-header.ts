import { asStored, type Coefficients } from '../calib/model.ts';
import type { Mat3 } from '../calib/geometry.ts';
import type { Vec3 } from '../calib/reading.ts';
import { crcOf, decimal, headLines, plainText, type SetAbout } from './coefficients-words.ts';

/** Coefficients as a C header (C99), for firmware that is not of this project (docs/files.md). */

/**
 * Writes such a header: constants in binary32 and a comment that says what they mean. It includes nothing and defines
 * no function. Whatever the names are, they end neither comment nor string.
 */
export function coefficientsHeader(coefficients: Coefficients, about: SetAbout = {}): string {
  const set = asStored(coefficients);
  const crc = crcOf(set);
  const { board } = about;
  const guard = `LODEBENCH_COEFFICIENTS_${crc}_H`;
  return [
    '/*',
    ...headLines(set, about).map((line) => (line === '' ? ' *' : ` * ${line}`)),
    ' */',
    `#ifndef ${guard}`,
    `#define ${guard}`,
    '',
    `#define LODEBENCH_CRC32 ${Number.parseInt(crc, 16)}UL`,
    `#define LODEBENCH_BOWED ${set.model === 'bowed' ? 1 : 0}`,
    ...(board === undefined ? [] : [`#define LODEBENCH_BOARD "${plainText(board)}"`]),
    '',
    scalar('acc_scale', set.accScale),
    scalar('mag_scale', set.magScale),
    vector('o', set.o),
    matrix('A', set.A),
    vector('q', set.q),
    vector('p', set.p),
    matrix('B', set.B),
    '',
    `#endif /* ${guard} */`,
    '',
  ].join('\n');
}

const literal = (value: number): string => `${decimal(value)}f`;
const braces = (values: readonly number[]): string => `{${values.map(literal).join(', ')}}`;
const scalar = (name: string, value: number): string =>
  `static const float lodebench_${name} = ${literal(value)};`;
const vector = (name: string, values: Vec3): string =>
  `static const float lodebench_${name}[3] = ${braces(values)};`;
const matrix = (name: string, m: Mat3): string =>
  `static const float lodebench_${name}[3][3] = {\n${[0, 3, 6]
    .map((at) => `  ${braces(m.slice(at, at + 3))},`)
    .join('\n')}\n};`;
