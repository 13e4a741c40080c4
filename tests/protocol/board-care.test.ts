import { describe, expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { adoptSettings, readSettings, sendImage } from '../../src/protocol/board-care.ts';
import { linkBoard } from '../../src/protocol/board.ts';
import { ProtocolError } from '../../src/protocol/errors.ts';
import { formatImage } from '../../src/protocol/firmware-image.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';

const IMAGE = formatImage({
  hardware: 'simulated 1',
  version: '1.1',
  program: Uint8Array.from({ length: 1000 }, (_, i) => (i === 0 ? 0 : i % 251)),
});

async function bench() {
  const clock = new VirtualClock();
  const { link, board: simulated } = inProcessBoard(defaultSettings, clock);
  const connect = () =>
    clock.run(
      linkBoard(link, { clock, random: Math.random, onReading: () => {}, onLost: () => {} }),
    );
  const fault = async (work: Promise<unknown>) => {
    try {
      await clock.run(work);
    } catch (error) {
      if (error instanceof ProtocolError) return error.fault;
      throw error;
    }
    throw new Error('was not refused');
  };
  return { clock, simulated, connect, fault };
}

async function collect(work: AsyncGenerator<number, string, void>, seen: number[]) {
  for (;;) {
    const { done, value } = await work.next();
    if (done) return value;
    seen.push(value);
  }
}

describe('settings', () => {
  test('are read, changed together, and read again as they are then', async () => {
    const { clock, connect } = await bench();
    const board = await connect();
    const before = await clock.run(readSettings(board));
    expect(before.revision).toBe(0);
    const changes = new Map([
      ['sleep', '20'],
      ['radio', 'far'],
    ]);
    expect(await clock.run(adoptSettings(board, changes, before.revision))).toEqual({
      revision: 1,
      restart: true,
    });
    const after = await clock.run(readSettings(board));
    const values = new Map(after.settings.map(({ name, value }) => [name, value]));
    expect(values.get('sleep')).toBe('20');
    expect(values.get('radio')).toBe('far');
    expect(after.settings.length).toBe(before.settings.length);
  });

  test('of which one is refused are not adopted at all', async () => {
    const { clock, connect, fault } = await bench();
    const board = await connect();
    const changes = new Map([
      ['sleep', '20'],
      ['beep', 'loud'],
    ]);
    expect(await fault(adoptSettings(board, changes, 0))).toMatchObject({
      cause: 'refused',
      refusal: { code: 'bad_field', field: 'value' },
    });
    expect((await clock.run(readSettings(board))).revision).toBe(0);
  });
});

describe('an image', () => {
  test('arrives whole, and the way there is told', async () => {
    const { clock, connect } = await bench();
    const board = await connect();
    const seen: number[] = [];
    expect(await clock.run(collect(sendImage(board, IMAGE), seen))).toBe('1.1');
    expect(seen[0]).toBe(0);
    expect(seen.at(-1)).toBe(IMAGE.length);
    expect(await clock.run(board.ask('image', {}))).toMatchObject({
      state: 'checked',
      spare: '1.1',
    });
  });

  test('goes on where it broke off, over a new link', async () => {
    const { clock, simulated, connect, fault } = await bench();
    const first = await connect();
    simulated.dropAfter(1500);
    expect(await fault(collect(sendImage(first, IMAGE), []))).toMatchObject({
      cause: 'link_closed',
    });
    const seen: number[] = [];
    expect(await clock.run(collect(sendImage(await connect(), IMAGE), seen))).toBe('1.1');
    expect(seen[0]).toBeGreaterThan(100);
  });

  test('can be stopped, and what is there stays there', async () => {
    const { clock, connect, fault } = await bench();
    const board = await connect();
    const stop = new AbortController();
    const work = (async () => {
      for await (const written of sendImage(board, IMAGE, stop.signal)) {
        if (written > 300) stop.abort();
      }
    })();
    expect(await fault(work)).toMatchObject({ cause: 'cancelled' });
    const { written, state } = await clock.run(board.ask('image', {}));
    expect(state).toBe('partial');
    expect(written).toBeGreaterThan(300);
  });

  test('that the board will not have is refused before it runs', async () => {
    const { connect, fault } = await bench();
    const board = await connect();
    const other = formatImage({ hardware: 'other', version: '2', program: Uint8Array.of(0) });
    expect(await fault(collect(sendImage(board, other), []))).toMatchObject({
      cause: 'refused',
      refusal: { code: 'bad_field', field: 'hardware' },
    });
  });
});
