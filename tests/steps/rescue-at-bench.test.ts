import { expect, test } from 'vitest';
import type { Clock } from '../../src/protocol/clock.ts';
import { LinkError, type ByteLink, type LinkListener } from '../../src/protocol/link.ts';
import type { StoredEntry } from '../../src/records/entries.ts';
import { knownCoefficients, rescueOffers } from '../../src/steps/board-rescue.ts';
import { plainSet } from '../firmware-sim/terminal.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** What ails whatever is behind the link of a bench, as long as it is so. */
type Ailment = 'none' | 'silent' | 'garbage' | 'restarting';

/** A bench whose boards can be made to ail. */
async function ailing(ailment: Ailment) {
  const on = await BenchInProcess.opened();
  const state = { ailment };
  on.around = (link, clock) => patient(link, clock, () => state.ailment);
  return { on, state };
}

function patient(link: ByteLink, clock: Clock, ails: () => Ailment): ByteLink {
  let stop = () => {};
  const endSoon = (listener: LinkListener) =>
    clock.after(1500, () => {
      void link.close();
      listener.closed(new LinkError('gone', 'the board went away'));
    });
  return {
    ...link,
    open: async (listener) => {
      await link.open({
        closed: (end) => listener.closed(end),
        bytes: (chunk) => {
          if (ails() === 'silent') return;
          listener.bytes(ails() === 'garbage' ? chunk.map((byte) => byte | 0x80) : chunk);
        },
      });
      if (ails() === 'restarting') stop = endSoon(listener);
    },
    close: async () => {
      stop();
      await link.close();
    },
  };
}

const examined = async (on: BenchInProcess) => {
  await on.run(on.place.rescue.run());
  return on.place.rescue.finding;
};

/** Seals a set on the linked board behind the back of the bench; the next link finds it. */
const seal = (on: BenchInProcess) =>
  on.run(
    on.place.withBoard({ what: 'Sealing', stoppable: false }, async (board) => {
      await board.seal(0, await board.stage(plainSet({ 2: 0.01 })));
    }),
  );

test('a board that says nothing at the very first linking is examined all the same, and linked once it answers', async () => {
  const { on, state } = await ailing('silent');
  expect(on.place.rescue.isPossible).toBe(false);
  await on.ask('link');
  expect(on.state.link.state).toBe('none');
  expect(on.place.rescue.isPossible).toBe(true);
  const finding = await examined(on);
  expect(finding).toMatchObject({ cause: 'silent', heard: { bytes: 0 } });
  // nothing is tried by itself, and the page offers to link
  expect(on.state.link.state).toBe('none');
  expect(on.state.work).toBeUndefined();
  expect(rescueOffers(finding!, on.state).map(({ does }) => does)).toEqual(['link']);
  state.ailment = 'none';
  await on.run(on.place.perform('link'));
  expect(on.state.link.state).toBe('linked');
  expect(on.place.serial).toMatch(/^SIM-/);
});

test('a place whose first linking failed takes another link instead, and what was found of the one before is gone', async () => {
  const { on, state } = await ailing('silent');
  await on.ask('link');
  await examined(on);
  state.ailment = 'none';
  await on.ask('link');
  expect(on.state.link.state).toBe('linked');
  expect(on.bench.places).toHaveLength(1);
  expect(on.place.rescue.finding).toBeUndefined();
});

test('noise is told from silence', async () => {
  const { on } = await ailing('garbage');
  await on.ask('link');
  const finding = await examined(on);
  expect(finding?.cause).toBe('garbage');
  expect(finding?.heard.bytes).toBeGreaterThan(0);
  expect(finding?.heard.lines).toBe(0);
});

test('a board that starts again and again is told as that, though it is linked again each time', async () => {
  const { on, state } = await ailing('none');
  await on.ask('link');
  state.ailment = 'restarting';
  on.board.restart();
  await on.pass(6000);
  while (on.state.work) await on.pass(50); // a person can ask only then
  const finding = await examined(on);
  expect(finding?.cause).toBe('restarting');
  expect(finding?.heard.endings).toBeGreaterThan(1);
  expect(finding?.heard.lines).toBeGreaterThan(0);
});

test('a board whose link was lost is not linked by an examination; that is offered', async () => {
  const { on, state } = await ailing('none');
  await on.ask('link');
  state.ailment = 'silent';
  await on.run(on.place.perform('link'));
  expect(on.state.link.state).toBe('lost');
  state.ailment = 'none';
  const finding = await examined(on);
  expect(finding?.cause).toBe('no_coefficients'); // it answers
  expect(on.state.link.state).toBe('lost');
  expect(rescueOffers(finding!, on.state).map(({ does }) => does)).toEqual(['link']);
});

test('coefficients that the logbook knows of and the board does not have any more are lost', async () => {
  const { on } = await ailing('none');
  await on.ask('link');
  await seal(on);
  await on.reload(); // the generation is saved
  expect(await examined(on)).toMatchObject({ cause: 'well' });
  on.forgetBoards();
  await on.reload();
  expect(on.state.history.inForce).toBeUndefined();
  const finding = await examined(on);
  expect(finding).toMatchObject({ cause: 'coefficients_lost' });
  expect(finding?.detail).toContain('generation 1 was saved from it');
  expect(rescueOffers(finding!, on.state).map(({ does }) => does)).toEqual(['begin']);
});

test('a linked board that is well is linked afterwards, and nothing it keeps was changed', async () => {
  const { on } = await ailing('none');
  await on.ask('link');
  await seal(on);
  await on.reload();
  let changes = 0;
  on.onMemory = () => void changes++;
  const finding = await examined(on);
  expect(finding).toMatchObject({ cause: 'well', heard: { endings: 0 } });
  expect(rescueOffers(finding!, on.state)).toEqual([]);
  expect(on.state.link.state).toBe('linked');
  expect(on.state.trouble).toBeUndefined();
  expect(changes).toBe(0);
});

test('an examination can be stopped: nothing is found, and the board is linked again where it was', async () => {
  const { on } = await ailing('none');
  await on.ask('link');
  const running = on.place.rescue.run();
  await on.pass(3000);
  expect(on.state.work).toMatchObject({
    what: 'Watching whether it starts again by itself',
    stoppable: true,
  });
  void on.place.perform('stop');
  await on.run(running);
  expect(on.place.rescue.finding).toBeUndefined();
  expect(on.state.link.state).toBe('linked');
});

test('what a board should have is the highest generation found on it, or the one that was written last from here', () => {
  const at = { board: 'SIM1', time: '2031-05-01T00:00:00.000Z', number: 1 };
  const saved = (generation?: number) =>
    ({
      ...at,
      kind: 'coefficients saved',
      ...(generation !== undefined && {
        inForce: { ...plainSet({}), generation, crc: '00000000' },
      }),
    }) as StoredEntry;
  const known = (...entries: StoredEntry[]) => knownCoefficients(entries)?.generation;
  expect(known()).toBeUndefined();
  expect(known(saved())).toBeUndefined();
  expect(known(saved(3), saved(5), saved(2), saved())).toBe(5);
  const restored = { ...at, kind: 'restored', generation: 1, crc: '0', replaced: 0, known: 'answer' } as const; // prettier-ignore
  expect(known(saved(5), saved(), restored, saved(1))).toBe(1);
  expect(known(saved(5), saved(), restored, saved(2))).toBe(2);
});
