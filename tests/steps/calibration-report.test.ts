import { readFileSync } from 'node:fs';
import { toJsonSchema } from '@valibot/to-json-schema';
import { Ajv2020, type ValidateFunction } from 'ajv/dist/2020.js';
import fc from 'fast-check';
import { format, resolveConfig } from 'prettier';
import { beforeAll, describe, expect, it } from 'vitest';
import { attitude, radians } from '../../src/calib/geometry.ts';
import type { StoredEntry } from '../../src/records/entries.ts';
import { ReportFile, type ReportCheck, type ReportReading } from '../../src/records/report-file.ts';
import {
  reportFile,
  reportOf,
  type CalibrationReport,
} from '../../src/steps/calibration-report.ts';
import {
  attitudeMarks,
  checkRows,
  headFacts,
  reportVerdict,
  sealFacts,
  setAsideLines,
} from '../../src/steps/report-words.ts';
import { walkedEntries } from '../records/whole-walk.ts';
import { BenchInProcess } from './bench-in-process.ts';
import { isOf, ofKind } from './entries-of-kind.ts';

const SCHEMA = new URL('../../docs/schemas/report-1.schema.json', import.meta.url);

/** The schema of a report, from that which it is typed by; `npx vitest -u` writes it anew. */
async function schemaText(): Promise<string> {
  const { $schema, ...schema } = toJsonSchema(ReportFile, {
    target: 'draft-2020-12',
    errorMode: 'ignore',
  });
  const whole = {
    $schema,
    $id: 'lodebench:report-1',
    title: 'Report of one calibration of a compass-clinometer board, version 1',
    description:
      'What docs/files.md has of it. Angles in degrees, lengths of calibrated vectors as ratios, times in UTC.',
    ...schema,
  };
  const path = SCHEMA.pathname;
  return format(JSON.stringify(whole), { ...(await resolveConfig(path)), filepath: path });
}

const MADE = { program: '9.9.9', written: '2031-07-01T00:00:00.000Z' };

let compiled: ValidateFunction | undefined;
/** The published schema as it stands, compiled once. */
const published = (): ValidateFunction =>
  (compiled ??= new Ajv2020({ strict: false, validateFormats: false }).compile(
    JSON.parse(readFileSync(SCHEMA, 'utf8')),
  ));

/** The report as a reader of its file has it, which the published schema allows. */
function read(entries: readonly StoredEntry[], calibration: string): CalibrationReport {
  const report = reportOf(entries, calibration, MADE);
  if (!report) throw new Error('there is no report');
  const file = JSON.parse(reportFile(report).content) as CalibrationReport;
  const valid = published();
  valid(file);
  expect(valid.errors).toBeNull();
  expect(file).toEqual(report); // nothing that JSON has no word for
  return file;
}

let entries: readonly StoredEntry[];
let first: string;
let second: string;

beforeAll(async () => {
  ({ entries } = await walkedEntries());
  [first, second] = [...new Set(entries.flatMap(({ calibration }) => calibration ?? []))] as [string, string]; // prettier-ignore
}, 60_000);

it('publishes the schema that it is typed by', async () => {
  await expect(await schemaText()).toMatchFileSnapshot(SCHEMA.pathname);
});

describe('the report of a proven calibration', () => {
  it('tells of the fit that was sealed, in degrees, with every reading in the order taken', () => {
    const report = read(entries, second);
    const fits = ofKind(entries, 'fit', second);
    const sealed = fits.at(-1)!;
    expect(report.result).toMatchObject({ fit: sealed.id, model: sealed.coefficients.model });
    expect(report.result!.crc).toBe(report.seal!.crc);
    expect(radians(report.result!.azimuth.typical.standardError)).toBeCloseTo(sealed.uncertainty.azimuth, 12); // prettier-ignore
    expect(radians(report.result!.dip)).toBeCloseTo(sealed.dip, 12);
    expect(radians(report.result!.spread!.mean)).toBeCloseTo(sealed.meanSpread!, 12);
    const taken = ofKind(entries, 'reading', second).map(({ id }) => id);
    expect(report.result!.readings.map(({ id }) => id)).toEqual(taken);
    expect(report.readings).toMatchObject({ taken: 56, plan: { sightings: 14, attitudes: 56 } });
    expect(report.readings.used).toBe(56 - report.readings.setAside.length);
  });

  it('gives the worst attitude, the one that the largest standard errors were kept of', () => {
    const { result } = read(entries, second);
    const { largest } = ofKind(entries, 'fit', second).at(-1)!.holdsFor!;
    for (const angle of ['azimuth', 'inclination'] as const) {
      const { worst, typical } = result![angle];
      expect(radians(worst!.standardError)).toBeCloseTo(largest[angle], 12);
      expect(worst!.standardError).toBeGreaterThanOrEqual(typical.standardError);
      // Student's t has no less than the normal distribution's 1.96 (tables of either)
      expect(worst!.interval95 / worst!.standardError).toBeGreaterThan(1.95);
      expect(worst!.interval95 / worst!.standardError).toBeLessThan(2.1);
    }
  });

  it('tells what the board ran before, how the seal was read back, and every figure of the proof with its limit', () => {
    const report = read(entries, second);
    expect(report.before).toMatchObject({ crc: read(entries, first).result!.crc });
    expect(report.before!.changes.length).toBeGreaterThan(5);
    expect(report.before!.generation).toBe(report.seal!.replaced);
    expect(report.seal!.readBack).toEqual({ equal: true, numbers: 26, different: 0 });
    const proof = ofKind(entries, 'proof', second).at(-1)!;
    expect(report.proof!.figures).toEqual(proof.figures);
    expect(report.proof).toMatchObject({ passed: proof.passed, readings: 12 });
    expect(reportVerdict(report).words).toContain('The proof on 12 fresh readings passed.');
  });

  it('of the first set says that other firmware runs, and that the board no longer runs it where that was so', () => {
    const report = read(entries, first);
    expect(report.since.map(({ what }) => what)).toContain('It runs firmware 1.1 now, and no longer 1.0.'); // prettier-ignore
    const atSecond = entries.slice(0, entries.findIndex(isOf('proof', second)));
    expect(read(atSecond, first).seal!.inForce).toBe(false);
    expect(read(atSecond, second).seal!.inForce).toBe(true);
  });

  it('says of a board that was not read since the seal just that', () => {
    const report = read(entries.slice(0, entries.findIndex(isOf('sealed', first)) + 1), first);
    expect(report.seal).not.toHaveProperty('inForce');
    expect(sealFacts(report).at(-1)!.value).toBe('not read since');
    expect(sealFacts(read(entries, second)).at(-1)!.value).toBe('it ran these coefficients');
  });

  it('tells of a knock that was written down since, not of one from before or one that was withdrawn', () => {
    const board = entries[0]!.board;
    const stamp = { board, time: '2031-07-01T00:00:00.000Z', number: 100_000 };
    const knocks: StoredEntry[] = [
      { ...stamp, kind: 'knocked', id: 'a', on: '2031-01-01', text: 'long before' },
      { ...stamp, kind: 'knocked', id: 'b', text: 'fell down' },
      { ...stamp, kind: 'battery changed', id: 'c', text: 'no, it was not' },
      { ...stamp, kind: 'remark withdrawn', of: 'c' },
    ];
    const what = read([...entries, ...knocks], second).since.map((each) => each.what).join(); // prettier-ignore
    expect(what).toContain('fell down');
    expect(what).not.toMatch(/long before|was not/);
  });

  it('says that a simulated board is no instrument, and what the result does not hold for', () => {
    const { notes, notValidFor, validFor, caution, blindTo } = read(entries, second);
    expect(notes[0]).toContain('simulated');
    expect(notValidFor.join()).toMatch(/battery.*housing.*firmware/);
    expect(validFor.join()).toContain('15.0 to 25.0 °C');
    expect(blindTo.length).toBeGreaterThan(3);
    expect(caution).toMatch(/magnetic heading alone.*qualified surveyors decide/);
  });
});

describe('the report of a calibration that is not whole', () => {
  it('before a proof says that there is none, and is not valid for reliance', () => {
    const cut = entries.slice(0, entries.findIndex(isOf('proof', first)));
    const report = read(cut, first);
    expect(report.proof).toBeUndefined();
    expect(report.notValidFor).toContain('reliance: no proof on fresh readings has been taken');
  });

  it('before a seal is of the newest fit, and says that it is on no board', () => {
    const cut = entries.slice(0, entries.findIndex(isOf('staged', first)));
    const report = read(cut, first);
    expect(report.seal).toBeUndefined();
    expect(report.result!.fit).toBe(ofKind(cut, 'fit', first).at(-1)!.id);
    expect(report.notValidFor).toContain('a board as it stands: these coefficients were not sealed on it'); // prettier-ignore
  });

  it('of a fit that was refused has the reason, what to do, and no result', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin', 'take sighting', 'fit');
    const { refusal, id } = on.calibration;
    const report = read(await on.logbook(), id);
    expect(report.refusal).toEqual({ message: refusal!.message, next: refusal!.next });
    expect(report.result).toBeUndefined();
    expect(report.readings).toMatchObject({ taken: 4, used: 0 });
    expect(reportVerdict(report)).toMatchObject({ standing: 'bad' });
  });

  it('is none where the logbook has no such calibration', () => {
    expect(reportOf(entries, 'of another board', MADE)).toBeUndefined();
  });
});

it('keeps the reasons of what was set aside when it was fitted, whatever was taken back since', () => {
  const fits = ofKind(entries, 'fit', first);
  const cut = entries.slice(0, entries.indexOf(fits[0]!) + 1);
  const report = read(cut, first);
  expect(report.readings.setAside).toContainEqual(
    expect.objectContaining({ id: '3', by: 'person', reason: 'A van drove by' }),
  );
  expect(setAsideLines(report).join()).toContain('3, by a person: A van drove by');
  expect(report.result!.readings.find(({ id }) => id === '3')).toMatchObject({ used: false });
  const after = entries.slice(0, entries.findIndex(isOf('taken back', first)) + 1);
  expect(read(after, first).readings.setAside).toEqual(report.readings.setAside);
  expect(read(after, first).notes.join()).toContain('taken back after this fit');
});

it('of a calibration of another bench says whose it is', () => {
  const foreign = entries.map((entry) => ({ ...entry, foreign: { bench: 'f'.repeat(32), number: entry.number } })); // prettier-ignore
  const report = read(foreign, second);
  expect(report.bench).toBe('f'.repeat(32));
  expect(report.notes.join()).toContain('another bench (ffffffff)');
  expect(report.result).toEqual(read(entries, second).result);
});

it('of a sheet with no board says what it is from, and that no board can run it', () => {
  const calibration = 'SHEET-1 sheet';
  const stamp = { board: 'SHEET-1', calibration, time: '2031-05-01T10:00:00.000Z' };
  const fit = ofKind(entries, 'fit', second).at(-1)!;
  const taken = ofKind(entries, 'reading', second);
  const rows: StoredEntry[] = [
    {
      ...stamp,
      number: 1,
      kind: 'calibration entered',
      plan: { name: 'sheet', sightings: [], azimuths: 'relative' },
      sheet: { boardName: 'By hand', by: 'file', file: 'old.csv', text: '', separator: 'tab', decimal: 'comma', columns: [], units: { acc: 'g', mag: 'µT' } }, // prettier-ignore
    },
    ...taken.map(({ id, reading, sighting }, i): StoredEntry => ({
      ...stamp,
      number: 2 + i,
      kind: 'reading entered',
      id,
      acc: reading.acc,
      mag: reading.mag,
      ...(sighting !== undefined && { sighting }),
    })),
    { ...fit, ...stamp, number: 100 },
  ];
  const report = read(rows, calibration);
  expect(report.board).toEqual({ serial: 'SHEET-1', name: 'By hand', simulated: false });
  expect(report.readings).toMatchObject({ from: 'sheet', file: 'old.csv', units: { acc: 'g', mag: 'µT' } }); // prettier-ignore
  expect(report.before).toBeUndefined();
  expect(report.seal).toBeUndefined();
  expect(report.notes.join()).toContain('no board can run them');
  const facts = headFacts(report).map(({ name, value }) => `${name}: ${value}`);
  expect(facts.join('\n')).toContain('Hardware, firmware: not known');
  expect(facts.join('\n')).toContain('readings from the file old.csv in g and µT');
});

it('has the site of the day and its place, and every check in the field of these coefficients and of no others', () => {
  const { board } = entries[0]!;
  const fit = ofKind(entries, 'fit', second).at(-1)!;
  const { crc, generation } = ofKind(entries, 'sealed', second).at(-1)!;
  const lastReading = ofKind(
    entries.slice(
      0,
      entries.findIndex(({ number }) => number === fit.number),
    ),
    'reading',
    second,
  ).at(-1)!;
  const at = entries.indexOf(lastReading);
  const site: StoredEntry = {
    board,
    time: lastReading.time,
    number: 0,
    kind: 'site checked',
    place: { latitude: -47.5, longitude: 171.25, height: 12 },
    spots: [],
    figures: [],
    verdict: 'disturbed',
    blindTo: [],
  };
  const check = (id: string, verdict: ReportCheck['verdict'], of = crc): StoredEntry => ({
    board,
    time: '2031-05-02T00:00:00.000Z',
    number: 100_000,
    kind: 'check',
    check: id,
    of: 'loop',
    generation,
    crc: of,
    tolerance: { degrees: 1 },
    verdict,
    figures: [{ name: 'Off', value: 0.25, half: Infinity, unit: 'm', n: 6 }],
    warnings: [],
  });
  const all = [...entries.slice(0, at), site, ...entries.slice(at), check('1', 'failed'), check('2', 'passed'), check('2', 'passed'), check('3', 'failed', '00000000')]; // prettier-ignore
  const report = read(all, second);
  expect(report.site).toMatchObject({ verdict: 'disturbed', place: { latitude: -47.5 } });
  expect(headFacts(report).find(({ name }) => name === 'Where')!.value).toMatch(
    /47\.5.*south.*171\.25.*east/,
  );
  expect(report.checks.map(({ verdict }) => verdict)).toEqual(['failed', 'passed']);
  expect(checkRows(report)).toMatchObject([{ standing: 'good' }]);
  expect(checkRows(report)[0]!.words).toMatch(/not passed once before it.*0\.250 ± not known m/);
  const failed = read([...entries, check('1', 'failed')], second);
  expect(failed.notValidFor.join()).toContain('a check in the field did not pass (a closed loop)');
  // a place checked after the readings, or a day before them, is not where they were taken
  const hours = (from: string, n: number) => new Date(Date.parse(from) + n * 3_600_000).toISOString(); // prettier-ignore
  for (const time of [hours(lastReading.time, 0.001), hours(report.begun, -12.001)]) {
    const other = all.map((entry) => (entry === site ? { ...site, time } : entry));
    expect(read(other, second).site).toBeUndefined();
  }
  // what is claimed and what is denied of one result never contradict each other
  expect(failed.validFor.join()).not.toContain(failed.tolerance.name);
  expect(reportVerdict(failed)).toMatchObject({ standing: 'bad' });
  expect(reportVerdict(failed).words).toMatch(/^A check in the field did not pass/);
  expect(report.notValidFor.join()).toContain('the site was found disturbed');
  expect(report.validFor.join()).not.toContain(report.tolerance.name);
  const passed = read([...entries, check('2', 'passed')], second);
  expect(passed.validFor.join()).toContain(passed.tolerance.name);
  expect(passed.notValidFor.join()).not.toContain(passed.tolerance.name);
  const unsettled = read([...entries, check('1', 'failed'), check('2', 'not settled')], second);
  expect(unsettled.notValidFor.join()).toContain('a check in the field did not pass');
});

it('on paper puts the figures of a check that are outside first, then its warnings, and says what is left out', () => {
  const figure = (name: string, standing: 'within' | 'outside') => ({ name, value: 0.5, half: 0.1, unit: '°' as const, limit: 1, standing, n: 4 }); // prettier-ignore
  const within = Array.from({ length: 9 }, (_, i) => figure(`Within ${i}`, 'within'));
  const check: ReportCheck = {
    taken: '2031-05-02T00:00:00.000Z',
    name: 'Fore and back sights',
    verdict: 'failed',
    tolerance: 1,
    figures: [...within, figure('Back sight', 'outside')],
    warnings: ['A was moved.'],
  };
  const [row] = checkRows({ ...read(entries, second), checks: [check] });
  expect(row!.words).toMatch(/^Back sight: .*outside; A was moved\.; Within 0: /);
  const told = row!.words.match(/Within/g)!.length;
  expect(told).toBeLessThan(9);
  expect(row!.words).toContain(`; and ${9 - told} more, in the machine-readable copy`);
});

it('draws rolls straight up and down as quarter turns from each other, however azimuth and roll turn into each other', () => {
  const free = { noNaN: true, noDefaultInfinity: true };
  fc.assert(
    fc.property(
      fc.constantFrom(90, -90),
      fc.double({ min: 0, max: 359, ...free }),
      fc.double({ min: 0, max: 359, ...free }),
      fc.double({ min: 0, max: 359, ...free }),
      (inclination, from, azimuth, roll) => {
        const reading = (id: string, azimuth: number, roll: number): ReportReading => ({ id, sighting: '1', used: true, azimuth, inclination, roll, gravity: 1, field: 1 }); // prettier-ignore
        const [mark] = attitudeMarks([reading('a', from, 0), reading('b', azimuth, roll)]);
        // told from the first azimuth with the roll that is drawn, the board is held just as before
        const held = attitude(radians(azimuth), radians(inclination), radians(roll));
        const drawn = attitude(radians(from), radians(inclination), radians(mark!.rolls[1]!.roll));
        held.forEach((value, i) => expect(drawn[i]).toBeCloseTo(value, 9));
      },
    ),
  );
});
