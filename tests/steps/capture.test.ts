import { expect, it } from 'vitest';
import { gapSlots, openSlots } from '../../src/steps/calibration-state.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import type { ByteLink } from '../../src/protocol/link.ts';
import { inProcessBoard } from '../../src/transport/in-process.ts';
import { defaultSettings } from '../../firmware-sim/settings.ts';
import { formatEvent, parseLine } from '../../src/protocol/line.ts';
import { asText } from './garbling.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** A reading counts for the place that it was aimed at, and for none where that is not known. */

const places = (on: BenchInProcess) =>
  on.calibration.readings.map((row) => `${row.sighting} ${row.aim?.roll}`);

/** The board takes the next reading, but the link drops before it can say so. */
function loseAnswer(on: BenchInProcess): void {
  on.onMemory = () => {
    on.onMemory = () => {};
    on.board.dropAfter(0);
  };
}

it('fetches a reading whose answer was lost, and gives it the place that it was aimed at', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take one');
  const [place] = openSlots(on.calibration);
  loseAnswer(on);
  await on.ask('take one');
  expect(on.state.link.state).toBe('lost');
  expect(nextStep(on.state).main?.does).toBe('link');
  await on.ask('link');
  expect(on.calibration.readings[1]).toMatchObject({
    id: '2',
    sighting: place.sighting.sighting,
    aim: { roll: place.roll },
  });
  expect(on.calibration.captureBegun).toBeUndefined();
  expect(on.state.said).toBe(
    'Reading 2 was fetched from the board’s memory and put in its place: north, level, rolled a quarter right.',
  );
  await on.ask('take rest');
  expect(new Set(places(on)).size).toBe(56);
});

it('gives a retaken reading whose answer was lost the gap that it was taken for, also after a reload', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting', 'take sighting');
  await on.run(
    on.place.mark({ does: 'set aside', reading: '2', reason: 'It moved while it was taken' }),
  );
  loseAnswer(on);
  await on.ask('take gaps');
  expect(on.state.link.state).toBe('lost');
  await on.reload();
  expect(on.calibration.readings).toHaveLength(9);
  expect(places(on)[8]).toBe(places(on)[1]);
  expect(gapSlots(on.calibration)).toEqual([]);
  expect(openSlots(on.calibration)).toHaveLength(48);
});

it('gives a proof reading whose answer was lost its place in the proof', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write');
  loseAnswer(on);
  await on.ask('prove', 'link', 'prove');
  expect(on.state.trouble).toBeUndefined();
  expect(on.calibration.readings).toHaveLength(56);
  expect(on.calibration.proof?.readings).toHaveLength(12);
});

it('keeps a reading of unknown aim out of the plan, and says so', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take one');
  on.isReachable = false;
  on.board.dropAfter(0);
  await on.pass(1);
  await on.run(on.board.press());
  await on.pass(1000);
  on.isReachable = true;
  await on.ask('link');
  expect(on.calibration.readings).toHaveLength(1);
  expect(on.state.history.found.map((each) => each.reading)).toEqual([2]);
  expect(on.state.said).toContain('fills no place of a plan');
});

it('knows that a capture did not happen when the link was lost before the board heard of it', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take sighting', 'take sighting');
  await on.run(
    on.place.mark({ does: 'set aside', reading: '2', reason: 'It moved while it was taken' }),
  );
  on.onAppended = async ([entry]) => {
    if (entry.kind === 'capture begun') on.board.dropAfter(0);
  };
  await on.ask('take gaps');
  on.onAppended = async () => {};
  await on.ask('link');
  expect(on.calibration.captureBegun).toBeUndefined();
  expect((await on.logbook()).at(-1)).toMatchObject({
    kind: 'capture failed',
    reason: 'The board’s memory holds no reading of it',
  });
  await on.ask('take one');
  const [place] = openSlots(on.calibration);
  await on.run(on.board.press()); // at what the screen asks for next, not at the gap
  await on.pass(1000);
  expect(places(on)[9]).toBe(`${place.sighting.sighting} ${place.roll}`);
});

it('gives a reading that comes after the person stopped waiting the place that it was taken for', async () => {
  const on = await BenchInProcess.opened({}, { captureMs: 2000 });
  await on.ask('link', 'begin', 'take sighting', 'take sighting');
  await on.run(
    on.place.mark({ does: 'set aside', reading: '2', reason: 'It moved while it was taken' }),
  );
  const taking = on.place.perform('take gaps');
  while (!on.calibration.captureBegun) await on.pass(50);
  await on.pass(500); // of the two seconds that a capture takes
  await on.place.perform('stop');
  await on.run(taking);
  expect(on.calibration.readings).toHaveLength(8);
  await on.ask('take rest');
  expect(places(on)[8]).toBe(places(on)[1]);
  expect(on.calibration.readings).toHaveLength(57);
  expect(new Set(places(on)).size).toBe(56);
});

/** What a board sends whose trigger was pressed just before it was greeted: the reading after the newest, as an event. */
function nextEvent(newest: string): string {
  const line = parseLine(newest);
  if (typeof line === 'string' || line.kind !== 'event') throw new Error('no event was seen');
  const reading = String(Number(line.fields['reading']?.[0]) + 1);
  return asText(formatEvent(1, line.event, { ...line.fields, reading }));
}

/** A link over which this line comes as soon as the board has answered hello. */
function saidAfterHello(link: ByteLink, line: string): ByteLink {
  return {
    label: link.label,
    open: ({ bytes, closed }) => {
      let greeted = false;
      return link.open({
        closed,
        bytes: (chunk) => {
          bytes(chunk);
          if (greeted || chunk.at(-1) !== 0x0a) return;
          greeted = true;
          bytes(Buffer.from(`${line}\n`));
        },
      });
    },
    write: (bytes) => link.write(bytes),
    close: () => link.close(),
  };
}

/** A bench whose board has taken one reading, and the event of it. */
async function withOneReading() {
  const on = await BenchInProcess.opened();
  let newest = '';
  on.garble = (line) => {
    if (line.startsWith('!')) newest = line;
    return line;
  };
  await on.ask('link', 'begin', 'take one');
  on.garble = (line) => line;
  return { on, newest };
}

it('records a reading that lands while another board is linked in its own logbook, not in that of the board before', async () => {
  const { on, newest } = await withOneReading();
  const cable = (seed: number) => inProcessBoard({ ...defaultSettings, seed }, on.clock).link;
  const [first, second] = [cable(7), cable(8)];
  let choice = second;
  on.kinds.serial = {
    label: 'USB cable',
    missing: async () => undefined,
    choose: async () => choice,
    permitted: async () => [],
  };
  on.bench.linkAnother();
  await on.run(on.bench.link('serial'));
  await on.ask('begin');
  choice = first;
  await on.ask('choose', 'begin', 'take one');

  choice = saidAfterHello(second, nextEvent(newest));
  await on.ask('choose');
  expect(on.calibration.readings.map((row) => row.reading.reading)).toEqual([2]);
  choice = first;
  await on.ask('choose');
  expect(on.calibration.readings.map((row) => row.reading.reading)).toEqual([1]);
});

it('asks for the reading after one that landed while the board was linked', async () => {
  const { on, newest } = await withOneReading();
  on.around = (link) => saidAfterHello(link, nextEvent(newest));
  await on.reload();
  await on.ask('take one');
  const begun = (await on.logbook()).findLast(({ kind }) => kind === 'capture begun');
  expect(begun).toMatchObject({ after: 2 });
});
