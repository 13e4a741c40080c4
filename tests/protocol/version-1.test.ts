import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { Terminal } from '../firmware-sim/terminal.ts';
import { linkBoard } from '../../src/protocol/board.ts';
import { ScriptedLink } from './scripted-board.ts';
import { HOST, linesOf, NEW } from './spec-example.ts';
import { VirtualClock } from './virtual-clock.ts';

/**
 * The example exchange of SPEC.md as it stood when version 1 was first written, before boards told of settings and took
 * firmware. It never changes: a host of today must hold this conversation with a board of that day, word for word.
 */
const lines = linesOf(readFileSync(new URL('./version-1-exchange.txt', import.meta.url), 'utf8'));

test('a host of today speaks with the first boards of version 1 word for word as then', async () => {
  const link = new ScriptedLink();
  let at = 0;
  link.script = (heard) => {
    expect(`> ${heard}`).toBe(lines[at++]);
    while (lines[at]?.startsWith('<')) link.sayText(`${lines[at++]!.slice(2)}\n`);
  };
  const clock = new VirtualClock();
  const readings: number[] = [];
  const board = await clock.until(
    linkBoard(link, {
      clock,
      random: () => HOST / 2 ** 32,
      onReading: ({ reading }) => readings.push(reading),
      onLost: (error) => {
        throw error;
      },
    }),
  );
  expect(board.identity.capabilities).toEqual(['kept', 'trigger']);
  const played = async () => {
    await board.sense();
    await board.mode('collect');
    await board.capture();
    await board.memory();
    await board.recall(2);
    await board.mode('idle');
    await board.capture().catch(() => {});
    const crc = await board.stage(NEW);
    const sealed = await board.seal(board.identity.generation, crc);
    await board.coefficients('in_force');
    await board.revert(sealed);
    await board.coefficients('in_force');
    await board.erase(2);
  };
  await clock.until(played());
  expect(at).toBe(lines.length);
  expect(readings).toEqual([1, 2]);
});

test('a board of today understands every request of that day', async () => {
  const terminal = new Terminal();
  for (const line of lines.filter((each) => each.startsWith('> '))) {
    const said = terminal.type(`${line.slice(2)}\n`).join('\n');
    if (line.includes(' capture ')) await terminal.board.press();
    expect(said).not.toMatch(/code=(bad_line|bad_check|unknown_verb|bad_field)/);
  }
});
