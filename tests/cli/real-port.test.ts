import { readFileSync, writeFileSync } from 'node:fs';
import { dirname } from 'node:path';
import { Ajv } from 'ajv';
import { afterEach, beforeAll, describe, expect, test } from 'vitest';
import { needDebian } from '../browser/debian.ts';
import { cli, scratch } from './command.ts';
import { Running, Simulator } from './processes.ts';

/** The command line against simulated boards in a process of their own, over real pseudo-terminals and sockets. */

const TIMEOUT = 240_000;
const started: { end(): Promise<unknown> }[] = [];

beforeAll(() => needDebian({ socat: '/usr/bin/socat' }), TIMEOUT);
afterEach(async () => {
  for (const each of started.splice(0).reverse()) await each.end();
});

async function simulator(...args: string[]): Promise<Simulator> {
  const sim = await Simulator.started(...args);
  started.push(sim);
  return sim;
}

function running(...args: string[]): Running {
  const command = new Running('src/cli/main.ts', args);
  started.push({ end: () => command.kill() });
  return command;
}

const AIM = /^Aim: azimuth ([\d.-]+), inclination ([\d.-]+), roll ([\d.-]+) .*\n/m;

/**
 * Does what `collect` asks, as a hand at the board would: aims, and has the reading taken, so many times.
 *
 * @returns how far its words were heard
 */
async function follow(
  sim: Simulator,
  command: Running,
  take: () => void | Promise<unknown>,
  readings: number,
): Promise<number> {
  let heard = 0;
  const next = async (pattern: RegExp) => {
    const found = await command.says(pattern, heard);
    heard += found.index + found[0].length;
    return found;
  };
  for (let taken = 0; taken < readings; taken++) {
    const [, azimuth, inclination, roll] = await next(AIM);
    await sim.hand(`aim ${azimuth} ${inclination} ${roll}`);
    await take();
    await next(/^Reading \d+ stored.*\n/m);
  }
  return heard;
}

const rows = (path: string) =>
  readFileSync(path, 'utf8')
    .trim()
    .split('\n')
    .filter((line) => !line.startsWith('#'))
    .slice(1);

const isValid = new Ajv({ allErrors: true, strict: false }).compile(
  JSON.parse(
    readFileSync(new URL('../../docs/schemas/board-1.schema.json', import.meta.url), 'utf8'),
  ),
);

function expectValid(path: string): void {
  isValid(JSON.parse(readFileSync(path, 'utf8')));
  expect(isValid.errors ?? []).toEqual([]);
}

/** A board's whole calibration on the command line; resolves with where its files are. */
async function wholeJob(
  sim: Simulator,
  take: 'trigger' | 'capture',
  readings: number,
): Promise<(name: string) => string> {
  const [port] = sim.ports as [string];
  const file = scratch();
  const collected = async (out: string, count: number) => {
    const command = running(
      ...['collect', port, '--out', file(out), '--readings', String(count)],
      ...(take === 'capture' ? ['--capture'] : []),
    );
    await follow(
      sim,
      command,
      () => (take === 'capture' ? command.type('') : sim.hand('press')),
      count,
    );
    expect(await command.ended).toBe(0);
    expect(rows(file(out))).toHaveLength(count);
  };

  const who = await cli('identify', port);
  expect(who).toMatchObject({ code: 0, err: '' });
  expect(who.out).toMatch(/Serial number +SIM-/);
  expect(who.out).toMatch(/Generation in force +none yet/);

  const before = await cli('save', port, '--out', file('before.json'));
  expect(before).toMatchObject({ code: 0, err: '' });
  expect(JSON.parse(readFileSync(file('before.json'), 'utf8'))).toMatchObject({
    type: 'lodebench.board',
    coefficients: {},
    readings: [],
  });

  await collected('readings.csv', readings);
  const fitted = await cli('fit', file('readings.csv'), '--out', file('new.json'), '--json');
  expect(fitted.code).toBe(0);
  const { meanSpread, setAside } = JSON.parse(fitted.out) as {
    meanSpread: number;
    setAside: unknown[];
  };
  // aims of 0.1° and the noise of an ordinary board: see the mean spread of the simulated calibrations in tests/cli
  expect(meanSpread).toBeLessThan(0.5);
  expect(setAside.length).toBeLessThan(3);

  const early = await cli('verify', port, file('new.json'));
  expect(early.code).toBe(1);
  expect(early.err).toContain('no coefficients in force');

  const sealed = await cli('seal', port, file('new.json'), '--save', file('first.json'));
  expect(sealed).toMatchObject({ code: 0, err: '' });
  expect(sealed.out).toContain('Sealed as generation 1');
  expect(sealed.out).toContain('every bit');
  expect(sealed.out).toContain('see that the board applies them');
  expect(JSON.parse(readFileSync(file('first.json'), 'utf8')).readings).toHaveLength(readings);

  const twice = await cli('seal', port, file('new.json'));
  expect(twice).toMatchObject({ code: 0 });
  expect(twice.out).toContain('already');

  await collected('proof.csv', 2);
  const verified = await cli('verify', port, file('new.json'));
  expect(verified).toMatchObject({ code: 0, err: '' });
  expect(verified.out).toContain('bit for bit, as generation 1');
  expect(verified.out).toMatch(/not that they are right\. .+“Prove”.+“apply”/);
  expect(verified.out).toMatch(/inclination against ours: 0\.00\d+° at most over 3;/);

  for (const name of ['before.json', 'first.json']) expectValid(file(name));
  return file;
}

/** From a board that runs its first coefficients to others, and back. */
async function thereAndBack(port: string, file: (name: string) => string): Promise<void> {
  const none = await cli('revert', port);
  expect(none.code).toBe(1);
  expect(none.err).toContain('no coefficients before');

  // another set, so that there is one to go back to
  const other = JSON.parse(readFileSync(file('new.json'), 'utf8')) as { o: number[] };
  other.o[0] = Math.fround(other.o[0]! + 0.001);
  delete (other as Record<string, unknown>)['calibration'];
  writeFileSync(file('other.json'), JSON.stringify(other));
  const second = await cli('seal', port, file('other.json'));
  expect(second.out).toContain('Sealed as generation 2');
  const [, saved2] = /^Saved in (.+): \d+ readings/m.exec(second.out) ?? [];
  expect(dirname(saved2!)).toBe(dirname(file('other.json')));
  expectValid(saved2!);
  const differs = await cli('verify', port, file('new.json'));
  expect(differs.code).toBe(1);
  expect(differs.err).toContain('1 of 26 numbers differ');

  const reverted = await cli('revert', port, '--save', file('third.json'));
  expect(reverted).toMatchObject({ code: 0, err: '' });
  expect(reverted.out).toContain('as generation 3');
  expect((await cli('verify', port, file('new.json'))).code).toBe(0);

  // a board's content holds what was in force then
  const saidOf = await cli('verify', port, file('third.json'));
  expect(saidOf.code).toBe(1);
  expect(saidOf.err).toContain('give the coefficients file that was sealed');

  // what was saved of a set is a coefficients file by itself
  expectValid(file('third.json'));
  const saved = JSON.parse(readFileSync(file('third.json'), 'utf8')) as {
    coefficients: Record<'inForce' | 'previous', { generation: number; file: object }>;
  };
  expect(saved.coefficients).toMatchObject({
    inForce: { generation: 2 },
    previous: { generation: 1 },
  });
  writeFileSync(file('saved.json'), JSON.stringify(saved.coefficients.previous.file));
  expect((await cli('verify', port, file('saved.json'))).code).toBe(0);
}

describe('on a real serial port', () => {
  test(
    'a board is identified, saved, read by its trigger, fitted, sealed, verified and put back',
    async () => {
      const sim = await simulator('--pty', '--seed', '11');
      await thereAndBack(sim.ports[0]!, await wholeJob(sim, 'trigger', 56));
    },
    TIMEOUT,
  );
});

describe('over a WebSocket', () => {
  test(
    'a board is identified, saved, read on request, fitted, sealed and verified',
    async () => {
      await wholeJob(await simulator('--ws', '0', '--seed', '12'), 'capture', 24);
    },
    TIMEOUT,
  );
});

describe('readings are collected so that none is lost or taken twice', () => {
  test(
    'when the link drops in the middle of one, and comes back',
    async () => {
      const sim = await simulator('--pty');
      const file = scratch();
      const command = running('collect', sim.ports[0]!, '--out', file('r.csv'), '--readings', '4');
      await command.says(AIM);
      await sim.hand('press');
      await command.says(/Reading 1 stored/);
      // so many bytes that the reading is on its way, and torn
      await sim.hand('drop 60');
      await sim.hand('press');
      await command.says(/Linking again/);
      await command.says(/Reading 2 fetched from the board’s memory: 2 of 4/);
      let heard = command.out.indexOf('Reading 2 fetched');
      for (const number of [3, 4]) {
        const { index } = await command.says(AIM, heard);
        heard += index + 1;
        await sim.hand('press');
        await command.says(new RegExp(`Reading ${number} stored`), heard);
      }
      expect(await command.ended).toBe(0);
      expect(rows(file('r.csv')).map((row) => row.split(',')[0])).toEqual(['1', '2', '3', '4']);
      expect(rows(file('r.csv')).map((row) => row.split(',').at(-1))).toEqual([
        '0',
        '90',
        '180',
        '270',
      ]);
    },
    TIMEOUT,
  );

  test(
    'when the program is killed, and started again with the same command',
    async () => {
      const sim = await simulator('--ws', '0');
      const file = scratch();
      const args = ['collect', sim.ports[0]!, '--out', file('r.csv'), '--readings', '3'];
      const first = running(...args);
      await first.says(AIM);
      await sim.hand('press');
      await first.says(/Reading 1 stored/);
      await first.kill();
      const stored = readFileSync(file('r.csv'), 'utf8');
      expect(rows(file('r.csv'))).toHaveLength(1);

      const second = running(...args);
      await second.says(/holds 1 readings; they stay/);
      const aim = await second.says(AIM);
      expect(aim.slice(1)).toEqual(['0', '0', '90']);
      await sim.hand('press');
      await second.says(/Reading 2 stored/);
      expect(await second.interrupt()).toBe(1);
      expect(second.err).toContain('2 of 3 readings are stored');
      expect(readFileSync(file('r.csv'), 'utf8').split('\n')[4]).toBe(stored.split('\n')[4]);

      // taken while nobody collects: nobody knows where it was aimed
      const elsewhere = running(
        'collect',
        sim.ports[0]!,
        '--out',
        file('other.csv'),
        '--readings',
        '1',
      );
      await elsewhere.says(AIM);
      await sim.hand('press');
      expect(await elsewhere.ended).toBe(0);

      const third = running(...args);
      await third.says(
        /Left out, because where they were aimed is not known: 1 readings on the board \(3\)/,
      );
      await third.says(AIM);
      await sim.hand('press');
      expect(await third.ended).toBe(0);
      expect(rows(file('r.csv')).map((row) => row.split(',')[0])).toEqual(['1', '2', '4']);
    },
    TIMEOUT,
  );

  test(
    'when the board’s memory is full: it is saved, forgotten, and collecting goes on',
    async () => {
      const sim = await simulator('--ws', '0', '--kind', 'bare');
      const [port] = sim.ports as [string];
      const file = scratch();
      const args = ['collect', port, '--out', file('r.csv'), '--readings', '22'];
      const untriggered = await cli(...args);
      expect(untriggered.code).toBe(1);
      expect(untriggered.err).toContain('--capture');

      const first = running(...args, '--capture');
      const heard = await follow(sim, first, () => first.type(''), 20);
      await first.says(AIM, heard);
      first.type('');
      expect(await first.ended).toBe(1);
      expect(first.err).toContain('memory is full');
      expect(first.err).toContain('20 of 22 readings are stored');

      expect((await cli('save', port, '--out', file('board.json'), '--make-room')).out).toContain(
        'forgotten 20 readings',
      );
      expect(JSON.parse(readFileSync(file('board.json'), 'utf8')).readings).toHaveLength(20);
      const again = await cli('save', port, '--out', file('board.json'));
      expect(again.code).toBe(1);
      expect(again.err).toContain('there is a file of that name');

      const second = running(...args, '--capture');
      await follow(sim, second, () => second.type(''), 2);
      expect(await second.ended).toBe(0);
      expect(rows(file('r.csv'))).toHaveLength(22);
    },
    TIMEOUT,
  );

  test(
    'and not into a file that is something else, or another board’s',
    async () => {
      const sim = await simulator('--boards', '2', '--ws', '0');
      const [one, two] = sim.ports as [string, string];
      const file = scratch();
      writeFileSync(file('mine.csv'), 'id,ax,ay,az,mx,my,mz\n1,1,2,3,4,5,6\n');
      const foreign = await cli('collect', one, '--out', file('mine.csv'));
      expect(foreign.code).toBe(1);
      expect(foreign.err).toContain('not begun by');
      expect(readFileSync(file('mine.csv'), 'utf8')).toContain('1,1,2,3,4,5,6');

      const first = running('collect', one, '--out', file('r.csv'), '--readings', '1');
      await first.says(AIM);
      await sim.hand('1 press');
      expect(await first.ended).toBe(0);
      const wrong = await cli('collect', two, '--out', file('r.csv'));
      expect(wrong.code).toBe(1);
      expect(wrong.err).toMatch(/holds readings of board SIM-\w+, and board SIM-\w+ is linked/);
    },
    TIMEOUT,
  );
});

describe('a seal whose answer is lost with the link', () => {
  test(
    'is looked up over a new one: it is told whether it was carried out, and it is not made twice',
    async () => {
      const sim = await simulator('--ws', '0');
      const [port] = sim.ports as [string];
      const file = scratch();
      writeFileSync(file('set.json'), SET);
      const whole = await cli(
        ...['seal', port, file('set.json'), '--save', file('0.json'), '--record', file('whole')],
      );
      expect(whole).toMatchObject({ code: 0, err: '' });

      // The same conversation, but that the link is lost when the seal was asked for; what the next one finds is what
      // the first had found before the seal, or after it.
      const lines = readFileSync(file('whole'), 'utf8').trim().split('\n');
      const at = (words: string) => lines.findIndex((line) => line.includes(words));
      const pair = (from: number) => lines.slice(from, from + 2);
      const hello = [...pair(at(' hello ')), ...pair(at(' memory '))];
      const [sealing, looked] = [at(' seal '), at(' coefficients ')];
      const found = { unchanged: pair(looked), sealed: pair(sealing + 2) };
      const played = (outcome: keyof typeof found) =>
        [
          ...lines.slice(0, sealing + 1),
          '0 - gone pulled',
          '0 + again',
          ...[...hello, ...found[outcome], ...found[outcome]],
        ]
          .map((line, i) => (i === 0 ? line : line.replace(/^\d+/, '5')))
          .join('\n');

      const sealOf = async (outcome: keyof typeof found) => {
        writeFileSync(file(outcome), played(outcome));
        const save = ['--save', file(`${outcome}.json`)];
        return cli('seal', `play:${file(outcome)}`, file('set.json'), ...save);
      };
      const done = await sealOf('sealed');
      expect(done).toMatchObject({ code: 0, err: '' });
      expect(done.out).toContain('pulled');
      expect(done.out).toContain('Sealed as generation 1, and read back');
      const not = await sealOf('unchanged');
      expect(not.code).toBe(1);
      expect(not.err).toContain('was not carried out: the board runs generation 0, as before');
    },
    TIMEOUT,
  );
});

/** Coefficients of perfect chips. */
const SET = JSON.stringify({
  type: 'lodebench.coefficients',
  version: 1,
  model: 'straight',
  accScale: 16384,
  magScale: 3400,
  o: [0, 0, 0],
  A: [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
  ],
  p: [0, 0, 0],
  B: [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
  ],
  q: [0, 0, 0],
});
