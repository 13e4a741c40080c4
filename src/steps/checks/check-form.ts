import type { CheckKind, CheckTerms } from '../../records/entries.ts';

/** What a person writes into the form of a check, as text, and what that means. */
export interface CheckForm {
  check: CheckKind;
  /** How many readings of each aim. */
  each: string;
  /** What four rolls are taken on. */
  mark: string;
  /** What is aimed at is as high as the instrument is held. */
  sameHeights: boolean;
  higherFore: string;
  higherBack: string;
  distance: string;
  north: 'magnetic' | 'true' | 'grid';
  declination: string;
  declinationError: string;
  convergence: string;
  /** A line each: a bearing, then a name. */
  bearings: string;
  trueTo: string;
  /** Lengths one after the other. */
  lengths: string;
  lengthsTo: string;
}

/** How many readings of each aim are worth while for a beginning, and how few or many may be. */
export const EACH: Readonly<Record<CheckKind, { usual: number; least: number; most: number }>> = {
  rolls: { usual: 2, least: 2, most: 10 },
  'fore and back': { usual: 4, least: 2, most: 20 },
  'known bearings': { usual: 4, least: 2, most: 20 },
  'battery swap': { usual: 2, least: 1, most: 10 },
  loop: { usual: 2, least: 1, most: 10 },
};

export const emptyForm = (check: CheckKind): CheckForm => ({
  check,
  each: String(EACH[check].usual),
  mark: 'the mark',
  sameHeights: true,
  higherFore: '0',
  higherBack: '0',
  distance: '',
  north: 'magnetic',
  declination: '',
  declinationError: '',
  convergence: '',
  bearings: '',
  trueTo: '0.1',
  lengths: '',
  lengthsTo: '0.02',
});

/** Something that a person tries a check with on a simulated board, whose hand finds made-up marks by itself. */
export const madeUpForm = (check: CheckKind): CheckForm => ({
  ...emptyForm(check),
  bearings: '12 spire\n131.5 mast\n255 summit',
  lengths: '12 9 15 8 11',
});

export type FormOutcome =
  | { ok: true; terms: CheckTerms }
  /** What is to be put right, a sentence each. */
  | { ok: false; problems: readonly string[] };

/** Reads a form. A decimal comma will do where a decimal point would. */
export function termsOf(form: CheckForm): FormOutcome {
  const problems: string[] = [];
  const number = (text: string, what: string, least: number, most: number, unit: string) => {
    const value = numberIn(text);
    if (value === undefined || value < least || value > most) {
      problems.push(`${what} must be a number from ${least} to ${most}${unit}.`);
    }
    return value ?? NaN;
  };
  const { check } = form;
  const { least, most } = EACH[check];
  const each = number(form.each, 'The number of readings of each aim', least, most, '');
  if (!Number.isInteger(each) && !Number.isNaN(each)) {
    problems.push('The number of readings must be a whole number.');
  }
  const terms = ((): CheckTerms => {
    switch (check) {
      case 'rolls':
        return { check, mark: nameIn(form.mark) || 'the mark', each };
      case 'battery swap':
        return { check, each };
      case 'fore and back': {
        if (form.sameHeights) return { check, each };
        const fore = number(form.higherFore, 'How much higher was aimed from A', -100, 100, ' m');
        const back = number(form.higherBack, 'How much higher was aimed from B', -100, 100, ' m');
        const distance = number(form.distance, 'The distance from A to B', 0.5, 10_000, ' m');
        return { check, each, heights: { fore, back, distance } };
      }
      case 'known bearings': {
        const { north } = form;
        const isMagnetic = north === 'magnetic';
        const degrees = (text: string, what: string) => number(text, what, -180, 180, '°');
        const declination = isMagnetic ? 0 : degrees(form.declination, 'Declination');
        const declinationError = isMagnetic
          ? 0
          : number(form.declinationError, 'The standard error of declination', 0, 45, '°');
        const convergence = north === 'grid' ? degrees(form.convergence, 'Convergence') : 0;
        const trueTo = number(form.trueTo, 'What bearings are true to', 0, 45, '°');
        const marks = marksIn(form.bearings, problems);
        return { check, north, declination, declinationError, convergence, trueTo, each, marks };
      }
      case 'loop': {
        const lengths = lengthsIn(form.lengths, problems);
        const lengthsTo = number(form.lengthsTo, 'What lengths are true to', 0, 10, ' m');
        return { check, lengths, lengthsTo, each };
      }
    }
  })();
  return problems.length === 0 ? { ok: true, terms } : { ok: false, problems };
}

/** A name as the logbook keeps it: whole characters, also where it is cut. */
const nameIn = (text: string): string => text.trim().slice(0, 200).toWellFormed();

function numberIn(text: string): number | undefined {
  const plain = text.trim().replace('−', '-').replace(',', '.');
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : undefined;
}

function marksIn(text: string, problems: string[]): { mark: string; bearing: number }[] {
  const lines = text.split('\n').filter((line) => line.trim() !== '');
  if (lines.length === 0) problems.push('At least one bearing is wanted.');
  if (lines.length > 50) problems.push('50 bearings are the most.');
  return lines.slice(0, 50).map((line, i) => {
    const [first = '', ...rest] = line.trim().split(/\s+/);
    const bearing = numberIn(first.replace('°', ''));
    if (bearing === undefined || bearing < 0 || bearing > 360) {
      problems.push(`Line ${i + 1}: a bearing from 0 to 360° must stand first.`);
    }
    return { mark: nameIn(rest.join(' ')) || `mark ${i + 1}`, bearing: bearing ?? NaN };
  });
}

function lengthsIn(text: string, problems: string[]): number[] {
  const lengths = text
    .split(/[\s;]+/)
    .filter((each) => each !== '')
    .map(numberIn);
  if (lengths.length < 3 || lengths.length > 50) problems.push('3 to 50 lengths are wanted.');
  const whole = lengths.filter((each) => each !== undefined && each > 0 && each <= 10_000);
  if (whole.length < lengths.length) {
    problems.push('Each length must be a number of metres above 0 and up to 10 000.');
  }
  const longest = whole.reduce((a, b) => Math.max(a!, b!), 0)!;
  const sum = whole.reduce((a, b) => a! + b!, 0)!;
  if (longest > sum - longest)
    problems.push('One leg is longer than all others together: no loop.');
  return whole as number[];
}
