import { describe, expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import type { SimulatorSettings } from '../../src/protocol/simulator.ts';
import { RemoteBoard, type SimulatedOptions } from '../../src/transport/simulated.ts';
import { serveSimulator } from '../../src/transport/simulator-service.ts';
import { withCheck } from '../firmware-sim/terminal.ts';
import { byteLinkContract } from './contract.ts';
import { PROBE } from './probe.ts';

/** A board at the other end of a real message channel, all but the worker itself; its clock is virtual. */
function remoteBoard(
  settings: SimulatorSettings = defaultSettings,
  options: SimulatedOptions = {},
) {
  const clock = new VirtualClock();
  const { port1, port2 } = new MessageChannel();
  serveSimulator(port2, clock);
  const remote = new RemoteBoard(port1, settings, options);
  /** Any message sent before has been carried out, and its consequences told, once this resolves. */
  const settle = async () => {
    await clock.run(remote.settings());
    clock.advance(1000);
    await clock.run(remote.settings());
  };
  return {
    remote,
    settle,
    run: <T>(work: Promise<T>) => clock.run(work),
    end: () => {
      port1.close();
      port2.close();
    },
  };
}

async function withRemote(
  options: SimulatedOptions,
  use: (board: ReturnType<typeof remoteBoard>) => Promise<void>,
): Promise<void> {
  const board = remoteBoard(defaultSettings, options);
  try {
    await use(board);
  } finally {
    board.end();
  }
}

byteLinkContract('the simulated board behind a channel', () => {
  const board = remoteBoard();
  let seed = defaultSettings.seed;
  return {
    ...board,
    link: board.remote,
    probe: PROBE,
    // The board is exchanged under the link, which ends it.
    drop: () => board.run(board.remote.adjust({ seed: ++seed })),
  };
});

const line = (body: string) => new TextEncoder().encode(`${withCheck(body)}\n`);

describe('the simulated board behind a channel', () => {
  test('offers the hand, the knobs and the truth', () =>
    withRemote({}, async ({ remote, run }) => {
      await run(remote.adjust({ dip: 50 }));
      expect(await run(remote.settings())).toEqual({ ...defaultSettings, dip: 50 });
      await run(remote.hold({ azimuth: 10, inclination: 20, roll: 30 }));
      await run(remote.press());
      expect(await run(remote.truth(7))).toHaveLength(7);
      await expect(run(remote.adjust({ dip: 91 }))).rejects.toThrow('dip');
    }));

  test('keeps its memory outside: what was read is there after a reload, told before the answer', async () => {
    let saved: Uint8Array | undefined;
    let heard = '';
    const ear = {
      bytes: (chunk: Uint8Array) => (heard += new TextDecoder().decode(chunk)),
      closed: () => {},
    };
    const capture = async (board: ReturnType<typeof remoteBoard>) => {
      await board.run(board.remote.open(ear));
      for (const text of [
        '?1 hello host=00000001 protocol=1',
        '?2 mode set=collect',
        '?3 capture',
      ]) {
        await board.run(board.remote.write(line(text)));
        await board.settle();
      }
    };
    const onMemory = (image: Uint8Array) => {
      expect(heard).not.toContain('=3 ok');
      saved = image;
    };
    await withRemote({ onMemory }, capture);
    expect(heard).toContain('=3 ok reading=1 ');
    await withRemote({ saved: saved! }, capture);
    expect(heard).toContain('=3 ok reading=2 ');
  });

  test('says nothing of what it has changed until the change is kept', async () => {
    let heard = '';
    const ear = {
      bytes: (chunk: Uint8Array) => (heard += new TextDecoder().decode(chunk)),
      closed: () => {},
    };
    let kept = () => {};
    let asked = () => {};
    const isAsked = new Promise<void>((resolve) => (asked = resolve));
    const onMemory = () =>
      new Promise<void>((resolve) => {
        kept = resolve;
        asked();
      });
    await withRemote({ onMemory }, async ({ remote, run, settle }) => {
      await run(remote.open(ear));
      for (const text of ['?1 hello host=00000001 protocol=1', '?2 mode set=collect']) {
        await run(remote.write(line(text)));
        await settle();
      }
      const writing = remote.write(line('?3 capture'));
      await run(isAsked);
      expect(heard).toContain('=2 ok');
      expect(heard).not.toContain('=3 ok');
      kept();
      await run(writing);
      await settle();
      expect(heard).toContain('=3 ok reading=1 ');
    });
  });

  test('takes its readings as fast as it is told', () =>
    withRemote({ captureMs: 5 }, async ({ remote, run, settle }) => {
      let heard = '';
      await run(
        remote.open({
          bytes: (chunk) => (heard += new TextDecoder().decode(chunk)),
          closed: () => {},
        }),
      );
      await run(remote.write(line('?1 hello host=00000001 protocol=1')));
      await settle();
      expect(heard).toContain(' capture_ms=5 ');
    }));

  test('with settings that make no board, says so to whoever opens it', async () => {
    const board = remoteBoard({ ...defaultSettings, accNoise: -1 });
    const opening = board.run(board.remote.open({ bytes: () => {}, closed: () => {} }));
    await expect(opening).rejects.toThrow('accNoise');
    board.end();
  });

  test('when its worker stops, the link ends, and whatever waits or is asked later fails with the reason', () =>
    withRemote({}, async ({ remote, run }) => {
      const endings: string[] = [];
      await run(remote.open({ bytes: () => {}, closed: ({ message }) => endings.push(message) }));
      const waiting = remote.truth(5);
      remote.fail('the simulated board stopped');
      await expect(waiting).rejects.toThrow('stopped');
      expect(endings).toEqual(['the simulated board stopped']);
      await expect(remote.settings()).rejects.toThrow('stopped');
      await expect(remote.write(line('?1 memory'))).rejects.toThrow('closed');
      await remote.close();
    }));
});
