import { readFileSync } from 'node:fs';
import { Ajv } from 'ajv';
import { describe, expect, test, vi } from 'vitest';
import { defaultSettings } from '../../../firmware-sim/settings.ts';
import { BOARD_CODES } from '../../../src/protocol/errors.ts';
import { isVerb, VERBS } from '../../../src/protocol/messages.ts';
import { codesNotSeen, reportJson, reportText } from '../../../src/steps/conformance/report.ts';
import { CHECKS } from '../../../src/steps/conformance/run.ts';
import { throughoutChecks } from '../../../src/steps/conformance/throughout-checks.ts';
import { CheckedBoard, named } from './checked-board.ts';

// a run is many hundred lines there and back; a busy machine takes its time
vi.setConfig({ testTimeout: 60_000 });

const page = readFileSync(new URL('../../../src/protocol/SPEC.md', import.meta.url), 'utf8');

describe('the simulated board passes every check that can be tried on it,', () => {
  test('in use, with a memory small enough to be filled', async () => {
    const checked = await new CheckedBoard({ build: { places: 24, hasRange: true } }).inUse();
    const before = await checked.kept();
    const report = await checked.check();
    expect(named(report, 'failed')).toEqual([]);
    expect(named(report, 'not tried')).toEqual([
      'recall', // its memory is empty
      'what it cannot do', // there is nothing
      'new firmware',
      'the first seal',
      'revert with nothing before',
    ]);
    expect(await checked.kept()).toEqual(before);
    expect(report.left.words.join()).toContain('it was generation 2 and is generation 6 now');
    // what a host cannot bring about: a busy board, a weak supply, a magnet
    expect(codesNotSeen(report)).toEqual(['busy', 'low_power', 'saturated']);
  });

  test('that loses its readings with the power', async () => {
    const build = {
      ...{ places: 20, keepsReadings: false, hasTrigger: false, declaresMounting: false },
      ...{ hasLight: false, hasClock: false, hasSettings: false, takesImages: false },
    };
    const report = await (await new CheckedBoard({ build }).inUse()).check();
    expect(named(report, 'failed')).toEqual([]);
    expect(named(report, 'not tried')).toEqual([
      'recall',
      'capture typed by hand',
      'the trigger',
      'the trigger pressed in vain',
      'settings',
      'a setting changed',
      'the image report',
      'new firmware',
      'adopt refused',
      'adopt',
      'the first seal',
      'revert with nothing before',
      'kept readings',
    ]);
  });

  test('fresh from its maker', async () => {
    const checked = new CheckedBoard();
    const report = await checked.check();
    expect(named(report, 'failed')).toEqual([]);
    expect(named(report, 'not tried')).toEqual([
      'recall',
      'a full memory',
      'what it cannot do',
      'new firmware',
    ]);
    expect(report.left.words.join()).toContain('No set was ever sealed on it before');
  });

  test('with readings in its memory, which are left where they are', async () => {
    const checked = await new CheckedBoard().inUse();
    await checked.as(async (board) => {
      await board.mode('collect');
      for (let i = 0; i < 3; i++) await board.capture();
    });
    const before = await checked.kept();
    const report = await checked.check();
    expect(named(report, 'failed')).toEqual([]);
    expect(named(report, 'passed')).toContain('recall');
    expect(named(report, 'not tried')).toContain('erase');
    expect(report.checks.find(({ name }) => name === 'erase')?.why).toMatch(
      /^3 readings are in its memory/,
    );
    expect(await checked.kept()).toEqual(before);
  });

  test('whose power is taken away and given back', async () => {
    const checked = await new CheckedBoard().inUse();
    const hands = { restart: async () => checked.board.restart() };
    expect(named(await checked.check({ hands }), 'failed')).toEqual([]);
  });

  test('over a link that is slow', async () => {
    const faults = { ...defaultSettings.faults, delayMs: 200 };
    const checked = await new CheckedBoard({}, { ...defaultSettings, faults }).inUse();
    expect(named(await checked.check(), 'failed')).toEqual([]);
  });

  test.each([1, 2, 3])('whatever its seed (%i), held anyhow', async (seed) => {
    const checked = await new CheckedBoard(
      {},
      { ...defaultSettings, seed, curvature: 0.01 },
    ).inUse();
    await checked.board.hold({ azimuth: 40 * seed, inclination: 20 * seed, roll: 100 * seed });
    expect(named(await checked.check(), 'failed')).toEqual([]);
  });
});

describe('the report', () => {
  const schema = JSON.parse(
    readFileSync(
      new URL('../../../docs/schemas/conformance-1.schema.json', import.meta.url),
      'utf8',
    ),
  ) as object;
  const valid = new Ajv({ allErrors: true, strict: false }).compile(schema);

  test.each([undefined, 'checks any CRC', 'answers memory with 330 bytes'] as const)(
    'as JSON is what the published schema allows (fault: %s)',
    async (fault) => {
      const checked = await new CheckedBoard().inUse();
      const report = await checked.check({ ...(fault && { fault }), consents: {} });
      expect(valid(JSON.parse(reportJson(report))), JSON.stringify(valid.errors)).toBe(true);
    },
  );

  test('as text says of a failed check its section, what was sent, what came and what is wanted', async () => {
    const checked = await new CheckedBoard().inUse();
    const text = reportText(await checked.check({ fault: 'checks any CRC', consents: {} }));
    expect(text).toContain('\nFAILED: check\n  SPEC.md 4: check with the CRC of the staged set');
    expect(text).toMatch(/sent {4}> \?5 check crc=00000000 #[0-9A-F]{4}\n {4}came {4}< =5 ok crc=/);
    expect(text).toMatch(/wanted {4}=5 error code=crc_mismatch\n/);
    expect(text).toContain('PASSED\n  hello (3)');
    expect(text).toContain('THE BOARD NOW\n  The board is as it was found.');
  });
});

describe('the checks', () => {
  test('have names of their own, and sections that are in SPEC.md', () => {
    const all = [...CHECKS, ...throughoutChecks];
    expect(new Set(all.map(({ name }) => name)).size).toBe(all.length);
    for (const { name, section } of all) {
      const [part, item] = section.split('.');
      const text = page.split(/^## /m).find((each) => each.startsWith(`${part}. `)) ?? '';
      const found =
        item === undefined ||
        text.includes(`### ${section} `) ||
        new RegExp(`^${item}\\. `, 'm').test(text);
      expect(text !== '' && found, `${name}: ${section}`).toBe(true);
    }
  });

  test('send every verb of the protocol, and see every code that can be provoked over a link', async () => {
    const small = await new CheckedBoard({ build: { places: 24 } }).inUse();
    const report = await small.check();
    const sent = report.checks.flatMap(({ exchanges }) => exchanges.map((each) => each.sent));
    const verbs = sent.map((line) => line.split(' ')[1] ?? '').filter(isVerb);
    // what these would change cannot be put back, and the report says so
    const left = ['load', 'put', 'verify', 'swap', 'confirm'];
    const wanted = Object.keys(VERBS).filter((verb) => !left.includes(verb));
    expect([...new Set(verbs)].sort()).toEqual(wanted.sort());
    expect(report.checks.find(({ name }) => name === 'new firmware')?.says).toContain(left[0]);
    expect(report.codes).toEqual(
      BOARD_CODES.filter((code) => !['busy', 'low_power', 'saturated'].includes(code)).sort(),
    );
  });
});
