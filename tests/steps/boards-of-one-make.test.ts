import { expect, it } from 'vitest';
import { SimulatedBoard } from '../../firmware-sim/board.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { webSerial } from '../../src/transport/web-serial.ts';
import { FakeSerial, type FakePort } from '../transport/fake-serial.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** Boards on cables that a browser cannot tell apart: only what they answer says which is which. */

/** A bench with so many boards of one make, each linked over its own cable. */
async function onCables(count: number) {
  const on = await BenchInProcess.opened();
  const serial = new FakeSerial();
  on.kinds.serial = webSerial({ serial, clock: on.clock });
  const boards: SimulatedBoard[] = [];
  const ports: FakePort[] = [];
  for (let seed = 1; seed <= count; seed++) {
    const board = new SimulatedBoard({ ...defaultSettings, seed }, on.clock);
    const port = serial.plug(board);
    serial.choice = port;
    await on.run(serial.gesture(() => on.bench.link('serial')));
    boards.push(board);
    ports.push(port);
  }
  const serials = () => on.bench.places.map((place) => place.serial);
  const states = () => on.bench.places.map(({ state }) => state.link.state);
  return { on, serial, boards, ports, serials, states };
}

it('a board that was put away does not take the place of its neighbour, whose cable was loose', async () => {
  const { on, serial, boards, ports, serials, states } = await onCables(2);
  const before = serials();
  serial.unplug(ports[0]!);
  await on.pass(10_000);
  serial.unplug(ports[1]!);
  await on.pass(1000);
  serial.plug(boards[1]!);
  await on.pass(15_000);
  expect(serials()).toEqual(before);
  expect(states()).toEqual(['lost', 'linked']);
  expect(on.bench.places[0]!.state.link.returns).toBe(true);

  serial.plug(boards[0]!);
  await on.pass(15_000);
  expect(serials()).toEqual(before);
  expect(states()).toEqual(['linked', 'linked']);
});

it('a board that was put away keeps its place when a stranger of its make is plugged in', async () => {
  const { on, serial, boards, ports, serials, states } = await onCables(1);
  const before = serials();
  serial.unplug(ports[0]!);
  await on.pass(10_000);
  const stranger = serial.plug(new SimulatedBoard({ ...defaultSettings, seed: 9 }, on.clock));
  await on.pass(15_000);
  expect(serials()).toEqual(before);
  expect(states()).toEqual(['lost']);
  expect(stranger.openedWith).toBeUndefined();
  serial.plug(boards[0]!);
  await on.pass(15_000);
  expect(states()).toEqual(['linked']);
});

it.each([
  ['in the order in which they were linked', [0, 1]],
  ['in the other order', [1, 0]],
])('boards that all go and come at once have their places again, %s', async (_, order) => {
  const { on, serial, boards, ports, serials, states } = await onCables(2);
  const before = serials();
  for (const port of ports) serial.unplug(port);
  await on.pass(10_000);
  for (const which of order) serial.plug(boards[which]!);
  await on.pass(30_000);
  expect(serials()).toEqual(before);
  expect(states()).toEqual(['linked', 'linked']);
});
