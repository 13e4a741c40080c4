import { expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { linkBoard } from '../../src/protocol/board.ts';
import type { ByteLink } from '../../src/protocol/link.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';

const BOARDS = 16;
const LINES_A_SECOND = 50;
const MINUTES = 5;
const EACH_MS = 1000 / LINES_A_SECOND;
const PRESSES = MINUTES * 60 * LINES_A_SECOND;

/** Hands on what a board sends, and counts its lines. */
function counted(link: ByteLink): { link: ByteLink; lines: () => number } {
  let lines = 0;
  return {
    lines: () => lines,
    link: {
      label: link.label,
      open: ({ bytes, closed }) =>
        link.open({
          closed,
          bytes: (chunk) => {
            lines += chunk.reduce((sum, byte) => sum + (byte === 0x0a ? 1 : 0), 0);
            bytes(chunk);
          },
        }),
      write: (bytes) => link.write(bytes),
      close: () => link.close(),
    },
  };
}

/** A board that takes a reading whenever it is pressed, however often, and what its host hears of it. */
async function streaming(clock: VirtualClock, seed: number, faults = defaultSettings.faults) {
  const made = inProcessBoard({ ...defaultSettings, seed }, clock, {
    build: { captureMs: 5, keepsReadings: false },
  });
  const sent = counted(made.link);
  let heard = 0;
  let last = 0;
  const board = await clock.run(
    linkBoard(sent.link, {
      clock,
      random: () => seed / 100,
      onReading: ({ reading }) => {
        expect(reading).toBe(last + 1);
        last = reading;
      },
      onTrouble: (error) => expect.fail(error.message),
      onLost: (error) => expect.fail(error.message),
      onWire: (direction) => {
        if (direction === 'from_board') heard += 1;
      },
    }),
  );
  await clock.run(board.mode('collect'));
  await made.control.adjust({ faults });
  return {
    press: () => made.control.press(),
    settle: async () => {
      await made.control.adjust({ faults: defaultSettings.faults });
      await clock.run(board.mode('idle'));
    },
    lines: () => ({ sent: sent.lines(), heard }),
    readings: () => last,
  };
}

async function soak(faults = defaultSettings.faults) {
  const clock = new VirtualClock();
  const boards = [];
  for (let seed = 1; seed <= BOARDS; seed++) boards.push(await streaming(clock, seed, faults));
  for (let press = 0; press < PRESSES; press++) {
    await Promise.all(boards.map((board) => board.press()));
    clock.advance(EACH_MS);
    await new Promise((resolve) => setImmediate(resolve));
  }
  for (const board of boards) await board.settle();
  return boards;
}

test(`${BOARDS} boards at ${LINES_A_SECOND} lines a second each, for ${MINUTES} minutes: every one of ${BOARDS * PRESSES} readings comes once and in order, and no line is lost`, async () => {
  for (const board of await soak()) {
    expect(board.readings()).toBe(PRESSES);
    const { sent, heard } = board.lines();
    expect(heard).toBe(sent);
    expect(sent).toBeGreaterThanOrEqual(PRESSES);
  }
});

test('the same over links that cut their bytes anywhere and hold each piece back by up to 15 ms', async () => {
  const faults = { ...defaultSettings.faults, delayMs: 15 };
  for (const board of await soak(faults)) {
    expect(board.readings()).toBe(PRESSES);
    const { sent, heard } = board.lines();
    expect(heard).toBe(sent);
  }
});
