import { describe, expect, test } from 'vitest';
import type { SimulatedBoard } from '../../firmware-sim/board.ts';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import {
  type Board,
  type BoardReading,
  linkBoard,
  readAllFrom,
  sealOutcome,
} from '../../src/protocol/board.ts';
import { type Cause, ProtocolError } from '../../src/protocol/errors.ts';
import { parseLine } from '../../src/protocol/line.ts';
import type { LinkFaultRates } from '../../src/protocol/simulator.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { plainSet } from '../firmware-sim/terminal.ts';

/** One byte in so many is hit by each kind of fault; lines are some hundred bytes long. */
const rare = (every: number, delayMs = 40): LinkFaultRates => ({
  lose: 1 / every,
  double: 1 / every,
  flip: 1 / every,
  delayMs,
});

/** Causes after which a person, or the bench for them, may simply go on and try once more. */
const AGAIN: readonly Cause[] = ['no_answer', 'link_closed', 'reading_lost', 'nonsense'];

/**
 * What a bench does with a bad link: it takes a sighting of four readings and seals, links anew when it must, and
 * looks before it repeats anything. Gives what it stored and what the board then holds.
 */
async function sightingAndSeal(
  seed: number,
  faults: LinkFaultRates,
  disturb: (board: SimulatedBoard) => void = () => {},
) {
  const clock = new VirtualClock();
  const made = inProcessBoard({ ...defaultSettings, seed }, clock);
  const stored: BoardReading[] = [];
  const random = randomStream(seed, 'host').uniform;
  let relinks = 0;
  let damaged = 0;

  const store = (reading: BoardReading): void => {
    if (!stored.some((known) => known.reading === reading.reading)) stored.push(reading);
  };
  let board: Board | undefined;
  const connect = async (): Promise<Board> => {
    board = await linkBoard(made.link, {
      clock,
      random,
      onReading: (reading) => stored.push(reading),
      onLost: () => {},
      onWire: (direction, line) => {
        if (direction !== 'from_board') return;
        if (typeof parseLine(line) === 'string' || line.startsWith('=0 ')) damaged += 1;
      },
    });
    for await (const reading of readAllFrom(board, stored.at(-1)?.reading ?? 0)) store(reading);
    return board;
  };
  /** Keeps at it until it is done; whatever fails as a link may fail leads to linking anew. */
  const insist = async <T>(step: (board: Board) => Promise<T>): Promise<T> => {
    for (let attempt = 0; attempt < 40; attempt++) {
      try {
        return await step(board ?? (await connect()));
      } catch (error) {
        if (!(error instanceof ProtocolError) || !AGAIN.includes(error.cause)) throw error;
        relinks += 1;
        await board?.close();
        board = undefined;
      }
    }
    throw new Error('Forty attempts were not enough.');
  };

  const work = async () => {
    await insist(async () => {});
    await made.control.adjust({ faults });
    disturb(made.board);
    for (const [i, roll] of [0, 90, 180, 270].entries()) {
      await made.control.hold({ azimuth: 45, inclination: 10, roll });
      await insist(async (linked) => {
        if (stored.length > i) return; // it was taken after all, and found in the memory
        await linked.mode('collect');
        await linked.capture();
      });
    }
    const set = plainSet({ 2: 0.01 });
    const generation = await insist(async (linked) => {
      const crc = await linked.stage(set);
      const outcome = await sealOutcome(linked, 0, crc);
      return outcome === 'unchanged' ? linked.seal(0, crc) : 1;
    });
    // The rest is looked at over a clean link.
    await made.control.adjust({ faults: defaultSettings.faults });
    const onBoard = await insist(async (linked) => {
      const readings: BoardReading[] = [];
      for await (const reading of readAllFrom(linked, 0)) readings.push(reading);
      return { readings, inForce: await linked.coefficients('in_force') };
    });
    return { generation, onBoard, set };
  };
  return { ...(await clock.run(work())), stored, relinks, damaged };
}

/** All four readings once, the same here and there, and the set sealed once. */
function expectAllWell({
  stored,
  onBoard,
  generation,
  set,
}: Awaited<ReturnType<typeof sightingAndSeal>>) {
  expect(stored.map(({ reading }) => reading)).toEqual([1, 2, 3, 4]);
  expect(onBoard.readings).toEqual(stored);
  expect(generation).toBe(1);
  expect(onBoard.inForce).toMatchObject({ ...set, generation: 1 });
}

describe('nothing of a sighting is lost or doubled, and the seal happens once,', () => {
  test.each(Array.from({ length: 12 }, (_, i) => i + 1))(
    'over a link that loses, doubles, flips and delays bytes (seed %i)',
    async (seed) => {
      const outcome = await sightingAndSeal(seed, rare(600));
      expect(outcome.damaged).toBeGreaterThan(0);
      expectAllWell(outcome);
    },
  );

  test('where hardly a long line comes through whole, so that the link must be made anew', async () => {
    let relinks = 0;
    for (let seed = 1; seed <= 8; seed++) {
      const outcome = await sightingAndSeal(seed, rare(330));
      relinks += outcome.relinks;
      expectAllWell(outcome);
    }
    expect(relinks).toBeGreaterThan(0);
  });

  test('wherever the link drops', async () => {
    const clean = { lose: 0, double: 0, flip: 0, delayMs: 5 };
    let dropped = 0;
    for (let bytes = 1; bytes < 2200; bytes += 53) {
      const outcome = await sightingAndSeal(1, clean, (board) => board.dropAfter(bytes));
      dropped += outcome.relinks;
      expectAllWell(outcome);
    }
    expect(dropped).toBeGreaterThan(30);
  });
});
