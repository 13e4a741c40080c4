import { degrees, determinant, inverse, type Mat3 } from '../../calib/geometry.ts';
import { asStored, coefficientValues, type Coefficients } from '../../calib/model.ts';
import { setCrc } from '../../protocol/messages.ts';
import { readCoefficients } from '../../records/coefficients-file.ts';
import type { Entry, EntryOf } from '../../records/entries.ts';
import { compared, comparisonWords, type ComparisonWords } from '../comparison-words.ts';
import type { Finding } from '../finding.ts';
import { meanAndDeviation } from '../statistics.ts';
import { readingsByGeneration, readingsUnder, type StoredReading } from './readings-under.ts';
import { coefficientsOfSet, setName, type SetsOfBoard } from './sets-of-board.ts';

export { CONVENTION_LINES } from '../../records/coefficients-words.ts';

/** Coefficients of a calibration that was made elsewhere: read or typed, checked, and shown in physical terms. */

/** What is entered, before it is kept. */
export interface EnteredSet {
  coefficients: Coefficients;
  name: string;
  by: 'file' | 'hand';
  /** Of the field where they were made, radians, where the file says it. */
  dip?: number;
}

/** The cells of the form, by the names that the formulas give them: `A12` is the first row's second number. */
export const FORM = {
  scales: ['accScale', 'magScale'],
  o: ['o1', 'o2', 'o3'],
  A: ['A11', 'A12', 'A13', 'A21', 'A22', 'A23', 'A31', 'A32', 'A33'],
  q: ['q1', 'q2', 'q3'],
  p: ['p1', 'p2', 'p3'],
  B: ['B11', 'B12', 'B13', 'B21', 'B22', 'B23', 'B31', 'B32', 'B33'],
} as const;

export type FormPart = keyof typeof FORM;
export type FormCell = (typeof FORM)[FormPart][number];
export type FormTexts = Partial<Record<FormCell, string>>;

/** What is wrong with a cell, or with a part of the form as a whole. */
export interface FormFault {
  at: FormCell | FormPart;
  message: string;
}

/** Longest name that is kept. */
const NAME_LENGTH = 80;

/** A name as it is kept: on one line, without control characters, not too long. */
export const nameKept = (text: string): string =>
  text.replace(/[\p{C}\p{Z}]+/gu, ' ').trim().slice(0, NAME_LENGTH).toWellFormed().trim(); // prettier-ignore

/** Reads a coefficients file of ours. @param name of the file */
export function setFromFile(
  bytes: Uint8Array,
  name: string,
): { ok: true; entered: EnteredSet } | { ok: false; message: string } {
  const file = readCoefficients(bytes);
  if (!file.ok) return { ok: false, message: file.message };
  const { coefficients, basis } = file;
  const entered = { coefficients, name: nameKept(name) || 'coefficients', by: 'file' as const };
  return { ok: true, entered: { ...entered, ...(basis && { dip: basis.dip }) } };
}

/** Reads the form. Every fault is named, not just the first. The three cells of `q` may be left empty: a straight model. */
export function setFromForm(
  texts: FormTexts,
  name: string,
): { ok: true; entered: EnteredSet } | { ok: false; faults: readonly FormFault[] } {
  const faults: FormFault[] = [];
  const bowed = FORM.q.some((cell) => (texts[cell] ?? '').trim() !== '');
  const numbers = (part: FormPart): number[] =>
    FORM[part].map((cell) => {
      const value = numberIn(texts[cell] ?? '');
      if (typeof value === 'number') return value;
      faults.push({ at: cell, message: value.message });
      return NaN;
    });
  const [scales, o, A, p, B] = (['scales', 'o', 'A', 'p', 'B'] as const).map(numbers);
  const q = bowed ? numbers('q') : [0, 0, 0];
  scales!.forEach((value, i) => {
    if (value <= 0) faults.push({ at: FORM.scales[i]!, message: 'It must be above zero.' });
  });
  for (const [part, matrix] of [
    ['A', A],
    ['B', B],
  ] as const) {
    // prettier-ignore
    if (matrix!.every(Number.isFinite) && !isInvertible(matrix as never)) {
      const message = 'It has no inverse: its rows lie in one plane, so some directions would be lost.';
      faults.push({ at: part, message });
    }
  }
  if (faults.length > 0) return { ok: false, faults };
  const coefficients = asStored({
    model: bowed ? 'bowed' : 'straight',
    accScale: scales![0]!,
    magScale: scales![1]!,
    ...({ o, A, p, B, q } as unknown as Pick<Coefficients, 'o' | 'A' | 'p' | 'B' | 'q'>),
  });
  return { ok: true, entered: { coefficients, name: nameKept(name) || 'Typed in', by: 'hand' } };
}

/** A number as binary32 has it, or what is wrong. */
function numberIn(text: string): number | { message: string } {
  const trimmed = text.trim().replace(/^[−–]/, '-');
  if (trimmed === '') return { message: 'A number is missing.' };
  if (/^[+-]?\d*,\d+$/.test(trimmed)) return { message: 'Write it with a decimal point.' };
  if (!/^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(trimmed)) {
    return { message: 'This is no number.' };
  }
  const value = Math.fround(Number(trimmed));
  return Number.isFinite(value)
    ? value
    : { message: 'A board cannot hold so large a number (binary32).' };
}

/** Whether a matrix, as stored, still turns different vectors into different ones. */
function isInvertible(m: Mat3): boolean {
  const size = Math.max(...m.map(Math.abs));
  // relative to its size: binary32 leaves some 1e-7 of any number open
  return Math.abs(determinant(m)) > 1e-6 * size ** 3;
}

/** Numbers that were pasted into one cell as a whole row or matrix, with whatever stands between them; else nothing. */
export function spreadNumbers(text: string): string[] {
  const tokens = text
    .split(/[\s;[\]{}()]+|,(?=\s|$)|(?<=[\d.f]),(?=[-+\d.]*\.)/)
    .map((token) => token.replace(/,+$/, '').replace(/(?<=\d\.?)f$/i, ''))
    .filter((token) => token !== '');
  return tokens.length > 1 ? tokens : [];
}

/** The cells that follow one in its part, itself first: where pasted numbers go. */
export function cellsFrom(cell: FormCell): readonly FormCell[] {
  const part = Object.values(FORM).find((cells) => (cells as readonly FormCell[]).includes(cell))!;
  return part.slice((part as readonly FormCell[]).indexOf(cell));
}

/** What a set says of its chips, in physical terms, and whether that can be. */
export function physicalTerms(c: Coefficients): Finding[] {
  return [
    ...chipTerms('Accelerometer', '1 g', c.A, c.o, c.accScale),
    ...chipTerms('Magnetometer', 'the whole field', c.B, c.p, c.magScale),
    ...(c.model === 'bowed'
      ? [
          {
            name: 'Curvature of the accelerometer, chip x, y, z',
            figure: `${c.q.map((each, i) => `${(100 * each * countsOfOne(c.A)[i]! || 0).toFixed(2)} %`).join(', ')} at 1 g`,
            words: 'of an ordinary chip well under 1 %',
            standing: c.q.every((each, i) => Math.abs(each * countsOfOne(c.A)[i]!) < 0.05)
              ? 'good'
              : 'watch',
          } as const,
        ]
      : []),
  ];
}

/** What one unit along each chip axis at its most makes of u: the lengths of the rows of the inverse. */
function countsOfOne(m: Mat3): number[] {
  const back = inverse(m);
  return [0, 3, 6].map((at) => Math.hypot(...back.slice(at, at + 3)));
}

function chipTerms(chip: string, unit: string, m: Mat3, zero: readonly number[], scale: number) {
  const one = countsOfOne(m);
  const whole = (values: readonly number[]) => values.map((value) => String(Math.round(value) || 0)).join(', '); // prettier-ignore
  const isOne = one.every((value) => value > 0.2 && value < 5);
  const isEven = Math.max(...one) < 2 * Math.min(...one);
  const isNear = zero.every((value, i) => Math.abs(value) < 3 * one[i]!);
  const findings: Finding[] = [
    {
      name: `${chip}: counts that are ${unit}, chip x, y, z`,
      figure: whole(one.map((value) => value * scale)),
      words: !isOne
        ? 'far from the scale: were the counts divided by another one?'
        : isEven
          ? 'near the scale, as they should be'
          : 'of one ordinary chip they are about alike',
      standing: isOne && isEven ? 'good' : 'watch',
    },
    {
      name: `${chip}: counts at zero, chip x, y, z`,
      figure: whole(zero.map((value) => value * scale)),
      words: isNear
        ? 'what the chip gives for nothing'
        : `several times ${unit}: is the offset in the units of the formula, counts over scale?`,
      standing: isNear ? 'good' : 'watch',
    },
    {
      name: `${chip}: how it sits`,
      figure: `chip ${mountingOf(m)} along the sight, right, down`,
      words:
        determinant(m) > 0
          ? 'turned (its determinant is above zero)'
          : 'mirrored (its determinant is below zero), as chips are that report up for down',
      standing: 'good',
    },
  ];
  return findings;
}

/** The chip axis nearest to each body axis, such as `+x −y −z`. */
function mountingOf(m: Mat3): string {
  return [0, 3, 6]
    .map((at) => {
      const row = m.slice(at, at + 3);
      const i = row.reduce((best, value, k) => (Math.abs(value) > Math.abs(row[best]!) ? k : best), 0); // prettier-ignore
      return `${row[i]! < 0 ? '−' : '+'}${'xyz'[i]!}`;
    })
    .join(' ');
}

/**
 * What a set makes of readings that the board gave: lengths must come out at about one, and the dip the same throughout.
 *
 * @returns nothing where there are too few readings
 */
export function lengthFindings(
  coefficients: Coefficients,
  readings: readonly StoredReading[],
): Finding[] {
  if (readings.length < 4) return [];
  const seen = readingsUnder(readings, coefficients).map((each) => each.seen);
  const n = `over the ${readings.length} readings of this board in the logbook`;
  const length = (name: string, values: readonly number[]): Finding => {
    const { mean, sd } = meanAndDeviation(values);
    const isNear = Math.abs(mean - 1) < 0.1 && sd < 0.05;
    return {
      name: `Length of ${name}`,
      figure: `${mean.toFixed(3)} ± ${sd.toFixed(3)}`,
      words: isNear
        ? `about one, ${n}`
        : `it should be about one, ${n}: these are hardly of this board`,
      standing: isNear ? 'good' : 'watch',
    };
  };
  const dips = seen.flatMap(({ dip }) => (dip === undefined ? [] : [degrees(dip)]));
  const dip = meanAndDeviation(dips);
  return [
    length('gravity', seen.map(({ gravity }) => gravity)), // prettier-ignore
    length('the field', seen.map(({ field }) => field)), // prettier-ignore
    {
      name: 'Dip of the field',
      figure: `${dip.mean.toFixed(1)}° ± ${dip.sd.toFixed(1)}°`,
      words: dip.sd < 3 ? `alike ${n}` : `it should be alike ${n}`,
      standing: dip.sd < 3 ? 'good' : 'watch',
    },
  ];
}

/** Everything that is shown of what was entered before it is kept. */
export function enteredWords(
  { coefficients, dip }: EnteredSet,
  { sets, dip: dipHere }: SetsOfBoard,
  entries: readonly Entry[],
): { findings: readonly Finding[]; against?: ComparisonWords } {
  const inForce = sets.find(({ onBoard }) => onBoard === 'in force');
  const readings = readingsByGeneration(entries, []).flatMap((group) => group.readings);
  const mirrored = inForce && isMirrored(coefficients, coefficientsOfSet(inForce));
  const fieldDip = dipHere ?? dip;
  return {
    findings: [
      ...physicalTerms(coefficients),
      ...(mirrored ? [MIRRORED] : []),
      ...lengthFindings(coefficients, readings),
    ],
    ...(inForce &&
      !mirrored &&
      fieldDip !== undefined && {
        against: comparisonWords(
          compared(coefficientsOfSet(inForce), coefficients, fieldDip),
          `${lowerFirst(setName(inForce))}, which the board runs`,
        ),
      }),
  };
}

const MIRRORED: Finding = {
  name: 'Against what the board runs',
  figure: 'mirrored',
  words:
    'a chip is the mirror image of what it is there: these are not of this board, or a sign is wrong',
  standing: 'bad',
};

const lowerFirst = (words: string) => words[0]!.toLowerCase() + words.slice(1);

/** Whether a chip is the mirror image in one set of what it is in the other: they are not of one board then. */
export const isMirrored = (a: Coefficients, b: Coefficients): boolean =>
  determinant(a.A) * determinant(b.A) < 0 || determinant(a.B) * determinant(b.B) < 0;

/** The entry that keeps it. */
export function enteredEntry(
  { coefficients, name, by, dip }: EnteredSet,
  stamp: { board: string; time: string },
): EntryOf<'coefficients entered'> {
  const set = { model: coefficients.model, values: coefficientValues(coefficients) };
  return {
    ...stamp,
    kind: 'coefficients entered',
    ...{ set, crc: setCrc(set), name, by },
    ...(dip !== undefined && { dip }),
  };
}
