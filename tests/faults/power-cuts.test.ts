import { expect, test } from 'vitest';
import type { CoefficientSet } from '../../src/protocol/coefficient-set.ts';
import { setCrc, VERBS } from '../../src/protocol/messages.ts';
import { plainSet, Terminal } from '../firmware-sim/terminal.ts';

const [one, two, three] = [
  plainSet({ 2: 0.01, 20: 0.5 }),
  plainSet({ 2: 0.02, 21: 0.25 }),
  plainSet({ 2: 0.03, 22: 0.125 }),
] as const;

/** A board with two readings (one of them erased) and two generations, ready for the next step; noise out of the way. */
function prepared(): { terminal: Terminal; kept: string } {
  const terminal = new Terminal({ accNoise: 0, magNoise: 0 }).collect();
  terminal.capture();
  terminal.capture();
  terminal.ask('erase through=1');
  terminal.seal(one, 0);
  terminal.seal(two, 1);
  terminal.stage(three);
  terminal.ask('mode set=collect');
  return { terminal, kept: JSON.stringify(terminal.ask('recall reading=2').fields) };
}

function holds(terminal: Terminal, which: string): { generation: number; set: CoefficientSet } {
  const { generation, crc, ...set } = VERBS.coefficients.answer.read(
    terminal.ask(`coefficients which=${which}`).fields,
  );
  expect(crc).toBe(setCrc(set));
  return { generation, set };
}

/** How many bytes a step writes when nothing goes wrong. */
function writesOf(step: string): number {
  const { terminal } = prepared();
  const before = terminal.board.memoryWrites;
  expect(terminal.ask(step).ok).toBe(true);
  return terminal.board.memoryWrites - before;
}

/**
 * Carries out a step with power failing at each of its writes in turn, and hands the board, switched on again,
 * to `look`; the one after the last write shows what the step does when it is whole.
 */
function atEveryWrite(step: string, look: (terminal: Terminal, cutAt: number) => void): number {
  const writes = writesOf(step);
  expect(writes).toBeGreaterThan(8);
  for (let n = 1; n <= writes; n++) {
    const { terminal, kept } = prepared();
    terminal.board.cutPowerAtWrite(n);
    expect(() => terminal.ask(step)).toThrow('No answer');
    expect(terminal.board.hasPower).toBe(false);
    terminal.board.restart();
    terminal.connect();
    expect(terminal.hello().serial?.[0]).toMatch(/^SIM-/);
    look(terminal, n);
    if (!step.startsWith('erase')) {
      expect(JSON.stringify(terminal.ask('recall reading=2').fields)).toBe(kept);
    }
  }
  return writes;
}

const OLD = { generation: 2, set: two };

test('power cut at any write of a seal leaves the old generation or the new one, and sealing goes on', () => {
  const seen = new Set<number>();
  const step = `seal replaces=2 crc=${setCrc(three)}`;
  const writes = atEveryWrite(step, (terminal, n) => {
    const inForce = holds(terminal, 'in_force');
    seen.add(inForce.generation);
    expect([OLD, { generation: 3, set: three }]).toContainEqual(inForce);
    const previous = holds(terminal, 'previous');
    expect(previous).toEqual(inForce.generation === 2 ? { generation: 1, set: one } : OLD);
    // Nothing is worn out or in the way: the next seal takes, even if power fails in it too.
    terminal.board.cutPowerAtWrite(n);
    expect(() => terminal.seal(three, inForce.generation)).toThrow('No answer');
    terminal.board.restart();
    terminal.connect();
    terminal.hello();
    const { generation } = holds(terminal, 'in_force');
    expect(terminal.seal(one, generation)).toBe(true);
    expect(holds(terminal, 'in_force')).toEqual({ generation: generation + 1, set: one });
  });
  expect(writes).toBeGreaterThan(100);
  expect(seen).toContain(2);
});

test('power cut at any write of a revert leaves the set in force or the one before it', () => {
  atEveryWrite('revert replaces=2', (terminal) => {
    expect([OLD, { generation: 3, set: one }]).toContainEqual(holds(terminal, 'in_force'));
  });
});

test('power cut at any write of a capture leaves the reading whole or not there, and its number is not given twice', () => {
  atEveryWrite('capture', (terminal) => {
    const { first, last, count } = VERBS.memory.answer.read(terminal.ask('memory').fields);
    expect(first).toBe(2);
    expect([2, 3]).toContain(last);
    // What the board told of is there.
    if (terminal.heard.includes(' reading reading=3 ')) expect(last).toBe(3);
    expect(count).toBe(last - first + 1);
    if (last === 3) expect(terminal.ask('recall reading=3').fields.generation).toEqual(['2']);
    terminal.ask('mode set=collect');
    expect(terminal.capture().reading).toEqual([String(last + 1)]);
  });
});

test('power cut at any write of an erasure leaves the readings there or gone, and never brings back one erased before', () => {
  atEveryWrite('erase through=2', (terminal) => {
    const { count } = VERBS.memory.answer.read(terminal.ask('memory').fields);
    expect([0, 1]).toContain(count);
    expect(terminal.refusal('recall reading=1')).toBe('no_such_reading');
    expect(terminal.refusal('recall reading=2')).toBe(count === 1 ? undefined : 'no_such_reading');
    terminal.ask('mode set=collect');
    expect(terminal.capture().reading).toEqual(['3']);
    expect(terminal.ask('erase through=3').fields.erased).toEqual([String(count + 1)]);
  });
});
