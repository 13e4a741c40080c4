import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { afterEach, expect, test } from 'vitest';
import { cli, scratch } from './command.ts';
import { Running, Simulator } from './processes.ts';

/** Board care and rescue from the command line, against simulated boards in a process of their own. */

const TIMEOUT = 240_000;
const started: { end(): Promise<unknown> }[] = [];
afterEach(async () => {
  for (const each of started.splice(0).reverse()) await each.end();
});

test(
  'an image that was signed by hand is refused by another hardware, sent, broken off by a kill, and finished by the same command',
  async () => {
    const sim = await Simulator.started('--ws', '0', '--seed', '21');
    started.push(sim);
    const [port] = sim.ports as [string];
    const file = scratch();
    execFileSync('openssl', ['genpkey', '-algorithm', 'ed25519', '-out', file('key.pem')]);
    writeFileSync(
      file('program'),
      Uint8Array.from({ length: 3000 }, (_, i) => (i === 0 ? 0 : 7)),
    );
    const make = (hardware: string, name: string) =>
      cli(
        ...['image', file('program'), '--hardware', hardware, '--version', '1.1'],
        ...['--out', file(name), '--sign', file('key.pem'), '--resets-settings'],
      );
    const made = await make('simulated 1', 'fits');
    expect(made).toMatchObject({ code: 0, err: '' });
    expect(made.out).toMatch(/3128 bytes[^]*key=[0-9A-F]{64} /);
    expect(await make('tin/2', 'other')).toMatchObject({ code: 0 });
    const save = ['--save', file('board.json')];
    const refused = await cli('firmware', port, file('other'), ...save);
    expect(refused.code).toBe(1);
    expect(refused.err).toContain('for boards of the kind “tin/2”');

    const first = new Running('src/cli/main.ts', ['firmware', port, file('fits'), ...save]);
    started.push({ end: () => first.kill() });
    await first.says(/Sent: [1-9]\d* of 3128/);
    await first.kill();
    const second = await cli('firmware', port, file('fits'), ...save);
    expect(second).toMatchObject({ code: 0, err: '' });
    expect(second.out).toContain('saved already');
    expect(second.out).toContain('The board runs version 1.1, confirmed.');
    expect(JSON.parse(readFileSync(file('board.json'), 'utf8'))).toMatchObject({
      firmwareChange: { state: 'finished' },
    });
  },
  TIMEOUT,
);

test(
  'what ails a board is told, with what can be done, and wrong usage is said',
  async () => {
    const sim = await Simulator.started('--ws', '0', '--seed', '22');
    started.push(sim);
    const [port] = sim.ports as [string];
    expect(await sim.hand('ails noise')).toBe('board 1: ails: noise');
    const noise = await cli('rescue', port);
    expect(noise.code).toBe(1);
    expect(noise.err).toBe('What comes is noise.\n');
    expect(noise.out).toMatch(/Nothing that the board keeps was changed[^]*1\. It is most likely/);
    expect(await sim.hand('ails restarts')).toBe('board 1: ails: restarts');
    expect(JSON.parse((await cli('rescue', port, '--json')).out)).toMatchObject({
      cause: 'restarting',
    });
    for (const args of [
      ['memory', port, '--erase'],
      ['settings', port, '--set', 'sleep'],
      ['light', port, 'dim'],
      ['firmware', port, 'image', '--back'],
      ['image', 'program'],
    ]) {
      expect(await cli(...args)).toMatchObject({ code: 2, out: '' });
    }
  },
  TIMEOUT,
);
