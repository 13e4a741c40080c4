import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  problemWords,
  proposed,
  readingsFrom,
  type ReadSheet,
  type SheetChoices,
} from '../../../src/steps/logbook/readings-from-sheet.ts';
import {
  MOST_CHARACTERS,
  SEPARATORS,
  splitSheet,
  type DecimalSign,
  type Separator,
  type SheetTable,
} from '../../../src/steps/logbook/sheet-table.ts';
import {
  accCounts,
  inCelsius,
  inDegrees,
  magCounts,
  UNITS,
  unitNamed,
} from '../../../src/steps/logbook/sheet-units.ts';
import { printed } from './printed-sheet.ts';

type Vec3 = readonly [number, number, number];
type Row = { acc: Vec3; mag: Vec3 };

const NAMES = ['ax', 'ay', 'az', 'mx', 'my', 'mz'];

function tableOf(
  text: string,
  chosen: { separator?: Separator; decimal?: DecimalSign } = {},
): SheetTable {
  const table = splitSheet(text, chosen);
  if ('message' in table) throw new Error(table.message);
  return table;
}

/** What a sheet gives when a person says of it just this beside what is proposed. */
function read(text: string, said: Partial<SheetChoices> = {}, fromFile = false) {
  const table = tableOf(text);
  return readingsFrom(table, { ...proposed(table, fromFile), ...said });
}

function taken(text: string, said: Partial<SheetChoices> = {}): ReadSheet {
  const outcome = read(text, said);
  if (!outcome.ok) throw new Error(JSON.stringify(outcome));
  return outcome.read;
}

const problemsOf = (text: string, said: Partial<SheetChoices> = {}): string[] => {
  const outcome = read(text, said);
  if (outcome.ok) throw new Error('it was taken');
  return outcome.problems.map(problemWords);
};

const doubtsOf = (text: string, said: Partial<SheetChoices> = {}): string[] => {
  const outcome = read(text, said);
  return outcome.ok ? [] : outcome.doubts.map(({ about }) => about);
};

const PHYSICAL = { units: { acc: 'g', mag: 'µT' } } as const;
/** Three readings in g and µT. */
const ROWS: readonly (readonly number[])[] = [
  [0.012, -0.034, 0.981, 18.25, -2.5, 43.75],
  [0.985, 0.021, -0.043, -41.5, 20.25, 3.125],
  [-0.034, 0.991, 0.017, 2.75, 46.5, -17.125],
];

describe('units', () => {
  it('are what their definitions say', () => {
    // Standard gravity: 9.806 65 m/s² (3rd CGPM, 1901; NIST SP 811, 2008, appendix B.8).
    expect(accCounts(9.80665, 'm/s²')).toBeCloseTo(accCounts(1, 'g'), 12);
    expect(accCounts(1000, 'mg')).toBe(accCounts(1, 'g'));
    // 1 gauss = 10⁻⁴ T (NIST SP 811, 2008, appendix B.8); prefixes: SI Brochure, 9th edition, table 7.
    expect(magCounts(1, 'gauss')).toBe(magCounts(100, 'µT'));
    expect(magCounts(1000, 'mG')).toBe(magCounts(1, 'gauss'));
    expect(magCounts(1000, 'nT')).toBe(magCounts(1, 'µT'));
    // 1 gon = 0.9°, 1 mil = 0.056 25° (NIST SP 811, 2008, appendix B.8).
    expect(inDegrees(1, 'gon')).toBe(0.9);
    expect(inDegrees(1, 'mil')).toBe(0.05625);
    expect(inDegrees(400, 'gon')).toBe(360);
    expect(inDegrees(6400, 'mil')).toBe(360);
    // t/°C = (t/°F − 32)/1.8 (NIST SP 811, 2008, appendix B.8): water freezes at 32 °F and boils at 212 °F.
    expect(inCelsius(32, '°F')).toBe(0);
    expect(inCelsius(212, '°F')).toBe(100);
    expect(inCelsius(21.5, '°C')).toBe(21.5);
  });

  it('are known by the ways in which people write them, and a lone G is gauss', () => {
    expect(unitNamed('uT', 'mag')).toBe('µT');
    expect(unitNamed('G', 'mag')).toBe('gauss');
    expect(unitNamed('g', 'acc')).toBe('g');
    expect(unitNamed('m/s2', 'acc')).toBe('m/s²');
    expect(unitNamed('constructor', 'acc')).toBeUndefined();
  });
});

describe('a sheet that was printed', () => {
  const vector = (most: number) =>
    fc
      .tuple(...([0, 1, 2] as const).map(() => fc.double({ min: -1, max: 1, noNaN: true })))
      .map((parts) => {
        const length = Math.hypot(...parts) || 1;
        return parts.map((part) => ((part || 0) * most) / length) as unknown as Vec3;
      });
  const rows = fc.array(fc.record({ acc: vector(1000), mag: vector(48_000) }), {
    minLength: 2,
    maxLength: 12,
  });
  const units = fc.record({
    acc: fc.constantFrom(...UNITS.acc.filter((unit) => unit !== 'counts')),
    mag: fc.constantFrom(...UNITS.mag.filter((unit) => unit !== 'counts')),
  });
  const ways = fc
    .record({
      separator: fc.constantFrom(...SEPARATORS),
      decimal: fc.constantFrom<DecimalSign>('point', 'comma'),
      header: fc.boolean(),
    })
    .filter(({ separator, decimal }) => separator !== 'comma' || decimal === 'point');

  it('parses back to the same counts within its last digit, in every unit, separator and decimal sign', () => {
    fc.assert(
      fc.property(rows, units, ways, (given, { acc, mag }, { separator, decimal, header }) => {
        // what one of the unit is in what is kept
        const [perAcc, perMag] = [accCounts(1, acc), magCounts(1, mag)];
        const digits = 7;
        const body = given.map((row: Row) => [
          ...row.acc.map((value) => value / perAcc),
          ...row.mag.map((value) => value / perMag),
        ]);
        const text = printed(header ? [NAMES, ...body] : body, { separator, decimal, digits });
        const table = tableOf(text);
        expect(table.separator).toBe(separator);
        expect(table.decimal).toBe(decimal);
        const outcome = readingsFrom(table, {
          ...proposed(table),
          units: { acc, mag },
          confirmed: ['acc_length', 'acc_varies', 'mag_length'],
        });
        if (!outcome.ok) throw new Error(JSON.stringify(outcome));
        const { readings } = outcome.read;
        expect(readings).toHaveLength(given.length);
        const last = 0.5 * 10 ** -digits;
        readings.forEach((reading, i) => {
          for (const axis of [0, 1, 2] as const) {
            // half of the last digit printed, and what binary fractions add
            const within = (per: number, value: number) =>
              last * per + 1e-12 * Math.abs(value) + 1e-9;
            const [a, m] = [given[i]!.acc[axis], given[i]!.mag[axis]];
            expect(Math.abs(reading.acc[axis] - a)).toBeLessThanOrEqual(within(perAcc, a));
            expect(Math.abs(reading.mag[axis] - m)).toBeLessThanOrEqual(within(perMag, m));
          }
        });
      }),
      { numRuns: 200 },
    );
  });

  it('never throws, whatever the text is', () => {
    const text = fc.oneof(
      fc.string({ maxLength: 200 }),
      fc
        .array(
          fc.constantFrom('1', '-2,5', '3.5', ';', '\t', ',', ' ', '\n', '"', '#', 'ax', '1.234'),
          {
            maxLength: 80,
          },
        )
        .map((parts) => parts.join('')),
    );
    fc.assert(
      fc.property(text, (given) => {
        const table = splitSheet(given);
        if ('message' in table) return;
        const units = { acc: 'g', mag: 'µT', angle: 'degrees', temperature: '°C' } as const;
        const outcome = readingsFrom(table, { ...proposed(table), units });
        if (outcome.ok) {
          const numbers = outcome.read.readings.flatMap(({ acc, mag }) => [...acc, ...mag]);
          expect(numbers.every(Number.isFinite)).toBe(true);
        } else expect(outcome.problems.length + outcome.doubts.length).toBeGreaterThan(0);
      }),
      { numRuns: 300 },
    );
  });

  it('keeps angles, temperatures and sightings, converted, and the plan that follows from them', () => {
    const text = printed(
      [
        [
          'no',
          'line',
          'ax [g]',
          'ay [g]',
          'az [g]',
          'mx [µT]',
          'my [µT]',
          'mz [µT]',
          'temp [°F]',
          'azimuth [gon]',
          'inclination [gon]',
          'roll [gon]',
        ],
        ['1', 'A', ...ROWS[0]!, 68, 100, -50, 0],
        ['2', 'A', ...ROWS[1]!, 68, 100, -50, 200],
        ['3', '', ...ROWS[2]!, 68, 0, 0, 0],
      ],
      { separator: 'tab', decimal: 'comma', digits: 3 },
    );
    const { readings, plan, sheet } = taken(text, { azimuths: 'absolute' });
    expect(readings[0]).toMatchObject({
      id: '1',
      sighting: 'A',
      temperature: expect.closeTo(20, 10) as number,
      aim: { azimuth: 90, inclination: -45, roll: 0 },
    });
    expect(readings[2]).not.toHaveProperty('sighting');
    expect(plan).toEqual({
      name: 'sheet',
      azimuths: 'absolute',
      sightings: [{ sighting: 'A', azimuth: 90, inclination: -45, rolls: [0, 180] }],
    });
    expect(sheet.units).toEqual({ acc: 'g', mag: 'µT', angle: 'gon', temperature: '°F' });
    expect(sheet.scales).toEqual({ acc: 1000, mag: 50_000 });
  });

  it('may have a line of units beneath its names, quotes, blanks and a typographic minus', () => {
    const text =
      '"ax";ay;az;mx;my;mz\ng;g;g;uT;uT;uT\n"0,0";\u22120,6; 0,8;20,5;\u22121,5;"43,0"\n';
    const { readings } = taken(text);
    expect(readings).toHaveLength(1);
    expect(readings[0]!.acc).toEqual([0, -600, 800]);
    expect(readings[0]!.mag).toEqual([20_500, -1500, 43_000]);
  });
});

describe('columns', () => {
  const roles = (rows: readonly (readonly (string | number)[])[]) =>
    proposed(tableOf(printed(rows, { separator: 'tab', decimal: 'point', digits: 2 }))).roles;
  const six = ROWS[0]!;

  it('are proposed by their names, by the order of those without one, and left out where nothing says what they are', () => {
    expect(
      roles([
        ['Mag X', 'Mag Y', 'Mag Z', 'Acc X', 'Acc Y', 'Acc Z', 'volt'],
        [...six, 3.7],
      ]),
    ).toEqual(
      ['mx', 'my', 'mz', 'ax', 'ay', 'az', 'ignored'], // prettier-ignore
    );
    const sensors = ['ax', 'ay', 'az', 'mx', 'my', 'mz'];
    expect(roles([six, six])).toEqual(sensors);
    expect(roles([['1', ...six], ['2', ...six]])).toEqual(['id', ...sensors]); // prettier-ignore
    expect(roles([['A', ...six], ['A', ...six]])).toEqual(['sighting', ...sensors]); // prettier-ignore
    expect(roles([['a1', 'A', ...six], ['a2', 'A', ...six]])).toEqual(['id', 'sighting', ...sensors]); // prettier-ignore
    expect(roles([['line', 'p', 'q', 'r', 's', 'u', 'v'], ['A', ...six]])).toEqual(['sighting', ...sensors]); // prettier-ignore
    expect(roles([[...six, 20.5], [...six, 20.7]])).toEqual([...sensors, 'ignored']); // prettier-ignore
  });
});

describe('accidents', () => {
  const sheet = (decimal: DecimalSign, separator: Separator, rows = ROWS, names = true) =>
    printed(names ? [NAMES, ...rows] : rows, { separator, decimal, digits: 3 });

  it('asks for units that were forgotten, one by one, and takes nothing until they are said', () => {
    expect(problemsOf(sheet('comma', 'semicolon'))).toEqual([
      'Say in which unit the accelerometer’s numbers are.',
      'Say in which unit the magnetometer’s numbers are.',
    ]);
  });

  it('names decimal commas between commas, with and without names', () => {
    const [said] = problemsOf(sheet('comma', 'comma'), PHYSICAL);
    expect(said).toMatch(
      /^Line 2: The line has 12 cells where 6 columns are named\. .*decimal commas/,
    );
    const unnamed = sheet('comma', 'comma', ROWS, false);
    expect(doubtsOf(unnamed, { units: { acc: 'counts', mag: 'counts' } })).toContain(
      'decimal_commas',
    );
  });

  it('asks about columns that are swapped, since their lengths cannot be, and takes them only once that is confirmed', () => {
    const text = sheet('point', 'comma');
    const roles = ['mx', 'my', 'mz', 'ax', 'ay', 'az'] as const;
    expect(doubtsOf(text, { ...PHYSICAL, roles })).toEqual(['acc_length', 'mag_length']);
    expect(doubtsOf(text, { ...PHYSICAL, roles: ['ax', 'ay', 'mz', 'mx', 'my', 'az'] })).toContain(
      'acc_length',
    );
    const confirmed = ['acc_length', 'mag_length', 'acc_varies'] as const;
    expect(taken(text, { ...PHYSICAL, roles, confirmed }).readings).toHaveLength(3);
    expect(doubtsOf(text, PHYSICAL)).toEqual([]);
  });

  it('asks whether numbers about one are counts at all', () => {
    expect(doubtsOf(sheet('point', 'tab'), { units: { acc: 'counts', mag: 'counts' } })).toContain(
      'acc_length',
    );
  });

  it('names the line where the names stand again', () => {
    const text = sheet('point', 'tab') + sheet('point', 'tab');
    expect(problemsOf(text, PHYSICAL)).toEqual([
      'Line 5: The names of the columns stand here again. Take the line out.',
    ]);
  });

  it('names line and column of all that is no number, at once', () => {
    const text = 'ax;ay;az;mx;my;mz\n0,1;;0,9;20;1;40\n0,1;0,2;x9;20;1;40\n0.5;0,2;0,9;20;1;40\n';
    const table = tableOf(text, { decimal: 'comma' });
    const outcome = readingsFrom(table, { ...proposed(table), ...PHYSICAL });
    expect(outcome).toMatchObject({ ok: false });
    expect(!outcome.ok && outcome.problems.map(problemWords)).toEqual([
      'Line 2, column 2 (ay): Nothing stands here. Fill it in, or take the line out.',
      'Line 3, column 3 (az): “x9” is no number. Correct it, or take the line out.',
      'Line 4, column 1 (ax): “0.5” is no number where a comma marks the decimals. Correct it, take out what stands between thousands, or say that a point marks them.',
    ]);
  });

  it('asks what marks the decimals where 1.234 may be a thousand or about one', () => {
    const text = 'ax;ay;az;mx;my;mz\n1.234;15.678;2.001;300;12.345;1.999\n';
    expect(tableOf(text).decimal).toBeUndefined();
    expect(problemsOf(text, { units: { acc: 'counts', mag: 'counts' } })[0]).toMatch(
      /^Say whether a point or a comma/,
    );
    expect(tableOf('ax;ay\n0.5;1.234\n').decimal).toBe('point');
    expect(tableOf('ax;ay\n0,5;1.234\n').decimal).toBeUndefined();
  });

  it('does not take a reading that was pasted twice for two', () => {
    const text = `id\t${NAMES.join('\t')}\n7\t0\t0\t1\t20\t0\t40\n7\t0\t0\t1\t20\t0\t40\n`;
    expect(problemsOf(text, PHYSICAL)[0]).toMatch(
      /^Line 3, column 1 \(id\): “7” stands on line 2 too/,
    );
  });

  it('names a range that an angle or a temperature cannot be in, by the unit that was said', () => {
    const text = `${NAMES.join('\t')}\tinclination\ttemp\n0\t0\t1\t20\t0\t40\t95\t-300\n`;
    const units = { ...PHYSICAL.units, angle: 'degrees', temperature: '°C' } as const;
    expect(problemsOf(text, { units })).toEqual([
      expect.stringContaining('column 7 (inclination)'),
      expect.stringContaining('column 8 (temperature)'),
    ]);
    // 95 gon is 85.5°, and −300 °F is −184 °C
    expect(
      taken(text, { units: { ...units, angle: 'gon', temperature: '°F' } }).readings,
    ).toHaveLength(1);
  });

  it('does not take two columns for one, nor one chip’s scale without the other’s', () => {
    const text = sheet('point', 'tab');
    const roles = ['ax', 'ax', 'az', 'mx', 'my', 'mz'] as const;
    expect(problemsOf(text, { ...PHYSICAL, roles })).toContain(
      'Columns 1 and 2 are both said to be ax. Only one of them can be.',
    );
    expect(problemsOf(text, { units: { acc: 'counts', mag: 'µT' } })).toEqual([
      'Give the scale of the accelerometer too: how many counts are about 1 g.',
    ]);
  });

  it('takes no more than it can hold', () => {
    expect(splitSheet('1'.repeat(MOST_CHARACTERS + 1))).toHaveProperty('message');
    expect(splitSheet('1\n'.repeat(6000))).toHaveProperty('message');
    expect(splitSheet('   \n')).toHaveProperty('message');
    expect(splitSheet('a\u0000b')).toMatchObject({ line: 1 });
    expect(splitSheet('"1\t2\t3')).toMatchObject({ line: 1 });
  });
});

describe('a readings file of ours', () => {
  const text =
    '# scale_acc=16384\n# scale_mag=3400\nid,sighting,ax,ay,az,mx,my,mz,temp_c,plan_azimuth,plan_inclination,plan_roll\n' +
    '1,A,120,-340,16300,1200,-200,3100,20.5,0,0,0\n2,A,110,-16350,20,1190,3110,190,20.5,0,0,90\n';

  it('says itself that it is in counts and degrees, and with which scales', () => {
    const { readings, sheet, plan } = taken(text);
    expect(sheet).toMatchObject({
      units: { acc: 'counts', mag: 'counts', angle: 'degrees', temperature: '°C' },
      scales: { acc: 16384, mag: 3400 },
      columns: [
        'id',
        'sighting',
        'ax',
        'ay',
        'az',
        'mx',
        'my',
        'mz',
        'temperature',
        'azimuth',
        'inclination',
        'roll',
      ],
    });
    expect(readings[1]!.acc).toEqual([110, -16350, 20]);
    expect(plan.azimuths).toBe('absolute');
  });

  it('has its units asked where only its names were pasted and nothing says that these are counts', () => {
    const bare = text.replace(/^#.*\n/gm, '');
    expect(problemsOf(bare)).toContain('Say in which unit the accelerometer’s numbers are.');
    expect(read(bare, {}, true)).toMatchObject({ ok: true });
  });
});
