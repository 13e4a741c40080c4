import { describe, expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { KINDS } from '../../firmware-sim/kinds.ts';
import { boardFrom } from '../../sim/board-line.ts';
import { CUSTOMARY_AIMS } from '../../sim/customary-aims.ts';
import { HostedBoard } from '../../sim/hosted-board.ts';
import { linkBoard, type BoardReading } from '../../src/protocol/board.ts';
import type { ByteLink } from '../../src/protocol/link.ts';
import { cubePlanInDegrees } from '../../src/steps/customary-plan.ts';

/** A board as the simulator's process holds it, on a virtual clock. */
function hosted(line = '') {
  const clock = new VirtualClock();
  const board = new HostedBoard(boardFrom(line), clock);
  let attachment: ReturnType<HostedBoard['attach']> | undefined;
  const link: ByteLink = {
    label: 'hosted board',
    open: async (listener) => void (attachment = board.attach(listener)),
    write: async (bytes) => attachment?.send(bytes),
    close: async () => attachment?.detach(),
  };
  const linked = (onReading: (reading: BoardReading) => void = () => {}, onLost = () => {}) =>
    clock.run(linkBoard(link, { clock, random: () => 0.5, onReading, onLost }));
  return { clock, board, linked };
}

const said = (board: HostedBoard, words: string) => {
  const [verb = '', ...rest] = words.split(' ');
  return board.obey(verb, rest);
};

describe('each kind of board', () => {
  test.each(KINDS)(
    '$name speaks the protocol, and is as it is said to be',
    async ({ name, build, settings }) => {
      const { clock, linked } = hosted(`kind=${name}`);
      const readings: BoardReading[] = [];
      const board = await linked((reading) => readings.push(reading));
      await clock.run(board.mode('collect'));
      for (let taken = 0; taken < 18; taken++) await clock.run(board.capture());
      expect(readings).toHaveLength(18);
      const memory = await clock.run(board.memory());
      expect(memory.count).toBe(build.keepsReadings === false ? build.places : 18);
      expect(memory.dropped).toBe(build.keepsReadings === false ? 2 : 0);
      const { identity } = board;
      expect(identity.capabilities.includes('trigger')).toBe(build.hasTrigger !== false);
      expect(identity.capabilities.includes('kept')).toBe(build.keepsReadings !== false);
      expect(identity.accMounting === undefined).toBe(build.declaresMounting === false);
      expect(identity.accNoise).toBeCloseTo(
        ((settings.accNoise ?? 1) / 1000) * identity.accScale,
        1,
      );
      await clock.run(board.close());
    },
  );

  test('has a name of its own', () => {
    expect(new Set(KINDS.map(({ name }) => name)).size).toBe(KINDS.length);
  });
});

describe('a hand at a simulated board', () => {
  test('aims it, and it holds still there until it is aimed again', async () => {
    const { clock, board, linked } = hosted('accNoise=0,magNoise=0,aim=0,rollAim=0');
    const link = await linked();
    expect(await said(board, 'aim 90 -30 45')).toContain('90');
    const first = await clock.run(link.sense());
    clock.advance(60_000);
    const later = await clock.run(link.sense());
    expect(later.acc).toEqual(first.acc);
    expect(later.mag).toEqual(first.mag);
    await said(board, 'aim 90 -30 225');
    expect((await clock.run(link.sense())).acc).not.toEqual(first.acc);
  });

  test('presses its trigger, which takes a reading', async () => {
    const { clock, board, linked } = hosted();
    const readings: number[] = [];
    const link = await linked(({ reading }) => readings.push(reading));
    await clock.run(link.mode('collect'));
    await said(board, 'press');
    clock.advance(2000);
    await clock.run(link.mode('idle'));
    expect(readings).toEqual([1]);
  });

  test('goes through the plan as the app orders it, at its own pace', async () => {
    const planned = cubePlanInDegrees().sightings.flatMap(({ azimuth, inclination, rolls }) =>
      rolls.map((roll) => ({ azimuth, inclination, roll })),
    );
    expect(CUSTOMARY_AIMS).toEqual(planned);

    const { clock, board, linked } = hosted('aim=0,rollAim=0,accNoise=0,magNoise=0,kind=plain');
    const readings: BoardReading[] = [];
    const link = await linked((reading) => readings.push(reading));
    await clock.run(link.mode('collect'));
    expect(await said(board, 'plan 3 41')).toContain('16 readings');
    clock.advance(3000 * 20);
    await clock.run(link.mode('idle'));
    expect(readings).toHaveLength(16);
    for (const at of [0, 7, 15]) {
      const { azimuth, inclination, roll } = planned[40 + at]!;
      await said(board, `aim ${azimuth} ${inclination} ${roll}`);
      const { acc, mag } = await clock.run(link.sense());
      expect([at, readings[at]!.acc, readings[at]!.mag]).toEqual([at, acc, mag]);
    }
  });

  test.each(['aim 0 0 0', 'press', 'restart'])('leaves the plan at “%s”', async (words) => {
    const { clock, board, linked } = hosted();
    const link = await linked();
    await clock.run(link.mode('collect'));
    await said(board, 'plan 2');
    clock.advance(5000); // readings at 0, 2 and 4 seconds
    await said(board, words);
    const now = words === 'restart' ? await linked() : link;
    await clock.run(now.mode('collect'));
    clock.advance(60_000);
    await clock.run(now.mode('idle'));
    expect((await clock.run(now.memory())).count).toBe(words === 'press' ? 4 : 3);
  });

  test('pulls its plug at once, or when so many bytes have crossed; and takes its power', async () => {
    for (const words of ['drop', 'drop 40', 'restart']) {
      const { clock, board, linked } = hosted();
      let lost = 0;
      const link = await linked(undefined, () => lost++);
      await said(board, words);
      await clock.run(link.memory().catch(() => {}));
      clock.advance(0);
      expect([words, lost]).toEqual([words, 1]);
      expect(board.isAttached).toBe(false);
      await linked();
      expect(board.isAttached).toBe(true);
    }
  });

  test('changes its settings', async () => {
    const { board } = hosted();
    await said(board, 'set dip=-20 lose=0.01');
    expect(await board.board.settings()).toMatchObject({ dip: -20, faults: { lose: 0.01 } });
  });

  test('aims it at what is so far away as its range module then says', async () => {
    const { clock, board, linked } = hosted('kind=ranger');
    const link = await linked();
    const { range: usual } = await clock.run(link.sense());
    expect(await said(board, 'aim 0 0 0 12.5')).toContain('12.5 m away');
    const { range } = await clock.run(link.sense());
    // the module is off by 3 cm and 0.15 % at most
    expect(Math.abs(range! - 12.5)).toBeLessThan(0.06);
    expect(Math.abs(usual! - 5)).toBeLessThan(0.05);
  });

  test.each([
    'aim',
    'aim 1 2 3 -1',
    'aim 1 2 3 4 5',
    'aim 1 2',
    'aim 1 2 three',
    'aim 1 2 1e9',
    'aim 400 10 0',
    'aim 40 100 0',
    'aim 40 10 -400',
    'plan 0',
    'plan 2 57',
    'plan 2 1.5',
    'plan 2 1 1',
    'press it',
    'drop half',
    'set',
    'fly',
  ])('is told what is wrong with “%s”, and nothing is changed', async (words) => {
    const { board } = hosted();
    await expect(said(board, words)).rejects.toMatchObject({ name: 'BadLine' });
  });
});

describe('the link to a simulated board', () => {
  test('drops by chance, as often as it is told to, and at the same byte for the same seed', async () => {
    const drops = async (seed: number) => {
      const { clock, board, linked } = hosted(`drop=0.0005,seed=${seed}`);
      const lengths: number[] = [];
      for (let opening = 0; opening < 6; opening++) {
        let lost = false;
        let asked = 0;
        try {
          const link = await linked(undefined, () => (lost = true));
          for (; !lost && asked < 2000; asked++) await clock.run(link.memory());
        } catch {
          lengths.push(asked); // dropped
        }
        expect(board.isAttached).toBe(false);
      }
      return lengths;
    };
    const [one, same, other] = [await drops(1), await drops(1), await drops(2)];
    expect(one).toHaveLength(6);
    expect(same).toEqual(one);
    expect(other).not.toEqual(one);
  });

  test('is given up by a pseudo-terminal, which knows no end, when a WebSocket comes; never the other way round', () => {
    const { board } = hosted();
    let gaveWay = 0;
    const deaf = () => ({ bytes: () => {}, closed: () => {} });
    board.attach(deaf(), () => gaveWay++);
    const socket = board.attach(deaf());
    expect(gaveWay).toBe(1);
    expect(() => board.attach(deaf())).toThrow(expect.objectContaining({ cause: 'in_use' }));
    socket.detach();
    board.attach(deaf()).detach();
    expect(board.isAttached).toBe(false);
  });
});
