import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { Ajv } from 'ajv';
import { beforeAll, describe, expect, it, vi } from 'vitest';
import { simulateCalibration } from '../../bench/simulated-calibration.ts';
import { RAW_SCALES, rawReadings, type Instrument } from '../../firmware-sim/raw-readings.ts';
import { degrees } from '../../src/calib/geometry.ts';
import { readCoefficients } from '../../src/records/coefficients-file.ts';
import { writeReadings, type FileReading } from '../../src/records/readings-csv.ts';
import { cli, scratch } from './command.ts';

vi.setConfig({ testTimeout: 60_000 }); // a process each

const path = scratch();

function file(name: string, readings: readonly Omit<FileReading, 'others'>[]): string {
  writeFileSync(
    path(name),
    writeReadings({
      comments: [],
      otherColumns: [],
      scales: RAW_SCALES,
      readings: readings.map((reading) => ({ ...reading, others: [] })),
    }),
  );
  return path(name);
}

/** A simulated calibration as it stands in a file, 18 degrees warm. */
const inFile = ({ readings }: ReturnType<typeof simulateCalibration>) =>
  readings.map(({ id, sighting, acc, mag, aim }) => ({
    id,
    sighting: sighting!,
    acc,
    mag,
    temperature: 18,
    aim: {
      azimuth: degrees(aim!.azimuth!),
      inclination: degrees(aim!.inclination!),
      roll: degrees(aim!.roll!),
    },
  }));

const straight = simulateCalibration({ seed: 31 });
const curved = simulateCalibration({ seed: 32, curvature: 0.02 });

/** The same chips after the battery was changed: its steel moves the hard iron by a tenth of the field. */
const afterBattery: Instrument = {
  ...straight.instrument,
  exact: (down, field) => {
    const { acc, mag } = straight.instrument.exact(down, field);
    return { acc, mag: [mag[0] + 340, mag[1] - 200, mag[2] + 120] };
  },
};
const aims = [
  [0, 0, 0],
  [0, 0, 180],
  [90, 0, 90],
  [180, 0, 270],
  [270, 35, 0],
  [45, -35, 180],
  [0, 90, 0],
  [0, -90, 90],
].map(([azimuth, inclination, roll]) => ({
  azimuth: azimuth!,
  inclination: inclination!,
  roll: roll!,
}));
const eight = rawReadings(afterBattery, { ...straight.settings, seed: 900 }, aims).map(
  ({ acc, mag }, i) => ({ id: `b${i}`, acc, mag, temperature: 18 }),
);

let whole: string;
let fitted: string;
beforeAll(async () => {
  whole = file('whole.csv', inFile(straight));
  fitted = path('whole.json');
  expect(await cli('fit', whole, '--out', fitted)).toMatchObject({ code: 0, err: '' });
}, 60_000);

describe.concurrent('straight or bowed', () => {
  it('is chosen by the command line itself, with both figures, and can be forced', async () => {
    const input = file('curved.csv', inFile(curved));
    const free = JSON.parse((await cli('fit', input, '--out', path('free.json'), '--json')).out);
    expect(free.model).toBe('bowed');
    expect(free.standing).toBe('good');
    expect(free.modelChoice.missed.straight).toBeGreaterThan(2 * free.modelChoice.missed.bowed);
    const forced = await cli('fit', input, '--out', path('forced.json'), '--json', '--model', 'straight'); // prettier-ignore
    const report = JSON.parse(forced.out);
    expect(report).toMatchObject({
      model: 'straight',
      standing: 'bad',
      modelChoice: { why: 'forced' },
    });
    expect(report.advice[0].cause).toMatch(/curved, fitted by a straight model/);
    expect(report.residualTests.filter(({ verdict }: { verdict: string }) => verdict === 'departs').map(({ name }: { name: string }) => name)).toContain('attitude_gravity'); // prettier-ignore
  });
});

describe.concurrent('the tolerance', () => {
  it('is what the verdict is held against, and names its source', async () => {
    const { out } = await cli('fit', whole, '--out', path('six.json'), '--tolerance', 'grade-6');
    expect(out).toMatch(/enough for BCRA grade 6 \(±0\.5°\)/);
    expect(out).toContain('British Cave Research Association, survey grades, wording of July 2002');
    const own = await cli('fit', whole, '--out', path('own.json'), '--tolerance', '0.05', '--json');
    const report = JSON.parse(own.out);
    expect(report).toMatchObject({ tolerance: { degrees: 0.05, grade: null }, standing: 'bad' });
    expect(report.verdict).toMatch(/^Not good enough for a tolerance of ±0\.05°/);
  });
});

describe.concurrent('the coefficients file of a fit', () => {
  it('says what is known of its calibration, as the published schema has it', () => {
    const schema = JSON.parse(
      readFileSync(
        new URL('../../docs/schemas/coefficients-1.schema.json', import.meta.url),
        'utf8',
      ),
    );
    const valid = new Ajv({ allErrors: true, strict: false }).compile(schema);
    const content = JSON.parse(readFileSync(fitted, 'utf8'));
    valid(content);
    expect(valid.errors).toBeNull();
    expect(content.calibration.covariance).toHaveLength(25);
    expect(content.calibration.temperature).toEqual({ coldest: 18, warmest: 18 });
  });

  it('flags readings outside what it holds for, and leaves the CSV as it was', async () => {
    const warm = inFile(straight).map((reading, i) => ({
      ...reading,
      ...(i === 3 && { temperature: 31 }),
    }));
    const { code, out, err } = await cli('apply', fitted, file('warm.csv', warm));
    expect(code).toBe(0);
    expect(err).toMatch(/^Outside what these coefficients hold for: 4: warmer than/);
    expect(out.split('\n')).toHaveLength(58);
    expect(await cli('apply', fitted, whole)).toMatchObject({ code: 0, out, err: '' });
  });
});

describe.concurrent('offsets alone', () => {
  it('from eight readings after a battery change, the rest as it was, compared with before', async () => {
    const input = file('battery.csv', eight);
    const out = path('again.json');
    const ended = await cli('fit', input, '--from', fitted, '--offsets', '--out', out, '--json');
    expect(ended).toMatchObject({ code: 0, err: '' });
    const report = JSON.parse(ended.out);
    expect(report.warnings.join()).toMatch(/Only the offsets/);
    // 340, −200 and 120 counts in a field of 3400 are 12 %, whichever way the chip sits
    const { mag, acc, azimuth } = report.comparison;
    expect(Math.hypot(...(mag.offset as number[]))).toBeCloseTo(0.12, 2);
    expect(Math.hypot(...(acc.offset as number[]))).toBeLessThan(0.002);
    for (const gain of [...mag.gain, ...acc.gain]) expect(Math.abs(gain)).toBeLessThan(0.002);
    expect(azimuth.rms).toBeGreaterThan(3);
    // and can be done again from what it wrote
    const twice = await cli('fit', input, '--from', out, '--offsets', '--out', path('twice.json'));
    expect(twice).toMatchObject({ code: 0, err: '' });
  });

  it('are refused where the file says nothing of its calibration', async () => {
    const bare = path('bare.json');
    const { calibration: _, ...rest } = JSON.parse(readFileSync(fitted, 'utf8'));
    writeFileSync(bare, JSON.stringify(rest));
    const out = path('never.json');
    const ended = await cli('fit', file('b.csv', eight), '--from', bare, '--offsets', '--out', out);
    expect(ended).toMatchObject({ code: 1, out: '' });
    expect(ended.err).toMatch(
      /says nothing of the calibration behind it.*Nothing was changed\.\n$/,
    );
    expect(existsSync(out)).toBe(false);
  });
});

describe.concurrent('a comparison', () => {
  it('with the very same coefficients says so', async () => {
    const { out } = await cli('fit', whole, '--out', path('same.json'), '--against', fitted);
    expect(out).toContain(`These are the very numbers of ${fitted}.`);
  });
});

describe.concurrent('the next reading', () => {
  it('is said in words and figures, with how many are still needed', async () => {
    const half = file('half.csv', inFile(straight).slice(0, 24));
    const { code, out, err } = await cli('next', half, '--wanted', '0.15');
    expect({ code, err }).toEqual({ code: 0, err: '' });
    expect(out).toMatch(
      /^Next: aim .+, and hold it .+ \(azimuth \d+°, inclination -?\d+°, roll \d+°/,
    );
    const needed = Number(/(\d+) more readings are needed for 0\.15°/.exec(out)![1]);
    const report = JSON.parse((await cli('next', half, '--wanted', '0.15', '--json')).out);
    expect(report).toMatchObject({ from: 'fit', needed, wanted: 0.15 });
    expect(report.readings).toHaveLength(needed);
    expect(report.now).toBeGreaterThan(0.15);
    expect(report.readings.at(-1).standardError).toBeLessThanOrEqual(0.15);
  });

  it('goes by the plan where there are too few readings for a fit, and says so', async () => {
    const few = file('few.csv', inFile(straight).slice(0, 6));
    const { code, out } = await cli('next', few);
    expect(code).toBe(0);
    expect(out).toMatch(/settle no fit yet \(6 readings are not enough/);
    const bare = inFile(straight).slice(0, 6).map(({ aim: _, ...reading }) => reading); // prettier-ignore
    const ended = await cli('next', file('bare.csv', bare));
    expect(ended).toMatchObject({ code: 1, out: '' });
    expect(ended.err).toMatch(/6 readings are not enough/);
  });

  it('is not needed where enough were taken', async () => {
    const { out } = await cli('next', whole, '--wanted', '0.5');
    expect(out).toMatch(/0\.5° is reached: no more readings are needed/);
  });
});

describe.concurrent('what nobody says', () => {
  it('how the chips sit: nothing is called good enough', async () => {
    const bare = inFile(straight).map(({ aim: _, ...reading }) => reading);
    const ended = await cli('fit', file('axes.csv', bare), '--out', path('axes.json'), '--json');
    const { standing, verdict, notKnown, warnings } = JSON.parse(ended.out);
    expect(standing).toBe('bad');
    expect(verdict).toMatch(/^Not known whether any angle is right/);
    expect(notKnown[0]).toMatch(/^how the chips sit/);
    expect(warnings[0]).toMatch(/taken for body axes/);
  });
});

it('says plainly that the two files of apply are the wrong way round', async () => {
  const ended = await cli('apply', whole, fitted);
  expect(ended).toMatchObject({ code: 1, out: '' });
  expect(ended.err).toBe(
    `The two files are the wrong way round: ${fitted} holds the coefficients. They come first, and then the readings. Nothing was changed.\n`,
  );
});

describe.concurrent('wrong usage', () => {
  const wrong: [string, string[], RegExp][] = [
    ['another model', ['--model', 'curved'], /straight or bowed/],
    ['a grade there is not', ['--tolerance', 'grade-4'], /grade-3, grade-5, grade-6/],
    ['a tolerance of nothing', ['--tolerance', '0'], /0\.05 to 10/],
    ['--offsets alone', ['--offsets'], /go together/],
    ['--from alone', ['--from', 'x.json'], /go together/],
    ['--from with --model', ['--from', 'x.json', '--offsets', '--model', 'bowed'], /no meaning/],
  ];
  it.each(wrong)('%s', async (_, more, why) => {
    const ended = await cli('fit', whole, '--out', path('usage.json'), ...more);
    expect(ended).toMatchObject({ code: 2, out: '' });
    expect(ended.err).toMatch(why);
    expect(existsSync(path('usage.json'))).toBe(false);
  });

  it('--out over --from', async () => {
    const before = readFileSync(fitted, 'utf8');
    const ended = await cli('fit', whole, '--from', fitted, '--offsets', '--out', fitted);
    expect(ended.code).toBe(2);
    expect(readFileSync(fitted, 'utf8')).toBe(before);
    expect(readCoefficients(readFileSync(fitted)).ok).toBe(true);
  });

  it('a wanted error that is no angle', async () => {
    for (const wanted of ['x', '', '-1', '0']) {
      expect((await cli('next', whole, '--wanted', wanted)).code, wanted).toBe(2);
    }
  });
});
