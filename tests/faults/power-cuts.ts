import { expect } from 'vitest';
import { CONDUCT } from '../../firmware-sim/image-slots.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import { CARE_VERBS } from '../../src/protocol/care-messages.ts';
import { crc32 } from '../../src/protocol/crc.ts';
import { hexWord } from '../../src/protocol/fields.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import { setCrc } from '../../src/protocol/messages.ts';
import { plainSet, Terminal } from '../firmware-sim/terminal.ts';

/**
 * Power cut at writes to kept memory of whatever a host does for the care of a board, the byte torn; and again in
 * what the board does when it starts after that.
 */

const OURS = plainSet({ 2: 0.01 });
const IMAGE = formatImage({
  hardware: 'simulated 1',
  version: '1.1',
  program: Uint8Array.from({ length: 40 }, (_, i) => (i === 0 ? CONDUCT.healthy : i)),
  resetsSettings: true,
  replacesCoefficients: true,
});
const CRC = hexWord(crc32(IMAGE));
const HEX = [...IMAGE].map((byte) => byte.toString(16).padStart(2, '0').toUpperCase()).join('');

interface Prepared {
  terminal: Terminal;
  /** The reading that is in its memory, as it is recalled. */
  kept: string;
}

/** A board with a reading, a generation, a name and settings of its own. */
function prepared(): Prepared {
  const terminal = new Terminal({ accNoise: 0, magNoise: 0 }).collect();
  terminal.capture();
  terminal.seal(OURS, 0);
  terminal.ask('rename to=first');
  terminal.ask('change name=sleep value=20');
  terminal.ask('change name=beep value=off');
  terminal.ask('adopt replaces=0');
  return { terminal, kept: recalled(terminal) };
}

const recalled = (terminal: Terminal) => JSON.stringify(terminal.ask('recall reading=1').fields);

const report = (terminal: Terminal) => CARE_VERBS.image.answer.read(terminal.ask('image').fields);

function valueOf(terminal: Terminal, name: string): string {
  const { count } = CARE_VERBS.settings.answer.read(terminal.ask('settings').fields);
  for (let at = 1; at <= count; at++) {
    const setting = CARE_VERBS.setting.answer.read(terminal.ask(`setting at=${at}`).fields);
    if (setting.name === name) return setting.value;
  }
  throw new Error(`The board has no setting ${name}.`);
}

function mustDo(terminal: Terminal, request: string): void {
  const { ok, fields } = terminal.ask(request);
  if (!ok) throw new Error(`Refused: ${request}: ${fields.code}`);
}

/** What a host does, each from wherever the board is. */
export const WORK: Record<string, (terminal: Terminal) => void> = {
  rename: (terminal) => mustDo(terminal, 'rename to=second'),
  settings(terminal) {
    const { revision } = CARE_VERBS.settings.answer.read(terminal.ask('settings').fields);
    mustDo(terminal, 'change name=sleep value=30');
    mustDo(terminal, 'change name=beep value=on');
    mustDo(terminal, `adopt replaces=${revision}`);
  },
  'firmware update'(terminal) {
    for (;;) {
      const { running, trial, state, crc } = report(terminal);
      if (running === '1.1' && !trial) return;
      if (trial) {
        mustDo(terminal, `confirm firmware=${running}`);
      } else if (state === 'checked' && crc === CRC) {
        mustDo(terminal, `swap crc=${CRC}`);
        terminal.connect();
        terminal.hello();
      } else {
        mustDo(terminal, `load size=${IMAGE.length} crc=${CRC}`);
        mustDo(terminal, `put at=0 bytes=${HEX}`);
        mustDo(terminal, `verify crc=${CRC}`);
      }
    }
  },
};

/**
 * Switches the board on and says hello.
 *
 * @param cutInStart write at which power fails in the start itself, if it comes to that; then it is switched on again
 * @returns whether it did
 */
function switchOn(terminal: Terminal, cutInStart = Infinity): boolean {
  terminal.board.cutPowerAtWrite(cutInStart);
  terminal.board.restart();
  const failed = !terminal.board.hasPower;
  terminal.board.cutPowerAtWrite(Infinity);
  if (failed) terminal.board.restart();
  terminal.connect();
  terminal.hello();
  return failed;
}

export function writesOf(work: string): number {
  const { terminal } = prepared();
  const before = terminal.board.memoryWrites;
  WORK[work]!(terminal);
  return terminal.board.memoryWrites - before;
}

/** Does the work with power failing at its n-th write; whether it did fail. */
function interrupted(terminal: Terminal, work: string, n: number): boolean {
  terminal.board.cutPowerAtWrite(n);
  try {
    WORK[work]!(terminal);
  } catch {
    // Whatever the host made of the silence, the board has no power: that is looked at below.
  }
  return !terminal.board.hasPower;
}

/** What must hold of a board whenever it is switched on after anything. */
function expectSound(terminal: Terminal, kept: string): void {
  const { running, trial } = report(terminal);
  expect(['1.0', '1.1']).toContain(running);
  expect(trial && running === '1.0').toBe(false);
  expect(recalled(terminal)).toBe(kept);
  const inForce = terminal.ask('coefficients which=in_force').fields;
  expect([setCrc(OURS), setCrc(plainSet())]).toContain(inForce.crc![0]);
  const pair = `${valueOf(terminal, 'sleep')} ${valueOf(terminal, 'beep')}`;
  expect(['20 off', '30 on', '10 on']).toContain(pair);
}

/**
 * Cuts power at some writes of a piece of work, and looks at the board after each; then does the work without a cut.
 *
 * @param at the writes, from 1
 * @param inStart for each, at which write of the start that follows power fails again; Infinity for not
 * @returns how often it failed in a start
 */
export function sweep(
  work: string,
  at: Iterable<number>,
  inStart: (n: number) => number = () => Infinity,
): number {
  let failedInStart = 0;
  for (const n of at) {
    const { terminal, kept } = prepared();
    expect(interrupted(terminal, work, n)).toBe(true);
    if (switchOn(terminal, inStart(n))) failedInStart++;
    expectSound(terminal, kept);
    WORK[work]!(terminal);
    expectSound(terminal, kept);
  }
  return failedInStart;
}

/** Whatever work, cut again and again at seeded writes, in starts too; done without a cut at last. */
export function expectSoundThroughCuts(seed: number): void {
  const random = randomStream(seed, 'cuts');
  const { terminal, kept } = prepared();
  for (let cut = 0; cut < 5; cut++) {
    const names = Object.keys(WORK);
    const cutShort = interrupted(
      terminal,
      names[random.below(names.length)]!,
      1 + random.below(500),
    );
    if (cutShort) switchOn(terminal, 1 + random.below(64));
    else terminal.board.cutPowerAtWrite(Infinity);
    terminal.hello();
    expectSound(terminal, kept);
  }
  for (const work of Object.values(WORK)) work(terminal);
  expect(report(terminal)).toMatchObject({ running: '1.1', trial: false });
  expect(terminal.hello().name).toEqual(['second']);
  expectSound(terminal, kept);
}
