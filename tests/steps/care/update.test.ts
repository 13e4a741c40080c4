import { expect, it } from 'vitest';
import { CONDUCT } from '../../../firmware-sim/image-slots.ts';
import { defaultSettings } from '../../../firmware-sim/settings.ts';
import { formatImage } from '../../../src/protocol/firmware-image.ts';
import { openUpdate } from '../../../src/steps/care/care-history.ts';
import { careOf } from '../../../src/steps/care/care-state.ts';
import { MADE_UP_FIRMWARE, madeUpImage } from '../../../src/steps/care/made-up-firmware.ts';
import { nextStep } from '../../../src/steps/next-step.ts';
import type { ByteLink } from '../../../src/protocol/link.ts';
import { inProcessBoard } from '../../../src/transport/in-process.ts';
import { BenchInProcess } from '../bench-in-process.ts';
import { absurdTemperatureOf } from '../garbling.ts';

const HARDWARE = 'simulated 1';

const imageOf = (conduct: number, version = '1.1') =>
  formatImage({
    hardware: HARDWARE,
    version,
    program: Uint8Array.from({ length: 1000 }, (_, i) => (i === 0 ? conduct : i % 251)),
    resetsSettings: true,
    replacesCoefficients: true,
  });

const HEALTHY = imageOf(CONDUCT.healthy);

/** A bench with a calibrated board whose settings its keeper has changed. */
async function keptBoard(): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write');
  on.place.care.want('sleep', '25');
  await on.run(on.place.care.sendSettings());
  expect(on.state.trouble).toBeUndefined();
  return on;
}

async function choose(on: BenchInProcess, file: Uint8Array): Promise<void> {
  await on.run(on.place.care.chooseFirmware('some.lodefw', file));
  expect(on.state.trouble).toBeUndefined();
}

const runs = ({ state }: BenchInProcess) => state.history.identity?.firmware;
const setting = ({ state }: BenchInProcess, name: string) =>
  state.history.care.settings?.settings.find((each) => each.name === name)?.value;
const kinds = async (on: BenchInProcess) => (await on.logbook()).map(({ kind }) => kind);

it('changes the firmware, confirms it once it is seen to be healthy, and puts back what it changed', async () => {
  const on = await keptBoard();
  const set = on.state.history.inForce!;
  await choose(on, HEALTHY);
  await on.run(on.place.care.updateFirmware());
  expect(on.state.trouble).toBeUndefined();
  expect(on.state.history.care.update).toMatchObject({ phase: 'finished', words: [] });
  expect(runs(on)).toBe('1.1');
  expect(setting(on, 'sleep')).toBe('25');
  expect(on.state.history.inForce).toMatchObject({
    crc: set.crc,
    values: set.values,
    generation: set.generation + 2, // its maker's came between
  });
  expect(careOf(on.state).image).toMatchObject({ running: '1.1', trial: false, spare: '1.0' });
  expect(on.state.said).toContain('version 1.1, confirmed');
  const all = await kinds(on);
  const order = ['update begun', 'update swap begun', 'update confirm begun', 'update confirmed'];
  const places = [...order, 'settings begun', 'restored', 'update finished'].map((kind) =>
    all.lastIndexOf(kind as (typeof all)[number]),
  );
  expect(places).toEqual([...places].sort((a, b) => a - b));
  expect(places[0]).toBeGreaterThan(0);
});

it('brings the old firmware back from the spare slot by the same steps', async () => {
  const on = await keptBoard();
  await choose(on, HEALTHY);
  await on.run(on.place.care.updateFirmware());
  await on.run(on.place.care.bringBackFirmware());
  expect(on.state.trouble).toBeUndefined();
  expect(runs(on)).toBe('1.0');
  expect(on.state.history.care.update).toMatchObject({ source: 'spare', phase: 'finished' });
  expect(setting(on, 'sleep')).toBe('25');
});

it.each(['silent', 'restarting'] as const)(
  'does not confirm firmware that is %s: the board goes back, and that is said',
  async (conduct) => {
    const on = await keptBoard();
    await choose(on, imageOf(CONDUCT[conduct]));
    await on.run(on.place.care.updateFirmware());
    expect(on.state.trouble).toBeUndefined();
    expect(on.state.history.care.update?.phase).toBe('undone');
    expect(on.state.said).toContain('went back to version 1.0 by itself');
    expect(runs(on)).toBe('1.0');
    expect(on.state.link.state).toBe('linked');
    expect(setting(on, 'sleep')).toBe('25');
    expect(await kinds(on)).not.toContain('update confirm begun');
  },
);

it('does not confirm firmware that makes nonsense of its memory, and has the board go back at once', async () => {
  const on = await keptBoard();
  const asked: string[] = [];
  on.place.onWire((what, line) => void (what === 'to_board' && asked.push(line)));
  on.onAppended = async ([entry]) => {
    if (entry!.kind === 'update swapped') on.garble = absurdTemperatureOf(56);
  };
  await choose(on, HEALTHY);
  const began = on.clock.now();
  await on.run(on.place.care.updateFirmware());
  expect(runs(on)).toBe('1.0');
  expect(on.state.history.care.update?.phase).toBe('undone');
  expect(asked.some((line) => / restart\b/.test(line))).toBe(true);
  expect(on.clock.now() - began).toBeLessThan(60_000); // a trial lasts two minutes
});

it('does not confirm firmware that answers at first and then starts again', async () => {
  const on = await keptBoard();
  on.onAppended = async ([entry]) => {
    if (entry!.kind === 'update swapped') on.clock.after(4000, () => on.board.restart());
  };
  await choose(on, HEALTHY);
  await on.run(on.place.care.updateFirmware());
  expect(on.state.history.care.update?.phase).toBe('undone');
  expect(runs(on)).toBe('1.0');
  expect(on.state.link.state).toBe('linked');
  expect(await kinds(on)).not.toContain('update confirm begun');
});

/** A board that lives on while pages come and go, behind a link that takes a while for each write. */
function lastingBoard(on: BenchInProcess) {
  const made = inProcessBoard(defaultSettings, on.clock);
  const slow: ByteLink = {
    label: 'an address',
    open: (listener) => made.link.open(listener),
    write: (bytes) =>
      new Promise((resolve, reject) => {
        on.clock.after(20, () => void made.link.write(bytes).then(resolve, reject));
      }),
    close: () => made.link.close(),
  };
  on.kinds = { socket: () => slow };
}

it('goes on with the sending after a pause in another page, with the file chosen again', async () => {
  const on = await BenchInProcess.opened();
  lastingBoard(on);
  await on.reload();
  const link = () => on.run(on.bench.link('socket', { address: 'board' }));
  await link();
  const file = madeUpImage(MADE_UP_FIRMWARE[0]!, HARDWARE);
  await choose(on, file);
  const sending = on.place.care.updateFirmware();
  while (!(on.state.work?.what ?? '').includes('left')) await on.pass(50);
  expect(on.state.work).toMatchObject({ of: 32, stoppable: true });
  await on.pass(100);
  await on.place.perform('stop');
  await on.run(sending);
  expect(on.state.trouble).toBeUndefined();
  expect(on.state.said).toContain('Paused');
  const { written = 0 } = careOf(on.state).image!;
  expect(written).toBeGreaterThan(0);
  expect(written).toBeLessThan(file.length);

  await on.ask('unlink');
  await on.reload();
  await link();
  expect(on.state.said).toContain(`${written} of its ${file.length} bytes are on the board`);
  expect(openUpdate(on.state.history.care)?.phase).toBe('sending');
  await choose(on, file);
  const places: number[] = [];
  on.place.onWire((what, line) => {
    const at = /\bput at=(\d+)/.exec(line)?.[1];
    if (what === 'to_board' && at !== undefined) places.push(Number(at));
  });
  await on.run(on.place.care.updateFirmware());
  expect(on.state.trouble).toBeUndefined();
  expect(places[0]).toBe(written);
  expect(runs(on)).toBe('1.1');
  expect((await kinds(on)).filter((kind) => kind === 'update begun')).toHaveLength(1);
});

it('goes on with the sending after the link dropped in the midst of it', async () => {
  const on = await keptBoard();
  await choose(on, HEALTHY);
  on.onAppended = async ([entry]) => {
    if (entry!.kind === 'update begun') on.board.dropAfter(1500);
  };
  await on.run(on.place.care.updateFirmware());
  expect(on.state.trouble?.heading).toBe('The link was lost');
  expect(runs(on)).toBe('1.0');
  await on.pass(2000); // it comes back by itself
  expect(on.state.link.state).toBe('linked');
  await on.run(on.place.care.updateFirmware());
  expect(on.state.trouble).toBeUndefined();
  expect(runs(on)).toBe('1.1');
  expect((await kinds(on)).filter((kind) => kind === 'update begun')).toHaveLength(1);
});

it('finishes at the next link when the page was closed while the board started the new firmware', async () => {
  const on = await keptBoard();
  await choose(on, HEALTHY);
  const updating = on.place.care.updateFirmware();
  while (on.state.history.care.update?.phase !== 'trying') await on.pass(10);
  expect(nextStep(on.state).heading).toBe('The board starts firmware 1.1');
  await on.reload();
  void updating.catch(() => {}); // of the page that is gone
  await on.pass(3000);
  if (on.state.link.state !== 'linked') await on.ask('link');
  expect(runs(on)).toBe('1.1');
  expect(on.state.history.care.update?.phase).toBe('finished');
  expect(setting(on, 'sleep')).toBe('25');
});

it('gives up firmware that is on its way when a person says so', async () => {
  const on = await keptBoard();
  await choose(on, HEALTHY);
  on.onAppended = async ([entry]) => {
    if (entry!.kind === 'update begun') on.board.dropAfter(1500);
  };
  await on.run(on.place.care.updateFirmware());
  await on.pass(2000);
  await on.run(on.place.care.giveUpFirmware());
  expect(on.state.history.care.update?.phase).toBe('given up');
  await on.ask('link');
  expect(runs(on)).toBe('1.0');
});

it('sends nothing of a file that is not for this board', async () => {
  const on = await keptBoard();
  const { length } = await on.logbook();
  await choose(on, formatImage({ hardware: 'another', version: '2', program: Uint8Array.of(0) }));
  expect(careOf(on.state).chosen?.judgement.unfit.map(({ cause }) => cause)).toEqual([
    'other_hardware',
  ]);
  await on.run(on.place.care.updateFirmware());
  expect(on.state.trouble?.heading).toBe('This firmware is not for this board now');
  expect(await on.logbook()).toHaveLength(length);
});

it('begins nothing on a low supply', async () => {
  const on = await keptBoard();
  on.board.quirk({ volt: 3.4 });
  await choose(on, HEALTHY);
  await on.run(on.place.care.updateFirmware());
  expect(on.state.trouble?.message).toContain('3.4 V');
  expect(await kinds(on)).not.toContain('update begun');
});

it('makes up firmware that behaves on a simulated board as it is named', () => {
  expect(MADE_UP_FIRMWARE.map(({ conduct }) => conduct)).toEqual([CONDUCT.healthy, CONDUCT.silent]);
});
