import { PassThrough } from 'node:stream';
import { afterEach, describe, expect, test } from 'vitest';
import { askToPress } from '../../src/cli/conform.ts';
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
    expect(out).not.toContain('--may-');

    const { out: text } = await cli('conform', sim.ports[0]!);
    for (const option of ['erase', 'set', 'seal', 'seal-first', 'restart']) {
      expect(text).toMatch(new RegExp(`not agreed to \\(--may-${option}\\):\n`));
    }
    const pressed = await cli('conform', sim.ports[0]!, '--may-erase');
    expect(pressed.out).toContain('nobody was there to press the trigger (--press):');
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

describe('asked to press the trigger,', () => {
  /** Streams that the prompt takes for a terminal, where Ctrl-C comes as a key. */
  function terminal() {
    const input = new PassThrough();
    const output = Object.assign(new PassThrough(), { isTTY: true, columns: 80 });
    output.resume();
    return { input, output };
  }

  test('Enter says that it is done', async () => {
    const { input, output } = terminal();
    const asked = askToPress(input, output, new AbortController().signal);
    input.write('\n');
    await expect(asked).resolves.toBeUndefined();
  });

  test('Ctrl-C stops the run, as a key and as a signal', async () => {
    const { input, output } = terminal();
    const asked = askToPress(input, output, new AbortController().signal);
    input.write('\x03');
    await expect(asked).rejects.toMatchObject({ name: 'Stopped' });
    const stop = new AbortController();
    const again = askToPress(input, output, stop.signal);
    stop.abort();
    await expect(again).rejects.toMatchObject({ name: 'Stopped' });
    await expect(askToPress(input, output, stop.signal)).rejects.toMatchObject({ name: 'Stopped' });
  });

  test('an input at its end means that nobody is there, each time', async () => {
    const { input, output } = terminal();
    const asked = askToPress(input, output, new AbortController().signal);
    input.end();
    await expect(asked).rejects.toMatchObject({ name: 'NotTried' });
    const again = askToPress(input, output, new AbortController().signal);
    await expect(again).rejects.toMatchObject({ name: 'NotTried' });
  });
});
