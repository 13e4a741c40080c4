import { spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { dirname } from 'node:path';
import { afterEach, expect, test } from 'vitest';
import { Simulator } from '../cli/processes.ts';
import { needDebian } from '../browser/debian.ts';

const TIMEOUT = 120_000;
const ROOT = new URL('../..', import.meta.url).pathname;

const started: Simulator[] = [];
afterEach(async () => {
  for (const each of started.splice(0)) await each.end();
});

const run = (args: string[], env: NodeJS.ProcessEnv = process.env) =>
  spawnSync(process.execPath, ['--import', 'tsx', 'sim/main.ts', ...args], {
    cwd: ROOT,
    env,
    encoding: 'utf8',
  });

test(
  'several boards run at once, each of its kind and with its seed, and nothing is left when they end',
  async () => {
    needDebian({ socat: '/usr/bin/socat' });
    const sim = await Simulator.started(
      ...['--board', 'kind=ring,seed=5', '--board', 'kind=bare', '--pty', '--ws', '0'],
    );
    started.push(sim);
    expect(sim.process.out).toMatch(/^board 1: \S+ and ws:\S+\/1 \(SIM-\w+, kind ring, seed 5\)$/m);
    expect(sim.process.out).toMatch(/^board 2: \S+ and ws:\S+\/2 \(SIM-\w+, kind bare, seed 2\)$/m);
    expect(await sim.hand('press')).toContain('Say which board');
    expect(await sim.hand('2 press')).toBe('board 2: This board has no trigger.');
    expect(await sim.hand('1 aim 1 2 3')).toBe('board 1: held at azimuth 1, inclination 2, roll 3');
    expect(await sim.hand('3 press')).toContain('no board 3');
    for (const port of sim.ports) expect(existsSync(port)).toBe(true);
    started.pop();
    expect(await sim.end()).toBe(0);
    expect(existsSync(dirname(sim.ports[0]!))).toBe(false);
  },
  TIMEOUT,
);

test(
  'where there is no socat, that is said, and the WebSocket serves',
  async () => {
    const { PATH, ...rest } = process.env;
    expect(PATH).toBeDefined();
    const sim = await Simulator.startedIn({ ...rest, PATH: '/nowhere' }, '--pty', '--ws', '0');
    started.push(sim);
    expect(sim.process.err).toContain('no socat');
    expect(sim.ports[0]).toMatch(/^ws:/);
  },
  TIMEOUT,
);

test(
  'what is written wrongly ends with 2 and says how it is written; what cannot be done ends with 1',
  async () => {
    for (const args of [['--boards', 'many'], ['--kind', 'none'], ['--fly'], ['--ws', '70000']]) {
      const { status, stderr } = run(args);
      expect([args, status]).toEqual([args, 2]);
      expect(stderr).toContain('Usage');
    }
    expect(run(['--help'])).toMatchObject({ status: 0, stderr: '' });
    const first = await Simulator.started('--ws', '0');
    started.push(first);
    const taken = run(['--ws', new URL(first.ports[0]!).port]);
    expect(taken.status).toBe(1);
    expect(taken.stderr).toContain('in use by another program');
  },
  TIMEOUT,
);
