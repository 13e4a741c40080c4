import { readFileSync } from 'node:fs';
import { Ajv } from 'ajv';
import fc from 'fast-check';
import { expect, it } from 'vitest';
import { determinant } from '../../src/calib/geometry.ts';
import type { Coefficients, Mat3 } from '../../src/calib/model.ts';
import {
  readCoefficients,
  writeCoefficients,
  type CoefficientsFault,
} from '../../src/records/coefficients-file.ts';

const utf8 = (text: string) => new TextEncoder().encode(text);
const schema = JSON.parse(
  readFileSync(new URL('../../docs/schemas/coefficients-1.schema.json', import.meta.url), 'utf8'),
);
const valid = new Ajv({ allErrors: true, strict: false }).compile(schema);

const number = fc.float({ min: -1e6, max: 1e6, noNaN: true, noDefaultInfinity: true });
const scale = fc.float({ min: Math.fround(1e-6), max: 1e6, noNaN: true });
const vector = fc.tuple(number, number, number);
const matrix = fc
  .tuple(number, number, number, number, number, number, number, number, number)
  .filter((m) => determinant(m) !== 0);
const coefficients: fc.Arbitrary<Coefficients> = fc
  .record({
    model: fc.constantFrom('straight' as const, 'bowed' as const),
    accScale: scale,
    magScale: scale,
    o: vector,
    A: matrix,
    p: vector,
    B: matrix,
    q: vector,
  })
  .map((c) => (c.model === 'straight' ? { ...c, q: [0, 0, 0] as const } : c));

/** JSON knows no minus zero; nothing else changes. */
const plusZero = (c: Coefficients): unknown =>
  JSON.parse(JSON.stringify(c, (_, value) => (value === 0 ? 0 : value)));

it('gives back every coefficient it wrote, bit for bit', () => {
  fc.assert(
    fc.property(coefficients, (written) => {
      expect(readCoefficients(utf8(writeCoefficients(written)))).toEqual({
        ok: true,
        coefficients: plusZero(written),
      });
    }),
  );
});

it('writes what the published schema allows', () => {
  fc.assert(
    fc.property(coefficients, (written) => {
      valid(JSON.parse(writeCoefficients(written)));
      expect(valid.errors).toBeNull();
    }),
  );
});

const good: Coefficients = {
  model: 'straight',
  accScale: 16384,
  magScale: 1100,
  o: [0.25, -0.5, 0],
  A: [1, 0, 0, 0, 1, 0.125, 0, 0, -1],
  p: [0, 0.5, 0],
  B: [0, 1, 0, -1, 0, 0, 0, 0, 1],
  q: [0, 0, 0],
};

it('writes frames and formula into the file as text, and a matrix a person can read', () => {
  const text = writeCoefficients(good);
  const { conventions } = JSON.parse(text);
  expect(conventions.formula).toContain('A (s + q*s*s)');
  expect(conventions.body).toContain('x along the sight');
  expect(text).toContain('[0, 1, 0.125]');
});

it('rounds to binary32 what was not, as a board would', () => {
  const read = readCoefficients(utf8(writeCoefficients({ ...good, p: [0.1, 0, 0] })));
  expect(read.ok && read.coefficients.p[0]).toBe(Math.fround(0.1));
});

/** The good file with one thing changed. */
function changed(change: (file: Record<string, unknown>) => void): Uint8Array {
  const file = JSON.parse(writeCoefficients(good));
  change(file);
  return utf8(JSON.stringify(file));
}

const bad: [string, Uint8Array, CoefficientsFault['cause'], string | undefined, boolean][] = [
  ['nothing', new Uint8Array(), 'not_json', undefined, false],
  ['half a file', utf8(writeCoefficients(good).slice(0, 200)), 'not_json', undefined, false],
  ['bytes that are no text', new Uint8Array([0x7b, 0xff, 0x7d]), 'not_json', undefined, false],
  ['something huge', utf8(' '.repeat(200_000)), 'not_json', undefined, false],
  ['deep nesting', utf8('['.repeat(90_000)), 'not_json', undefined, false],
  ['null', utf8('null'), 'wrong_type', undefined, true],
  ['a list', utf8('[]'), 'wrong_type', 'type', true],
  ['another type', changed((f) => (f.type = 'recipe')), 'wrong_type', 'type', true],
  ['a newer version', changed((f) => (f.version = 2)), 'newer_version', 'version', true],
  ['a version that never was', changed((f) => (f.version = 0)), 'bad_value', 'version', true],
  ['another model', changed((f) => (f.model = 'round')), 'bad_value', 'model', true],
  ['a scale missing', changed((f) => delete f.accScale), 'bad_value', 'accScale', true],
  ['a scale of zero', changed((f) => (f.magScale = 0)), 'bad_value', 'magScale', true],
  ['a text for a number', changed((f) => (f.o = [0, '1', 0])), 'bad_value', 'o[1]', true],
  ['null for a number', changed((f) => (f.p = [0, 1, null])), 'bad_value', 'p[2]', true],
  ['four in a vector', changed((f) => (f.p = [0, 1, 2, 3])), 'bad_value', 'p[3]', true],
  ['two in a vector', changed((f) => (f.p = [0, 1])), 'bad_value', 'p[2]', true],
  ['beyond binary32', changed((f) => ((f.A as number[][])[1][2] = 1e39)), 'bad_value', 'A[1][2]', true], // prettier-ignore
  ['a flat matrix', changed((f) => (f.B = [1, 0, 0, 0, 1, 0, 0, 0, 1])), 'bad_value', 'B[0]', true],
  ['curvature in a straight model', changed((f) => (f.q = [0, 0, 1])), 'bad_value', 'q', true],
];
for (const [name, bytes, cause, path, json] of bad) {
  it(`refuses ${name}, and says where`, () => {
    const refused = readCoefficients(bytes);
    if (refused.ok) throw new Error('it was taken');
    expect(refused).toMatchObject({ cause, ...(path !== undefined && { path }) });
    expect(refused.message).toMatch(/Nothing was changed\.$/);
    if (path !== undefined) expect(refused.message).toContain(path);
    // the published schema refuses the same
    if (json) expect(valid(JSON.parse(new TextDecoder().decode(bytes)))).toBe(false);
  });
}

it('refuses a matrix without inverse, which a schema cannot express', () => {
  const singular: Mat3 = [1, 0, 0, 1, 0, 0, 0, 0, 1];
  expect(readCoefficients(utf8(writeCoefficients({ ...good, A: singular })))).toMatchObject({
    ok: false,
    cause: 'bad_value',
    path: 'A',
  });
});

it('never throws, whatever JSON it is given', () => {
  fc.assert(
    fc.property(fc.json(), fc.object(), (text, extra) => {
      readCoefficients(utf8(text));
      readCoefficients(changed((file) => Object.assign(file, extra)));
    }),
  );
});
