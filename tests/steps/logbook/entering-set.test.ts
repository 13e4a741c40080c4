import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { asStored, coefficientValues, type Coefficients } from '../../../src/calib/model.ts';
import { writeCoefficients } from '../../../src/records/coefficients-file.ts';
import type { EntryOf } from '../../../src/records/entries.ts';
import {
  cellsFrom,
  enteredEntry,
  enteredWords,
  FORM,
  nameKept,
  physicalTerms,
  setFromFile,
  setFromForm,
  spreadNumbers,
  type FormCell,
  type FormTexts,
} from '../../../src/steps/logbook/entering-set.ts';
import { asChosen, setsOfBoard } from '../../../src/steps/logbook/sets-of-board.ts';
import { BenchInProcess } from '../bench-in-process.ts';

/** Coefficients made elsewhere are checked number by number, shown in physical terms, kept, and put on a board. */

const SET: Coefficients = asStored({
  model: 'straight',
  accScale: 16384,
  magScale: 3400,
  o: [0.01, -0.02, 0.005],
  A: [1.01, 0, 0, 0, -0.99, 0.01, 0, 0, -1],
  p: [0.2, -0.1, 0.05],
  B: [0, 1.02, 0, 0.98, 0, 0, 0, 0.01, 1],
  q: [0, 0, 0],
});

function texts(c: Coefficients): FormTexts {
  const all: readonly FormCell[] = [...FORM.scales, ...FORM.o, ...FORM.A, ...FORM.p, ...FORM.B, ...FORM.q]; // prettier-ignore
  return Object.fromEntries(coefficientValues(c).map((value, i) => [all[i]!, String(value)]));
}

const faultsOf = (given: FormTexts) => {
  const read = setFromForm(given, '');
  return read.ok ? [] : read.faults.map(({ at, message }) => `${at}: ${message}`);
};

describe('typed in', () => {
  it('gives the very numbers, straight where the curvature was left empty, and bowed where not', () => {
    const read = setFromForm(texts(SET), '  From\u202E the\nworkshop ');
    expect(read).toMatchObject({
      ok: true,
      entered: { coefficients: SET, name: 'From the workshop', by: 'hand' },
    });
    const bowed: Coefficients = asStored({ ...SET, model: 'bowed', q: [0.001, -0.002, 0] });
    expect(setFromForm(texts(bowed), '')).toMatchObject({
      ok: true,
      entered: { coefficients: bowed, name: 'Typed in' },
    });
  });

  it('names every cell that is wrong, and why', () => {
    const given = texts(SET);
    expect(
      faultsOf({ ...given, o1: '0,01', A12: '', p3: 'abc', B11: '1e99', magScale: '0', o2: 'NaN' }),
    ).toEqual([
      'o1: Write it with a decimal point.',
      'o2: This is no number.',
      'A12: A number is missing.',
      'p3: This is no number.',
      'B11: A board cannot hold so large a number (binary32).',
      'magScale: It must be above zero.',
    ]);
    expect(faultsOf({ ...given, q1: '0.1' })).toEqual([
      'q2: A number is missing.',
      'q3: A number is missing.',
    ]);
  });

  it('refuses a matrix that loses a direction, as far as binary32 can tell', () => {
    const flat = { A11: '1', A12: '2', A13: '3', A21: '2', A22: '4', A23: '6' };
    expect(faultsOf({ ...texts(SET), ...flat })).toEqual([
      expect.stringMatching(/^A: It has no inverse/),
    ]);
    const nearly = { ...flat, A23: '6.0000001' };
    expect(faultsOf({ ...texts(SET), ...nearly })).toHaveLength(1);
    const zero = Object.fromEntries(FORM.B.map((cell) => [cell, '0']));
    expect(faultsOf({ ...texts(SET), ...zero })).toEqual([expect.stringMatching(/^B: /)]);
  });

  it('takes whatever text is typed without a throw, and gives finite numbers or says what is wrong', () => {
    const cell = fc.oneof(fc.string(), fc.double().map(String), fc.constant('1'));
    fc.assert(
      fc.property(fc.array(cell, { minLength: 29, maxLength: 29 }), fc.string(), (all, name) => {
        const given = Object.fromEntries(
          Object.values(FORM)
            .flat()
            .map((at, i) => [at, all[i]!]),
        );
        const read = setFromForm(given, name);
        if (read.ok)
          expect(coefficientValues(read.entered.coefficients).every(Number.isFinite)).toBe(true);
        else expect(read.faults.length).toBeGreaterThan(0);
      }),
    );
  });
});

it('spreads a pasted row or matrix over the cells, out of C, JSON, or a sheet; a single number stays', () => {
  const nine = ['1.5', '-2', '3e-4', '4', '5', '6', '7', '8', '9.0'];
  const written = [
    '{{1.5f, -2, 3e-4}, {4, 5, 6}, {7, 8, 9.0f}}',
    '[[1.5, -2, 3e-4], [4, 5, 6], [7, 8, 9.0]]',
    '1.5\t-2\t3e-4\n4\t5\t6\r\n7\t8\t9.0',
    '1.5 -2 3e-4; 4 5 6; 7 8 9.0',
  ];
  for (const text of written) expect(spreadNumbers(text)).toEqual(nine);
  expect(spreadNumbers('1.5')).toEqual([]);
  expect(spreadNumbers('0,5 0,2')).toEqual(['0,5', '0,2']); // each is refused by name then
  expect(cellsFrom('A21')).toEqual(['A21', 'A22', 'A23', 'A31', 'A32', 'A33']);
});

it('names no set by anything but one line of printable text', () => {
  fc.assert(
    fc.property(fc.string({ unit: 'binary', maxLength: 200 }), (text) => {
      const name = nameKept(text);
      expect(name).not.toMatch(/[\p{C}\u2028\u2029]/u);
      expect(name.length).toBeLessThanOrEqual(80);
      expect(name.isWellFormed()).toBe(true);
    }),
  );
});

it('reads our own file, and says what is wrong with another', () => {
  const bytes = new TextEncoder().encode(writeCoefficients(SET));
  expect(setFromFile(bytes, 'mine.json')).toEqual({
    ok: true,
    entered: { coefficients: SET, name: 'mine.json', by: 'file' },
  });
  const broken = new TextEncoder().encode(
    writeCoefficients(SET).replace('"accScale": 16384', '"accScale": 0'),
  );
  expect(setFromFile(broken, 'x')).toMatchObject({
    ok: false,
    message: expect.stringContaining('accScale'),
  });
});

describe('in physical terms', () => {
  const figures = (c: Coefficients) =>
    physicalTerms(c).map(({ figure, standing }) => [figure, standing]);

  it('shows what the chips give for one and for nothing, and how they sit', () => {
    expect(figures(SET)).toEqual([
      ['16222, 16550, 16384', 'good'],
      ['164, -328, 82', 'good'],
      ['chip +x −y −z along the sight, right, down', 'good'],
      ['3469, 3333, 3400', 'good'],
      ['680, -340, 170', 'good'],
      ['chip +y +x +z along the sight, right, down', 'good'],
    ]);
    const [, , acc, , , mag] = physicalTerms(SET);
    expect([acc!.words, mag!.words]).toEqual([
      expect.stringContaining('turned'),
      expect.stringContaining('mirrored'),
    ]);
  });

  it('remarks where counts were not divided by the scale, or an offset is in counts', () => {
    const small = SET.A.map((value) => value / 16384) as unknown as Coefficients['A'];
    expect(physicalTerms({ ...SET, A: small })[0]!.standing).toBe('watch');
    expect(physicalTerms({ ...SET, p: [700, -300, 200] })[4]!.standing).toBe('watch');
  });
});

it('is held against the board’s readings and what it runs, kept, and put on the board from there', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write');
  const { serial } = on.state.history.identity!;
  const before = await on.logbook();
  const { sets } = setsOfBoard(before);
  const { values, model } = sets[0]!.set;
  const all: readonly FormCell[] = [...FORM.scales, ...FORM.o, ...FORM.A, ...FORM.p, ...FORM.B, ...FORM.q]; // prettier-ignore
  const same = Object.fromEntries(values.map((value, i) => [all[i]!, String(value)]));
  const read = setFromForm({ ...same, p1: String(values[14]! + 0.01) }, 'Winter');
  if (!read.ok) throw new Error('it was refused');
  expect(read.entered.coefficients.model).toBe(model);
  const { findings, against } = enteredWords(read.entered, setsOfBoard(before), before);
  expect(findings.find(({ name }) => name === 'Length of gravity')?.standing).toBe('good');
  expect(against!.lead).toMatch(/^Against generation 1, which the board runs/);

  const mirrored = {
    ...read.entered.coefficients,
    B: read.entered.coefficients.B.map((x) => -x) as never,
  };
  const odd = enteredWords(
    { ...read.entered, coefficients: mirrored },
    setsOfBoard(before),
    before,
  );
  expect(odd.findings.some(({ standing }) => standing === 'bad')).toBe(true);

  const entry = enteredEntry(read.entered, { board: serial, time: '2031-05-02T00:00:00.000Z' });
  await on.run(on.bench.record(serial, entry));
  const kept = (await on.logbook()).find((each) => each.kind === 'coefficients entered');
  expect(kept).toMatchObject(entry satisfies EntryOf<'coefficients entered'>);
  const entered = setsOfBoard(await on.logbook()).sets.find((each) => each.entered === 'Winter')!;
  expect(entered.generations).toEqual([]);
  expect(on.state.history.inForce!.generation).toBe(1); // nothing on the board has changed
  await on.run(on.place.putOn(asChosen(entered, 1.1), serial));
  expect(on.state.history.inForce).toMatchObject({ generation: 2, crc: entered.crc });
});
