import { readFileSync, writeFileSync } from 'node:fs';
import { parse } from 'csv-parse/sync';
import { beforeAll, expect, it, vi } from 'vitest';
import { drawInstrument, RAW_SCALES, rawReadings } from '../../firmware-sim/raw-readings.ts';
import { sightOf } from '../../firmware-sim/world.ts';
import type { SimulatorSettings } from '../../src/protocol/simulator.ts';
import { writeReadings, type FileReading } from '../../src/records/readings-csv.ts';
import { cli, scratch } from './command.ts';

vi.setConfig({ testTimeout: 60_000 }); // a process each

const settings: SimulatorSettings = {
  seed: 7,
  accNoise: 1,
  magNoise: 0.2,
  aim: 0.1,
  rollAim: 3,
  accMounting: '+y+x+z',
  magMounting: '-z+x+y',
  curvature: 0,
  dip: 65,
  disturbance: 0,
  faults: { lose: 0, double: 0, flip: 0, delayMs: 0 },
};

/** Six faces and eight corners of a cube, four rolls each (common practice in the trade), degrees. */
const CORNER = (Math.atan(Math.SQRT1_2) * 180) / Math.PI;
const lines = [
  ...[0, 90, 180, 270].map((azimuth) => ({ azimuth, inclination: 0 })),
  ...[45, 135, 225, 315].flatMap((azimuth) => [
    { azimuth, inclination: CORNER },
    { azimuth, inclination: -CORNER },
  ]),
  { azimuth: 0, inclination: 90 },
  { azimuth: 0, inclination: -90 },
];
const aims = lines.flatMap((line, i) =>
  [0, 90, 180, 270].map((roll) => ({ sighting: `S${i + 1}`, aim: { ...line, roll } })),
);

const path = scratch();
const taken = rawReadings(
  drawInstrument(settings),
  settings,
  aims.map(({ aim }) => aim),
);
const readings: FileReading[] = taken.map(({ acc, mag }, i) => ({
  id: `r${i + 1}`,
  ...aims[i],
  acc,
  mag,
  temperature: 18 + i / 20,
  others: [],
}));

/** Writes a readings file, and gives its path. */
function file(name: string, change: (reading: FileReading) => FileReading = (r) => r): string {
  const content = { comments: [], otherColumns: [], readings: readings.map(change) };
  writeFileSync(path(name), writeReadings({ ...content, scales: RAW_SCALES }));
  return path(name);
}

let whole: string;
beforeAll(() => {
  whole = file('whole.csv');
});

const rootMeanSquare = (values: readonly number[]) =>
  Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / values.length);

/** Angles between where the sight really pointed and where `apply` says it did, degrees. */
async function errors(coefficients: string, input: string): Promise<number[]> {
  const applied = await cli('apply', coefficients, input);
  expect(applied.code).toBe(0);
  const rows = parse<Record<string, string>>(applied.out, { columns: true });
  return rows.flatMap(({ azimuth, inclination }, i) => {
    if (azimuth === '') return [];
    const [a, b] = [azimuth, inclination].map((text) => (Number(text) * Math.PI) / 180);
    const seen = [Math.cos(a) * Math.cos(b), Math.sin(a) * Math.cos(b), -Math.sin(b)];
    const sight = sightOf(taken[i].rotation);
    const apart = Math.hypot(...sight.map((value, k) => value - seen[k]));
    return [(2 * Math.asin(apart / 2) * 180) / Math.PI];
  });
}

it('finds, by the plan alone, where a board with oddly mounted chips really pointed', async () => {
  const out = path('plan.json');
  const ended = await cli('fit', whole, '--out', out, '--json', '--keep-all');
  expect(ended).toMatchObject({ code: 0, err: '' });
  const report = JSON.parse(ended.out);
  expect(report).toMatchObject({ model: 'straight', setAside: [], temperature: { least: 18 } });
  expect(report.meanSpreadOver).toEqual({ sightings: 14, readings: 56, seenByFit: true });
  expect(report.meanSpread).toBeGreaterThan(0.05);
  expect(report.meanSpread).toBeLessThan(0.5);
  expect(report.coefficients.accScale).toBe(RAW_SCALES.acc);
  expect(Math.abs(report.dip.fitted - 65)).toBeLessThan(0.5);
  // noise of one reading is about 0.15°; a wrong mounting would be tens of degrees
  const apart = await errors(out, whole);
  expect(apart.length).toBeGreaterThan(50);
  expect(rootMeanSquare(apart)).toBeLessThan(0.4);
});

it('finds the same by the mounting alone', async () => {
  const input = file('no-plan.csv', ({ aim: _, ...reading }) => reading);
  const out = path('mounting.json');
  const mounting = `acc=${settings.accMounting},mag=${settings.magMounting}`;
  expect(await cli('fit', input, '--out', out, '--mounting', mounting)).toMatchObject({ code: 0 });
  expect(rootMeanSquare(await errors(out, input))).toBeLessThan(0.4);
});

it('sets a disturbed reading aside with its reason, and keeps it when told to', async () => {
  const input = file('disturbed.csv', (reading) =>
    reading.id === 'r23'
      ? { ...reading, mag: [reading.mag[0] + 0.1 * RAW_SCALES.mag, reading.mag[1], reading.mag[2]] }
      : reading,
  );
  const screened = await cli('fit', input, '--out', path('screened.json'), '--json');
  const { setAside, readings: counted } = JSON.parse(screened.out);
  expect(setAside.map(({ id }: { id: string }) => id)).toContain('r23');
  expect(setAside[0].reason).not.toBe('');
  expect(counted.used).toBe(56 - setAside.length);
  const kept = await cli('fit', input, '--out', path('kept.json'), '--json', '--keep-all');
  expect(JSON.parse(kept.out)).toMatchObject({ setAside: [], readings: { given: 56, used: 56 } });
});

it('prints a summary with units, evidence, limits and caution', async () => {
  const out = path('summary.json');
  const { code, out: text } = await cli('fit', whole, '--out', out);
  expect(code).toBe(0);
  for (const expected of [
    /Mean spread +0\.\d+°; over 14 sightings, 5\d readings that the fit saw/,
    /95 % interval/,
    /Noise found/,
    /Residuals +accelerometer rms [\d.]+ counts, largest [\d.]+ counts \(reading r\d+\)/,
    /aim rms [\d.]+°/,
    /Temperature +18 to 20\.75 °C/,
    /Stopped/,
    /Set aside/,
    /Magnetic heading alone must not be relied on where an error can hurt someone/,
    /local rules and qualified surveyors decide/,
  ]) {
    expect(text).toMatch(expected);
  }
  expect(text).toContain(`Coefficients written to ${out}`);
  expect(text).not.toMatch(/NaN|undefined|in place of/);

  const again = await cli('fit', whole, '--out', out);
  expect([again.code, again.out]).toEqual([0, text]);
  const others = await cli('fit', whole, '--out', out, '--model', 'bowed');
  expect(others.out).toContain(`written to ${out}, in place of what was there before\n`);
  expect(JSON.parse(readFileSync(out, 'utf8'))).toMatchObject({ model: 'bowed' });
  const inJson = await cli('fit', whole, '--out', out, '--json');
  expect(inJson.err).toContain(`${out}, in place of what was there before`);
});

it('gives the same bytes for the same readings', async () => {
  const [one, two] = [path('one.json'), path('two.json')];
  await cli('fit', whole, '--out', one);
  await cli('fit', whole, '--out', two);
  expect(readFileSync(one).equals(readFileSync(two))).toBe(true);
});

it('leaves an angle without meaning empty', async () => {
  const still = path('identity.json');
  const ones = [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
  ];
  const zero = [0, 0, 0];
  const set = { accScale: 1, magScale: 1, o: zero, A: ones, p: zero, B: ones, q: zero };
  writeFileSync(
    still,
    JSON.stringify({ type: 'lodebench.coefficients', version: 1, model: 'straight', ...set }),
  );
  const input = path('attitudes.csv');
  writeFileSync(
    input,
    [
      'id,ax,ay,az,mx,my,mz',
      '"level, north",0,0,1,0.6,0,0.8',
      'straight down,1,0,0,0.8,0.6,0',
      'field along gravity,0,0,1,0,0,1',
      'no gravity,0,0,0,0.6,0,0.8',
      'east,0,0,1,0,-0.6,0.8',
      'a hair below level,0.0000000001,0,1,0.6,0,0.8',
      'just west of north,0,0,1,0.6,0.000000001,0.8\n',
    ].join('\n'),
  );
  expect((await cli('apply', still, input)).out.split('\n')).toEqual([
    'id,azimuth,inclination,roll,gravity,field,dip',
    '"level, north",0.000000,0.000000,0.000000,1.00000000,1.00000000,53.130102',
    'straight down,,-90.000000,,1.00000000,1.00000000,53.130102',
    'field along gravity,,0.000000,0.000000,1.00000000,1.00000000,90.000000',
    'no gravity,,,,0.00000000,1.00000000,',
    'east,90.000000,0.000000,0.000000,1.00000000,1.00000000,53.130102',
    'a hair below level,0.000000,0.000000,0.000000,1.00000000,1.00000000,53.130102',
    'just west of north,0.000000,0.000000,0.000000,1.00000000,1.00000000,53.130102',
    '',
  ]);
});
