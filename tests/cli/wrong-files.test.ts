import { readFileSync, writeFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { apply } from '../../src/cli/apply.ts';
import { linkTo } from '../../src/cli/board-link.ts';
import { fit } from '../../src/cli/fit.ts';
import { next } from '../../src/cli/next.ts';
import { seal, setIn } from '../../src/cli/seal.ts';
import { writeCoefficients } from '../../src/records/coefficients-file.ts';
import { writeSavedBoard } from '../../src/records/saved-board.ts';
import { ORDINARY_TOLERANCE } from '../../src/steps/tolerance.ts';
import { scratch } from './command.ts';

const path = scratch();
const file = (name: string, text: string): string => {
  writeFileSync(path(name), text);
  return path(name);
};

const ONES = [1, 0, 0, 0, 1, 0, 0, 0, 1] as const;
const readings = file('r.csv', 'id,ax,ay,az,mx,my,mz\n1,1,2,3,4,5,6\n');
const halfBad = file('half-bad.csv', 'id,ax,ay,az,mx,my,mz\n1,1,2,3,4,5,six\n');
const coefficients = file(
  'c.json',
  writeCoefficients({
    ...{ model: 'straight', accScale: 16384, magScale: 3400 },
    ...{ o: [0, 0, 0], A: ONES, p: [0, 0, 0], B: ONES, q: [0, 0, 0] },
  }),
);
const savedBoard = file(
  'board.json',
  writeSavedBoard({
    savedAt: '2031-01-01T00:00:00Z',
    identity: {
      ...{ serial: 'SIM-1', name: '', hardware: 'SIM', firmware: '1.0.0' },
      ...{ generation: 0, capabilities: [], accScale: 16384, magScale: 3400, chunk: 20 },
    } as unknown as Parameters<typeof writeSavedBoard>[0]['identity'],
    memory: { first: 0, last: 0, count: 0, room: 100, dropped: 0 },
    ...{ readings: [], unreadable: [] },
  }),
);
const out = path('out.json');

const fitOf = (input: string, against?: string) =>
  fit({
    ...{ readings: input, out, json: false, tolerance: ORDINARY_TOLERANCE },
    ...(against !== undefined && { against }),
  });

describe('a file in another’s place is called by its name', () => {
  test.each([
    ['coefficients to be fitted', () => fitOf(coefficients), /c\.json holds coefficients, and a file of readings/],
    ['coefficients to go on from', () => next({ readings: coefficients, wanted: 0.1, json: false }), /c\.json holds coefficients, and a file of readings/],
    ['a board to be fitted', () => fitOf(savedBoard), /board\.json holds what was on a board .+ a file of readings/],
    ['readings to compare with', () => fitOf(readings, halfBad), /half-bad\.csv holds readings, and a file of coefficients/],
    ['readings to apply', () => apply(readings, readings), /r\.csv holds readings, and a file of coefficients/],
    ['a board to apply', () => apply(savedBoard, readings), /board\.json holds what was on a board .+ a file of coefficients/],
    ['two files the wrong way round', () => apply(readings, coefficients), /wrong way round: .+c\.json holds the coefficients/],
    ['bad readings and coefficients the wrong way round', () => apply(halfBad, coefficients), /wrong way round/],
  ])('%s', (_, run, words) => {
    const { code, err = '', out: said } = run();
    expect({ code, said }).toEqual({ code: 1, said: undefined });
    expect(err).toMatch(words);
    expect(err).toMatch(/Nothing was changed\.\n$/);
  }); // prettier-ignore

  test.each([
    ['readings', halfBad],
    ['what was on a board', savedBoard],
  ])('and is not overwritten with coefficients: %s', (what, taken) => {
    const before = readFileSync(taken, 'utf8');
    const of = { readings, json: false, tolerance: ORDINARY_TOLERANCE };
    expect(fit({ ...of, out: taken })).toMatchObject({ code: 1 });
    expect(fit({ ...of, out: taken }).err).toContain(`holds ${what}, which would be lost`);
    expect(readFileSync(taken, 'utf8')).toBe(before);
  });

  test('a bad file of the right kind is still told by the place of its fault', () => {
    expect(fitOf(halfBad).err).toMatch(/half-bad\.csv: line 2, field mz/);
    expect(apply(file('x.json', '{"type":"recipe"}'), readings).err).toContain('x.json: type:');
  });

  test('readings to be sealed, and a board that was saved before it had coefficients', () => {
    expect(() => setIn(readings)).toThrow(/r\.csv holds readings, and a file of coefficients/);
    expect(() => setIn(savedBoard)).toThrow(/had no coefficients then.+Give the file that “fit”/);
  });
});

describe('what is no port', () => {
  test('is told where port and file are swapped', async () => {
    const { code, err } = await seal({ port: coefficients, coefficients: '/dev/ttyUSB0' });
    expect(code).toBe(1);
    expect(err).toMatch(/c\.json is a file, and stands where the port belongs/);
  });

  test.each([
    ['localhost:4189/1', 'ws://localhost:4189/1'],
    ['http://127.0.0.1:4180/2', 'ws://127.0.0.1:4180/2'],
  ])('is taken for half an address: %s', (typed, meant) => {
    expect(() => linkTo({ port: typed })).toThrow(`Was ${meant} meant?`);
  });

  test.each(['/dev/ttyUSB0', 'COM3', path('nowhere')])('does not catch a port: %s', (port) => {
    expect(linkTo({ port }).label).toContain(port);
  });
});
