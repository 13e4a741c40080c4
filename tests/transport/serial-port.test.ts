import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest';
import { boardFrom } from '../../sim/board-line.ts';
import { HostedBoard } from '../../sim/hosted-board.ts';
import { PseudoTerminal } from '../../sim/pseudo-terminal.ts';
import type { LinkError } from '../../src/protocol/link.ts';
import { listSerialPorts, serialPortLink } from '../../src/transport/serial-port.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import { needDebian } from '../browser/debian.ts';
import { byteLinkContract } from './contract.ts';
import { PROBE } from './probe.ts';
import { until, watchedLink } from './real-time.ts';

/** The package `serialport` on a pseudo-terminal of this machine, with a simulated board at its other end. */

let folder: string;
let count = 0;
const terminals: PseudoTerminal[] = [];

beforeAll(async () => {
  needDebian({ socat: '/usr/bin/socat' });
  folder = await mkdtemp(join(tmpdir(), 'lodebench-serial-'));
}, 180_000);
afterEach(async () => {
  for (const terminal of terminals.splice(0)) await terminal.end();
});
afterAll(() => rm(folder, { recursive: true, force: true }));

async function plugged(): Promise<{ board: HostedBoard; path: string }> {
  const board = new HostedBoard(boardFrom(''), realClock);
  const path = join(folder, String(++count));
  terminals.push(await PseudoTerminal.at(path, board));
  return { board, path };
}

const deaf = { bytes: () => {}, closed: () => {} };

byteLinkContract('a serial port', async () => {
  const { path } = await plugged();
  const terminal = terminals.at(-1)!;
  const link = watchedLink(serialPortLink(path));
  return {
    ...link,
    probe: PROBE,
    drop: async () => {
      await terminal.replug();
      await link.ended();
    },
    run: (work) => work,
    end: () => {},
  };
});

describe('a serial port', () => {
  test('that is not there cannot be reached, and the message says what lists those that are', async () => {
    const opening = serialPortLink(join(folder, 'nothing')).open(deaf);
    await expect(opening).rejects.toMatchObject({
      name: 'LinkError',
      cause: 'unreachable',
      message: expect.stringContaining('ports'),
    });
  });

  test('that is a file is no board', async () => {
    const file = join(folder, 'a file');
    await writeFile(file, 'words');
    await expect(serialPortLink(file).open(deaf)).rejects.toMatchObject({ cause: 'no_board' });
  });

  test('that another program has open is in use, and that program keeps it', async () => {
    const { path } = await plugged();
    let heard = '';
    const first = serialPortLink(path);
    await first.open({
      bytes: (chunk) => (heard += new TextDecoder().decode(chunk)),
      closed: () => {},
    });
    await expect(serialPortLink(path).open(deaf)).rejects.toMatchObject({ cause: 'in_use' });
    await first.write(PROBE.send);
    await until(() => heard.includes(PROBE.answer), 'an answer to the first');
    await first.close();
    const second = serialPortLink(path);
    await second.open(deaf);
    await second.close();
  });

  test('closed and opened again while an opening waits for its port, is open for the one who asked last', async () => {
    const { board, path } = await plugged();
    let heard = '';
    let isOver = false;
    const link = serialPortLink(path);
    await link.open({ bytes: () => {}, closed: () => (isOver = true) });
    await terminals.pop()!.end();
    await until(() => isOver, 'the end');
    const first = link.open(deaf).catch(({ cause }: LinkError) => cause);
    await link.close();
    terminals.push(await PseudoTerminal.at(path, board));
    await link.open({
      bytes: (chunk) => (heard += new TextDecoder().decode(chunk)),
      closed: () => {},
    });
    expect(await first).toBe('closed');
    await link.write(PROBE.send);
    await until(() => heard.includes(PROBE.answer), 'the answer');
    await link.close();
  });

  test('unplugged for good, cannot be reached when it is opened again', async () => {
    const { path } = await plugged();
    const link = serialPortLink(path);
    const ends: string[] = [];
    await link.open({ bytes: () => {}, closed: ({ cause }) => ends.push(cause) });
    await terminals.pop()!.end();
    await until(() => ends.length > 0, 'the end');
    expect(ends).toEqual(['gone']);
    await expect(link.open(deaf)).rejects.toMatchObject({ cause: 'unreachable' });
  });
});

test('the serial ports of this machine are listed with their paths', async () => {
  for (const { path } of await listSerialPorts()) expect(path).not.toBe('');
});
