import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { asStored, coefficientValues, type Coefficients } from '../../src/calib/model.ts';
import type { Vec3 } from '../../src/calib/reading.ts';
import { coefficientsHeader } from '../../src/records/coefficients-header.ts';
import { coefficientsMatrices } from '../../src/records/coefficients-matrices.ts';
import { writeCoefficients } from '../../src/records/coefficients-file.ts';
import { crcOf, decimal, plainText } from '../../src/records/coefficients-words.ts';
import { needDebian } from '../browser/debian.ts';
import { cli } from '../cli/command.ts';

/** Coefficients for foreign firmware: a C compiler and a program that knows nothing of ours make of them what we do. */

const SET: Coefficients = asStored({
  model: 'bowed',
  accScale: 16384,
  magScale: 3412.7,
  o: [0.0123, -0.0456, 0.00789],
  A: [0.0101, -1.0023, 0.0045, 0.9956, 0.0067, -0.0031, 0.0022, 0.0044, -1.0101],
  p: [0.21, -0.13, 0.05],
  B: [0.98, 0.013, -0.027, 0.008, -1.03, 0.011, 0.019, -0.006, 1.01],
  q: [0.0021, -0.0013, 1e-7],
});
const STRAIGHT: Coefficients = { ...SET, model: 'straight', q: [0, -0, 0] };

let folder: string;
beforeAll(() => {
  needDebian({ gcc: '/usr/bin/gcc', 'libc6-dev': '/usr/include/stdio.h' });
  folder = mkdtempSync(join(tmpdir(), 'lodebench-header-'));
}, 120_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** The program with a header compiled in, every warning an error. */
function compiled(header: string, real: 'float' | 'double', name: string): string {
  const path = join(folder, `${name}.h`);
  writeFileSync(path, header);
  const program = join(folder, `${name}-${real}`);
  const source = new URL('use-header.c', import.meta.url).pathname;
  const strict = ['-std=c99', '-pedantic', '-Wall', '-Wextra', '-Werror'];
  execFileSync('gcc', [...strict, `-DHEADER="${path}"`, `-DREAL=${real}`, source, '-o', program, '-lm']); // prettier-ignore
  return program;
}

/** Readings in all directions, away from the vertical sight. */
const COUNTS: readonly { acc: Vec3; mag: Vec3 }[] = Array.from({ length: 60 }, (_, i) => ({
  acc: [15000 * Math.sin(i * 2.1), 9000 * Math.cos(i * 1.3), 12000 * Math.sin(i * 0.7 + 1)],
  mag: [2500 * Math.cos(i * 1.7), 2600 * Math.sin(i * 0.9 + 2), 1500 * Math.cos(i * 0.4)],
}));

describe.each([
  ['bowed', SET],
  ['straight', STRAIGHT],
])('a C header of a %s set', (model, set) => {
  it('compiles without a warning, and holds the very bits of every number', () => {
    const program = compiled(coefficientsHeader(set, { board: 'WB 7' }), 'double', model);
    const lines = execFileSync(program, ['bits'], { encoding: 'utf8' }).trim().split('\n');
    const values = coefficientValues(set);
    const bits = [...new Uint32Array(Float32Array.from(values).buffer)];
    expect(lines.slice(0, values.length).map(Number)).toEqual(bits);
    const [crc, board] = lines.slice(values.length);
    expect(Number(crc)).toBe(Number.parseInt(crcOf(set), 16));
    expect(board).toBe('WB 7');
  });

  it.each([
    ['double', 1e-6], // of our own six decimals
    ['float', 0.01], // what two hosts in binary32 may differ by (SPEC.md, section 6.2)
  ] as const)(
    'gives in %s the angles that the command line gives, within %f degrees',
    async (real, within) => {
      const coefficients = join(folder, `${model}.json`);
      const readings = join(folder, 'readings.csv');
      const header = join(folder, `${model}-${real}-written.h`);
      writeFileSync(coefficients, writeCoefficients(set));
      const rows = COUNTS.map(({ acc, mag }, i) => [i, ...acc, ...mag].join());
      writeFileSync(readings, `id,ax,ay,az,mx,my,mz\n${rows.join('\n')}\n`);
      const written = await cli('header', coefficients, '--out', header);
      expect([written.code, written.err]).toEqual([0, '']);
      const applied = await cli('apply', coefficients, readings);
      const wanted = applied.out.trim().split('\n').slice(1);
      const program = compiled(readFileSync(header, 'utf8'), real, `${model}-cli`);
      const input = COUNTS.map(({ acc, mag }) => [...acc, ...mag].join(' ')).join('\n');
      const seen = execFileSync(program, { input, encoding: 'utf8' }).trim().split('\n');
      expect(seen).toHaveLength(COUNTS.length);
      const turn = (a: number, b: number) => Math.abs(((((a - b) % 360) + 540) % 360) - 180);
      seen.forEach((line, i) => {
        const [azimuth, inclination, roll, gravity, field] = line.split(' ').map(Number);
        const want = wanted[i]!.split(',').slice(1).map(Number);
        const level = Math.cos((want[1]! * Math.PI) / 180);
        expect(turn(azimuth!, want[0]!) * level).toBeLessThan(within);
        expect(Math.abs(inclination! - want[1]!)).toBeLessThan(within);
        expect(turn(roll!, want[2]!) * level).toBeLessThan(within);
        expect(Math.abs(gravity! - want[3]!)).toBeLessThan(1e-5);
        expect(Math.abs(field! - want[4]!)).toBeLessThan(1e-5);
      });
    },
    60_000,
  );
});

const HOSTILE = [
  '*/ int main(void){return 1;} /*',
  '"; system("x"); "',
  'back\\slash\\',
  'trigraph ??/',
  'line\nbreak\r\u2028',
  '%s%n \u0000 \u202E \uD800',
  '/* /* //',
  'Höhle 猫 🦇'.repeat(60),
];

it.each(HOSTILE)('compiles whatever the board is called, hostile name %#', (board) => {
  const program = compiled(coefficientsHeader(SET, { board, name: board }), 'double', 'hostile');
  const lines = execFileSync(program, ['bits'], { encoding: 'utf8' }).trimEnd().split('\n');
  expect(lines.at(-1)).toBe(plainText(board).trimEnd());
});

it('lets no name end a comment, a string or a line, in header and matrices', () => {
  const plainHeader = coefficientsHeader(SET, { board: 'x', name: 'x' });
  const lines = (text: string) => text.split('\n').length;
  const plainMatrices = coefficientsMatrices(SET, { board: 'x', name: 'x' });
  fc.assert(
    fc.property(fc.string({ unit: 'binary' }), fc.string({ unit: 'grapheme' }), (board, name) => {
      const header = coefficientsHeader(SET, { board, name });
      const matrices = coefficientsMatrices(SET, { board, name });
      expect(header).toMatch(/^[\n\x20-\x7e]*$/);
      expect(lines(header)).toBe(lines(plainHeader));
      expect(header.match(/\*\//g)).toHaveLength(2);
      expect(header.match(/"/g)).toHaveLength(2);
      expect(header).not.toMatch(/\\|\?\?/);
      expect(matrices).toMatch(/^[\n\x20-\x7e]*$/);
      expect(lines(matrices)).toBe(lines(plainMatrices));
    }),
  );
});

it('writes decimal numbers that give back just the same binary32, with no hexadecimal', () => {
  expect([1, -0, 0.1, 16384, 123456789, 1e-45, 3.4028235e38].map(decimal)).toEqual([
    ...['1.0', '-0.0', '0.100000001', '16384.0', '123456792.0', '1.40129846e-45'],
    '3.40282347e+38',
  ]);
  fc.assert(
    fc.property(fc.float({ noNaN: true, noDefaultInfinity: true }), (value) => {
      const text = decimal(value);
      expect(text).toMatch(/^-?\d+\.\d+(e[+-]\d+)?$/);
      expect(Math.fround(Number(text))).toBe(value);
    }),
  );
});

it('gives back from plain matrices every number, named and in rows', () => {
  const text = coefficientsMatrices(SET);
  const body = text.split('\n').filter((line) => line !== '' && !line.startsWith('#'));
  const names = body.filter((line) => /^[a-zA-Z_]+$/.test(line));
  expect(names).toEqual(['acc_scale', 'mag_scale', 'o', 'A', 'q', 'p', 'B']);
  const at = body.indexOf('A');
  const rows = body.slice(at + 1, at + 4).map((line) => line.trim().split(/ +/).map(Number));
  expect(rows.flat().map(Math.fround)).toEqual(SET.A);
});

it('never writes over a header that is there', async () => {
  const coefficients = join(folder, 'again.json');
  const out = join(folder, 'again.h');
  writeFileSync(coefficients, writeCoefficients(SET));
  writeFileSync(out, 'mine');
  const { code, err } = await cli('header', coefficients, '--out', out);
  expect([code, readFileSync(out, 'utf8')]).toEqual([1, 'mine']);
  expect(err).toContain('there is a file of that name');
  expect((await cli('header', coefficients)).code).toBe(2);
});
