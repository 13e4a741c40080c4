import { afterEach, expect, test } from 'vitest';
import { cli } from './command.ts';
import { Running, Simulator } from './processes.ts';

/** The check of a board from the command line, against a simulated board in a process of its own. */

const TIMEOUT = 240_000;
const started: Running[] = [];
afterEach(async () => {
  for (const each of started.splice(0)) await each.kill();
});

test(
  'conform reports on a board behind a WebSocket, and says what it was not given leave for',
  async () => {
    const sim = await Simulator.started('--ws', '0');
    started.push(sim.process);
    const { code, out, err } = await cli('conform', sim.ports[0]!, '--json');
    expect(err).toBe('');
    expect(code).toBe(0);
    const report = JSON.parse(out) as {
      failed: number;
      checks: { name: string; outcome: string; why?: string }[];
      left: { words: string[] };
    };
    expect(report.failed).toBe(0);
    expect(report.left.words).toEqual(['The board is as it was found.']);
    const seal = report.checks.find(({ name }) => name === 'seal');
    expect(seal).toMatchObject({ outcome: 'not tried' });
    expect(seal?.why).toContain('not agreed to');
  },
  TIMEOUT,
);

test(
  'conform says which port cannot be opened, and what is wrong with a command',
  async () => {
    const none = await cli('conform', '/dev/no-such-port');
    expect(none).toMatchObject({ code: 1, out: '' });
    expect(none.err).toContain('/dev/no-such-port');
    expect(await cli('conform')).toMatchObject({ code: 2, out: '' });
    expect(await cli('conform', 'x', '--may-explode')).toMatchObject({ code: 2, out: '' });
  },
  TIMEOUT,
);
