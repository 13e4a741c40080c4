import { expect, it, vi } from 'vitest';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import type { Intention } from '../../src/steps/next-step.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** Several boards at the bench, each with its own link, work and trouble. */

/** Two simulated boards, linked one after the other. */
async function two(): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened();
  await on.ask('link');
  on.bench.linkAnother();
  await on.ask('link');
  return on;
}

it('gives a second simulated board another seed, and so another serial number', async () => {
  const on = await two();
  const [first, second] = on.bench.places;
  expect(first.state.simulator?.seed).toBe(1);
  expect(second.state.simulator?.seed).toBe(2);
  expect(first.serial).not.toBe(second.serial);
  expect(on.place).toBe(second);
});

it(
  'lets two boards be calibrated at the same time, each to its end',
  { timeout: 30_000 },
  async () => {
    const on = await two();
    const places = on.bench.places;
    const whole: Intention[] = ['begin', 'take rest', 'fit', 'write', 'prove', 'end'];
    const calibrate = async (place: (typeof places)[number]) => {
      for (const intention of whole) await place.perform(intention);
    };
    const both = Promise.all(places.map(calibrate));
    await on.pass(3000);
    expect(places.map(({ state }) => state.work?.what)).toEqual([
      'Taking readings',
      'Taking readings',
    ]);
    await on.run(both);
    for (const { state, serial } of places) {
      expect(state.trouble).toBeUndefined();
      const { calibration } = state.history;
      expect(calibration?.readings).toHaveLength(56);
      expect(calibration?.proof?.passed).toBe(true);
      expect(calibration?.ended?.outcome).toBe('proven');
      expect(calibration?.id.startsWith(serial!)).toBe(true);
    }
  },
);

it('keeps the trouble of one board from the other', async () => {
  const on = await two();
  const [first, second] = on.bench.places;
  for (const place of [first, second]) await on.run(place.perform('begin'));
  on.boards.get(1)!.dropAfter(400);
  await on.run(Promise.all([first.perform('take rest'), second.perform('take rest')]));
  expect(second.state.trouble).toBeUndefined();
  expect(second.state.history.calibration?.readings).toHaveLength(56);
  expect(first.state.link.state).toBe('linked'); // by itself, while the other went on
  await on.run(first.perform('take rest'));
  expect(first.state.history.calibration?.readings).toHaveLength(56);
});

it('has all boards again after a reload, and the one at hand at hand', async () => {
  const on = await two();
  await on.run(on.bench.places[0].perform('begin'));
  const serials = on.bench.places.map(({ serial }) => serial);
  on.bench.pick(on.bench.places[0]);
  await on.pass(100);
  await on.reload();
  expect(on.bench.places.map(({ serial }) => serial)).toEqual(serials);
  expect(on.bench.places.map(({ state }) => state.link.state)).toEqual(['linked', 'linked']);
  expect(on.place.serial).toBe(serials[0]);
  expect(on.calibration.ended).toBeUndefined();
});

it('shows an empty place only while it is at hand', async () => {
  const on = await two();
  const [first] = on.bench.places;
  on.bench.linkAnother();
  expect(on.bench.places).toHaveLength(3);
  on.bench.pick(first);
  expect(on.bench.places).toHaveLength(2);
});

it('puts one board away and leaves the other as it is', async () => {
  const on = await two();
  const [first, second] = on.bench.places;
  await on.run(second.perform('unlink'));
  on.bench.pick(first);
  expect(on.bench.places).toEqual([first]);
  expect(first.state.link.state).toBe('linked');
  await on.reload();
  expect(on.bench.places.map(({ serial }) => serial)).toEqual([first.serial]);
});

it('does not make a simulated board a second time while it is at the bench', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link');
  on.bench.linkAnother();
  await on.run(on.bench.link('simulated', { simulator: { seed: 1 } }));
  expect(on.state.trouble?.heading).toBe('This simulated board is at the bench already');
  expect(on.state.link.state).toBe('none');
  await on.run(on.bench.link('simulated', { simulator: { seed: 3 } }));
  expect(on.state.simulator?.seed).toBe(3);
  expect(on.state.link.state).toBe('linked');
});

it('sets a simulated board as it is asked to when it links it, and refuses what no board can be', async () => {
  const on = await BenchInProcess.opened();
  await on.run(on.bench.link('simulated', { simulator: { dip: 100 } }));
  expect(on.state.trouble?.heading).toBe('The simulated board cannot be set so');
  expect(on.state.link.state).toBe('none');
  await on.run(on.bench.link('simulated', { simulator: { dip: -30, seed: 9 } }));
  expect((await on.board.settings()).dip).toBe(-30);
  expect(on.state.simulator).toMatchObject({ dip: -30, seed: 9 });
});

/** The same board behind two links of different kinds: a cable, and an address. */
function overTwoLinks(on: BenchInProcess): { cable: Board; socket: Board } {
  const made = () => inProcessBoard({ ...defaultSettings, seed: 7 }, on.clock);
  const [cable, socket] = [made(), made()];
  on.kinds.serial = {
    label: 'USB cable',
    missing: async () => undefined,
    choose: async () => cable.link,
    permitted: async () => [],
  };
  on.kinds.socket = () => socket.link;
  return { cable, socket };
}
type Board = ReturnType<typeof inProcessBoard>;

it('notices a second link to a board that is linked, says so, and goes on over the first', async () => {
  const on = await BenchInProcess.opened();
  const { socket } = overTwoLinks(on);
  await on.run(on.bench.link('serial'));
  await on.ask('begin');
  const first = on.place;
  on.bench.linkAnother();
  await on.run(on.bench.link('socket', { address: 'ws://localhost:1' }));
  expect(on.bench.places).toEqual([first]);
  expect(on.place).toBe(first);
  expect(on.state.trouble?.heading).toBe('This board is at the bench already');
  expect(on.state.trouble?.message).toContain(first.serial!);
  expect(on.state.link).toMatchObject({ state: 'linked', kind: 'serial' });
  await on.run(socket.link.open({ bytes: () => {}, closed: () => {} })); // the second link was let go
  await on.ask('take one');
  expect(on.calibration.readings).toHaveLength(1);
});

it('takes a board over whose first link was lost, with its work', async () => {
  const on = await BenchInProcess.opened();
  const { cable } = overTwoLinks(on);
  await on.run(on.bench.link('serial'));
  await on.ask('begin');
  cable.board.cutPower();
  await on.ask('take one');
  await on.pass(15_000);
  expect(on.state.link.state).toBe('lost');
  on.bench.linkAnother();
  await on.run(on.bench.link('socket', { address: 'ws://localhost:1' }));
  expect(on.bench.places).toHaveLength(1);
  expect(on.state.link).toMatchObject({ state: 'linked', kind: 'socket' });
  expect(on.calibration.ended).toBeUndefined();
  await on.ask('take one');
  expect(on.calibration.readings).toHaveLength(1);
});

it('takes a board over also while its first link is just being made again', async () => {
  const on = await BenchInProcess.opened();
  const { cable } = overTwoLinks(on);
  await on.run(on.bench.link('serial'));
  const first = on.place;
  cable.board.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
  cable.board.dropAfter(0);
  await on.pass(1000);
  await first.perform('stop');
  await on.pass(100);
  const again = first.perform('link');
  await on.pass(100);
  expect(first.state.work?.what).toBe('Linking');
  on.bench.linkAnother();
  await on.run(on.bench.link('socket', { address: 'ws://localhost:1' }));
  await on.run(again);
  await on.pass(20_000);
  expect(on.bench.places).toEqual([on.place]);
  expect(on.state.link).toMatchObject({ state: 'linked', kind: 'socket' });
  expect(first.state.trouble).toBeUndefined();
});

it('links over the very link that is just being made again at another place', async () => {
  const on = await BenchInProcess.opened();
  const { cable } = overTwoLinks(on);
  await on.run(on.bench.link('serial'));
  cable.board.quirk({ manners: { silent: true, lateMs: 0, twice: false } });
  cable.board.dropAfter(0);
  await on.pass(1000);
  expect(on.state.work?.what).toBe('Linking again');
  cable.board.quirk({ manners: { silent: false, lateMs: 0, twice: false } });
  on.bench.linkAnother();
  await on.run(on.bench.link('serial'));
  expect(on.state.link).toMatchObject({ state: 'linked', kind: 'serial' });
  expect(on.bench.places).toEqual([on.place]);
  await on.ask('begin', 'take one');
  expect(on.calibration.readings).toHaveLength(1);
});

it.each(['serial', 'socket'] as const)(
  'leaves a board that is being checked to its place when it is picked again (%s)',
  async (kind) => {
    const on = await BenchInProcess.opened();
    overTwoLinks(on);
    await on.run(on.bench.link('serial'));
    const first = on.place;
    const checking = first.check.run({});
    await vi.waitUntil(() => first.state.work);
    await on.pass(200);
    on.bench.linkAnother();
    await on.run(on.bench.link(kind, { address: 'ws://localhost:1' }));
    await on.run(checking);
    expect(on.bench.places).toEqual([first]);
    expect(first.state.trouble?.heading).toBe('This board is at the bench already');
    expect(first.check.reportOn(first.serial)?.cut).toBeUndefined();
    expect(first.state.link.state).toBe('linked');
  },
);

it('leaves a board that starts again to its place when it is picked again meanwhile', async () => {
  const on = await BenchInProcess.opened();
  overTwoLinks(on);
  await on.run(on.bench.link('serial'));
  const first = on.place;
  const starting = first.care.restart();
  await on.pass(1000);
  on.bench.linkAnother();
  await on.run(on.bench.link('serial'));
  await on.run(starting);
  expect(on.bench.places).toEqual([first]);
  expect(first.state.link.state).toBe('linked');
  expect(first.state.said).toBe('The board has started again.');
});

it('is not confused when the person picks the link again that a board has already', async () => {
  const on = await BenchInProcess.opened();
  overTwoLinks(on);
  await on.run(on.bench.link('serial'));
  const first = on.place;
  on.bench.linkAnother();
  await on.run(on.bench.link('serial'));
  expect(on.bench.places).toEqual([first]);
  expect(on.state.trouble?.heading).toBe('This board is at the bench already');
  expect(on.state.link.state).toBe('linked');
});

it('links a board behind an address again after a reload', async () => {
  const on = await BenchInProcess.opened();
  const asked: string[] = [];
  const { link } = inProcessBoard({ ...defaultSettings, seed: 7 }, on.clock);
  on.kinds.socket = (address) => {
    asked.push(address);
    return link;
  };
  await on.run(on.bench.link('socket', { address: 'ws://localhost:4180/1' }));
  await link.close(); // as a browser does when the page goes
  await on.reload();
  expect(on.state.link).toMatchObject({ state: 'linked', kind: 'socket' });
  expect(asked).toEqual(['ws://localhost:4180/1', 'ws://localhost:4180/1']);
});

it('offers a kind of link that is missing here with the reason and what to do', async () => {
  const on = await BenchInProcess.opened();
  await on.pass(1);
  const of = (name: string) => on.bench.kinds.find((kind) => kind.name === name);
  expect(of('simulated')?.missing).toBeUndefined();
  expect(of('bluetooth')?.missing?.next.join(' ')).toContain('chrome://flags');
  await on.run(on.bench.link('bluetooth'));
  expect(on.state.trouble?.heading).toBe('No such link in this browser');
});

it('offers a kind of link that is likely first: the simulated board to a stranger, then that of the boards here', async () => {
  const on = await BenchInProcess.opened();
  expect(on.bench.kinds.map(({ name }) => name)).toEqual([
    'simulated',
    'serial',
    'bluetooth',
    'socket',
  ]);
  expect(on.bench.kinds[0]!.offer).toBe('Link the simulated board');
  overTwoLinks(on);
  await on.run(on.bench.link('serial'));
  on.bench.linkAnother();
  expect(on.bench.kinds.map(({ name }) => name)).toEqual([
    'serial',
    'bluetooth',
    'socket',
    'simulated',
  ]);
});
