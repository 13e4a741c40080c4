import { expect } from 'vitest';
import { CONDUCT } from '../../firmware-sim/image-slots.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import { setCrc } from '../../src/protocol/messages.ts';
import { readingsAmong } from '../../src/steps/board-memory.ts';
import { openUpdate } from '../../src/steps/care/care-history.ts';
import { careOf } from '../../src/steps/care/care-state.ts';
import { BenchInProcess } from '../steps/bench-in-process.ts';
import { plainSet } from '../firmware-sim/terminal.ts';

/**
 * Power cut at writes to the kept memory of whatever is done at the bench for the care of a board: what the person is
 * told afterwards, and that going on as the screen says ends well.
 */

const IMAGE = formatImage({
  hardware: 'simulated 1',
  version: '1.1',
  program: Uint8Array.from({ length: 300 }, (_, i) => (i === 0 ? CONDUCT.healthy : i % 251)),
  resetsSettings: true,
  replacesCoefficients: true,
});

interface Task {
  ask(on: BenchInProcess): Promise<void>;
  isDone(on: BenchInProcess): boolean;
}

const settingOf = ({ state }: BenchInProcess, name: string) =>
  state.history.care.settings?.settings.find((each) => each.name === name)?.value;

/** What a person wants, each from wherever the board is. */
export const TASKS: Record<string, Task> = {
  rename: {
    ask: (on) => on.run(on.place.care.rename('second')),
    isDone: ({ state }) => state.history.identity?.name === 'second',
  },
  settings: {
    async ask(on) {
      on.place.care.want('sleep', '30');
      on.place.care.want('beep', 'off');
      await on.run(on.place.care.sendSettings());
    },
    isDone: (on) => settingOf(on, 'sleep') === '30' && settingOf(on, 'beep') === 'off',
  },
  erase: {
    ask: (on) => on.run(on.place.care.eraseMemory()),
    isDone: ({ state }) => careOf(state).memory?.count === 0,
  },
  'firmware update': {
    async ask(on) {
      await on.run(on.place.care.chooseFirmware('new.lodefw', IMAGE));
      await on.run(on.place.care.updateFirmware());
    },
    isDone: ({ state }) => state.history.identity?.firmware === '1.1',
  },
};

/** A calibrated board with settings of its own, which every case begins with. */
export async function keptBoard(): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'leave');
  on.place.care.want('sleep', '20');
  await on.run(on.place.care.sendSettings());
  expect(on.state.trouble).toBeUndefined();
  return on;
}

export async function writesOf(from: BenchInProcess, name: string): Promise<number> {
  const on = await from.copy();
  await on.reload();
  const before = on.board.memoryWrites;
  await TASKS[name]!.ask(on);
  expect(TASKS[name]!.isDone(on), name).toBe(true);
  return on.board.memoryWrites - before;
}

/** How power comes back after a cut. */
export interface Cut {
  /** The write, from 1. */
  at: number;
  /** The page is closed and opened meanwhile. */
  reload: boolean;
  /** Power fails at this write of the start too, if it comes to that. */
  inStart?: number;
}

/** Cuts power in a task, looks at what the person is told, and goes on until it is done. */
export async function cutIn(from: BenchInProcess, name: string, cut: Cut): Promise<void> {
  const task = TASKS[name]!;
  const on = await from.copy();
  await on.reload();
  const before = readingsAmong(await on.logbook());
  const set = on.state.history.inForce!;
  on.board.cutPowerAtWrite(cut.at);
  await task.ask(on);
  expect(on.board.hasPower, 'power was to fail').toBe(false);
  expect(on.state.trouble, 'power failed and nothing was said').toBeDefined();
  expect(on.state.trouble!.heading).not.toContain('this program');

  if (cut.reload) await on.reload();
  else {
    on.board.cutPowerAtWrite(cut.inStart ?? Infinity);
    on.board.restart();
    if (!on.board.hasPower) on.board.restart();
    on.board.cutPowerAtWrite(Infinity);
    await on.ask('link');
  }
  expect(on.state.link.state).toBe('linked');
  expect(on.state.said, 'what became of it').not.toBe('');
  await expectSound(on, set.crc, before.length);
  for (let time = 0; !task.isDone(on); time++) {
    expect(time, 'asked in vain').toBeLessThan(3);
    await task.ask(on);
  }
  expect(on.state.trouble).toBeUndefined();
  await expectSound(on, set.crc, before.length);
  expect(on.state.history.inForce).toMatchObject({ crc: set.crc, values: set.values });
  if (name !== 'settings') expect(settingOf(on, 'sleep')).toBe('20');
  expect(readingsAmong(await on.logbook())).toEqual(before);
}

/** What must hold whenever a board is linked again after anything. */
async function expectSound(on: BenchInProcess, crc: string, readings: number): Promise<void> {
  const { history } = on.state;
  const { running, trial } = careOf(on.state).image!;
  expect(['1.0', '1.1']).toContain(running);
  expect(trial, 'settled, one way or the other').toBe(false);
  expect(['sending', undefined]).toContain(openUpdate(history.care)?.phase);
  expect([crc, setCrc(plainSet())]).toContain(history.inForce?.crc);
  if (!openUpdate(history.care)) expect(history.inForce?.crc).toBe(crc);
  const { settingsBegun, renameBegun, eraseBegun, restoreBegun } = history.care;
  expect([settingsBegun, renameBegun, eraseBegun, restoreBegun]).toEqual(Array(4).fill(undefined));
  const { count } = careOf(on.state).memory!;
  expect([0, readings]).toContain(count);
}

/** Cuts anywhere in so many writes, the same for the same seed. */
export function seededCut(writes: number, seed: number): Cut {
  const random = randomStream(seed, 'cut');
  const at = 1 + random.below(writes);
  return { at, reload: seed % 2 === 0, ...(seed % 4 === 1 && { inStart: 1 + random.below(32) }) };
}
