import type { CheckKind, CheckTerms, Landings } from '../../records/entries.ts';

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
  /** How near to its mark the instrument is held. */
  heldTo: string;
  /** Legs are sighted from both ends. */
  bothWays: boolean;
  /** The board's own range module measures the lengths. */
  ranged: boolean;
  /** Millimetres that the tape may be off in 10 m. */
  tapeTo: string;
  /** What a length is taped from. */
  from: string;
  /** Most that a range may be off. */
  limit: string;
  /** Distances of the nearer and the farther mark; a line for each roll of where the beam lands: right, up. */
  near: string;
  far: string;
  nearLanded: string;
  farLanded: string;
  readTo: string;
}

/** How many readings of each aim are worth while for a beginning, and how few or many may be. */
export const EACH: Readonly<Record<CheckKind, { usual: number; least: number; most: number }>> = {
  rolls: { usual: 2, least: 2, most: 10 },
  'fore and back': { usual: 4, least: 2, most: 20 },
  'known bearings': { usual: 4, least: 2, most: 20 },
  'battery swap': { usual: 2, least: 1, most: 10 },
  loop: { usual: 2, least: 1, most: 10 },
  range: { usual: 4, least: 2, most: 20 },
  beam: { usual: 2, least: 2, most: 10 },
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
  lengthsTo: check === 'range' ? '0.002' : '0.02',
  heldTo: '0.01',
  bothWays: true,
  ranged: false,
  tapeTo: '2',
  from: 'the back of the housing',
  limit: '0.01',
  near: '',
  far: '',
  nearLanded: '',
  farLanded: '',
  readTo: '1',
});

/** Something that a person tries a check with on a simulated board, whose hand finds made-up marks by itself. */
export const madeUpForm = (check: CheckKind): CheckForm => ({
  ...emptyForm(check),
  bearings: '12 spire\n131.5 mast\n255 summit',
  lengths: check === 'range' ? '2 5 9 14 20' : '12 9 15 8 11',
  near: '2',
  far: '10',
  nearLanded: '18 -26\n-25 -18\n-17 27\n26 17',
  farLanded: '31 -11\n-12 -31\n-31 12\n10 32',
});

/** The longest range that fits a reading on the wire, metres. */
const MOST_RANGE = 999;

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
        closes(lengths, problems);
        const { ranged, bothWays } = form;
        const lengthsTo = ranged
          ? 0
          : number(form.lengthsTo, 'What lengths are true to', 0, 10, ' m');
        const heldTo = number(form.heldTo, 'How near to its mark it is held', 0, 1, ' m');
        return {
          ...{ check, lengths, lengthsTo, each, heldTo },
          ...(!bothWays && { ways: 'fore' as const }),
          ...(ranged && { ranged }),
        };
      }
      case 'range': {
        const lengths = lengthsIn(form.lengths, problems);
        const lengthsTo = number(form.lengthsTo, 'What tape readings are true to', 0, 1, ' m');
        const tape = number(form.tapeTo, 'What the tape is true to', 0, 100, ' mm in 10 m');
        const limit = number(form.limit, 'What a range may be off by', 0.001, 10, ' m');
        const [least, most] = [Math.min(...lengths), Math.max(...lengths)];
        if (most > MOST_RANGE)
          problems.push(`${MOST_RANGE} m is the longest that a board can tell.`);
        if (most < 2 * least) {
          problems.push(
            'The longest must be twice the shortest at least, to tell scale from constant.',
          );
        }
        const from = nameIn(form.from) || 'the instrument';
        return { check, lengths, lengthsTo, tapeTo: 100 * tape, from, limit, each };
      }
      case 'beam': {
        const near = landingsIn(form.near, form.nearLanded, 'nearer', problems);
        const far = landingsIn(form.far, form.farLanded, 'farther', problems);
        if (far.distance < 2 * near.distance) {
          problems.push('The farther mark must be twice as far away as the nearer at least.');
        }
        const readTo = number(form.readTo, 'What landings are true to', 0, 100, ' mm');
        return { check, near, far, readTo, each };
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
  return whole as number[];
}

function closes(lengths: readonly number[], problems: string[]): void {
  const longest = lengths.reduce((a, b) => Math.max(a, b), 0);
  const sum = lengths.reduce((a, b) => a + b, 0);
  if (longest > sum - longest)
    problems.push('One leg is longer than all others together: no loop.');
}

/** A distance, and a line for each of the four rolls. */
function landingsIn(
  distanceText: string,
  text: string,
  which: string,
  problems: string[],
): Landings {
  const distance = numberIn(distanceText) ?? NaN;
  if (!(distance >= 0.5 && distance <= 1000)) {
    problems.push(`How far the ${which} mark is must be a number from 0.5 to 1000 m.`);
  }
  const landed = text
    .split('\n')
    .filter((line) => line.trim() !== '')
    .map((line) => {
      const [right = NaN, up = NaN, ...more] = line
        .trim()
        .split(/[\s;]+/)
        .map((each) => numberIn(each) ?? NaN);
      const isWhole = more.length === 0 && [right, up].every((each) => Math.abs(each) <= 10_000);
      return { right, up, isWhole };
    });
  if (landed.length !== 4 || !landed.every(({ isWhole }) => isWhole)) {
    problems.push(
      `At the ${which} mark four lines are wanted, one for each roll: millimetres to the right, then up.`,
    );
  }
  return { distance, landed: landed.map(({ right, up }) => ({ right, up })) };
}
