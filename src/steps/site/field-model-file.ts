import { type FieldModel, YEARS_OF_A_MODEL } from './earth-field.ts';

/**
 * Coefficients of the earth's field from a file as NOAA/NCEI publishes them for the World Magnetic Model (WMM.COF;
 * "WMM coefficient file format for developers", ngdc.noaa.gov/geomag/WMM/wmmformat.shtml): a line with epoch, name and
 * date of release; for every degree n and order m a line with n, m, g, h in nT and their changes in nT a year; then lines
 * of nines.
 */

/** The most characters that such a file has: the World Magnetic Model has some 5000. */
const MOST = 100_000;
/** The highest degree that is taken. The World Magnetic Model goes to 12; maps of the crust go far higher. */
const MOST_DEGREE = 16;
/** What no coefficient comes near, nT: the largest, g 1 0, is about −29 400. */
const MOST_NT = 100_000;
/** nT a year: the largest of WMM2025 is some 35. */
const MOST_PER_YEAR = 1000;
/** What g 1 0 may be, nT: it was −33 000 around 1850 and shrinks by some 15 a year (from memory). */
const DIPOLE = [-35_000, -20_000] as const;

/** What is wrong with the file: where, and what to do. Nothing was changed. */
export interface FieldModelFault {
  ok: false;
  /** From 1; absent where it is the file as a whole. */
  line?: number;
  message: string;
}

const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/;
const WHOLE = /^\d{1,3}$/;

/** Reads such a file, trusting nothing. */
export function readFieldModel(text: string): { ok: true; model: FieldModel } | FieldModelFault {
  if (text.length > MOST) {
    return whole(`It has ${text.length} characters; a file of coefficients has some 5000.`);
  }
  const lines = text.replace(/^\uFEFF/, '').split(/\r\n|\n\r|\n|\r/);
  let header: { name: string; epoch: number } | undefined;
  /** Each term by its place, with the line it stands in. */
  const terms = new Map<number, { line: number; values: number[] }>();
  let degree = 0;
  for (const [i, content] of lines.entries()) {
    const line = i + 1;
    const fault = (message: string): FieldModelFault => ({
      ok: false,
      line,
      message: `Line ${line}: ${message} ${NOTHING_CHANGED}`,
    });
    const fields = content.trim().split(/\s+/);
    if (fields[0] === '') continue;
    if (/^9{6,}/.test(fields[0]!)) break;
    if (!header) {
      const read = headerOf(fields);
      if (typeof read === 'string') return fault(read);
      header = read;
      continue;
    }
    const term = termOf(fields);
    if (typeof term === 'string') return fault(term);
    const { n, m, values } = term;
    const before = terms.get(at(n, m));
    if (before) return fault(`n ${n}, m ${m} stands in line ${before.line} already.`);
    terms.set(at(n, m), { line, values });
    degree = Math.max(degree, n);
  }
  if (!header) return whole('It is empty.');
  if (degree === 0) return whole('It has a first line, and no coefficients below it.');
  for (let n = 1; n <= degree; n++) {
    for (let m = 0; m <= n; m++) {
      if (!terms.has(at(n, m))) return whole(`The line for n ${n}, m ${m} is missing.`);
    }
  }
  const column = (which: number) => [
    0,
    ...Array.from({ length: at(degree, degree) }, (_, i) => terms.get(i + 1)!.values[which]!),
  ];
  return {
    ok: true,
    model: {
      ...header,
      degree,
      g: column(0),
      h: column(1),
      gPerYear: column(2),
      hPerYear: column(3),
    },
  };
}

/** Where a term stands in the lists of a {@link FieldModel}. */
const at = (n: number, m: number): number => (n * (n + 1)) / 2 + m;

const NOTHING_CHANGED =
  'Nothing was changed. Take the file of coefficients (WMM.COF) from where the World Magnetic Model is published, as it is.';

const whole = (message: string): FieldModelFault => ({
  ok: false,
  message: `${message} ${NOTHING_CHANGED}`,
});

/** The first line; what is wrong with it where it is none. */
function headerOf(fields: readonly string[]): { name: string; epoch: number } | string {
  const [epoch, name] = fields;
  if (fields.length !== 3) {
    return `the first line must have three parts, the epoch, the name and the date of release, not ${fields.length}.`;
  }
  if (!NUMBER.test(epoch!) || Number(epoch) < 1900 || Number(epoch) > 2200) {
    return `“${shortened(epoch!)}” is no epoch; it must be a year from 1900 to 2200, such as 2030.0.`;
  }
  if (!/^[\w.+-]{1,32}$/.test(name!)) {
    return `“${shortened(name!)}” is no name of a model, such as WMM-2030.`;
  }
  return { name: name!, epoch: Number(epoch) };
}

/** A line of coefficients: g, h and their changes; what is wrong with it where it is none. */
function termOf(fields: readonly string[]): { n: number; m: number; values: number[] } | string {
  if (fields.length !== 6) {
    return `it must have six numbers (n, m, g, h and the changes of g and h in a year), not ${fields.length}.`;
  }
  const bad = fields.find((field) => !NUMBER.test(field));
  if (bad !== undefined) return `“${shortened(bad)}” is no number.`;
  const [n, m] = fields.slice(0, 2).map(Number) as [number, number];
  if (!WHOLE.test(fields[0]!) || n < 1)
    return `n is ${shortened(fields[0]!)}; it must be 1 at least.`;
  if (n > MOST_DEGREE) {
    return `n is ${n}; degrees up to ${MOST_DEGREE} are taken. The World Magnetic Model goes to 12; take that rather than one of high resolution.`;
  }
  if (!WHOLE.test(fields[1]!) || m > n) {
    return `m is ${shortened(fields[1]!)}; it must be from 0 to n, which is ${n}.`;
  }
  const values = fields.slice(2).map(Number);
  const [g, h, ...perYear] = values as [number, number, number, number];
  if (Math.abs(g) > MOST_NT || Math.abs(h) > MOST_NT) {
    return `no coefficient of the earth’s field is beyond ${MOST_NT} nT.`;
  }
  if (perYear.some((change) => Math.abs(change) > MOST_PER_YEAR)) {
    return `no coefficient of the earth’s field changes by more than ${MOST_PER_YEAR} nT in a year.`;
  }
  if (m === 0 && (h !== 0 || perYear[1] !== 0)) return 'h and its change must be 0 where m is 0.';
  if (n === 1 && m === 0 && (g < DIPOLE[0] || g > DIPOLE[1])) {
    return `g is ${g} nT where n is 1 and m is 0; that of the earth is between ${DIPOLE[0]} and ${DIPOLE[1]}.`;
  }
  return { n, m, values };
}

const shortened = (field: string): string => (field.length > 20 ? `${field.slice(0, 20)}…` : field);

/** What a model covers, in words. */
export const coversWords = ({ name, epoch }: Pick<FieldModel, 'name' | 'epoch'>): string =>
  `${name} covers ${yearWords(epoch)} to the end of ${yearWords(epoch + YEARS_OF_A_MODEL - 1)}`;

const yearWords = (year: number): string => String(Math.floor(year));
