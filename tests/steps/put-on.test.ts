import { beforeAll, describe, expect, it } from 'vitest';
import { setCrc } from '../../src/protocol/messages.ts';
import type { ChosenSet, Entry } from '../../src/records/entries.ts';
import { calibrationCsv } from '../../src/steps/logbook/calibration-csv.ts';
import { proposed, readingsFrom } from '../../src/steps/logbook/readings-from-sheet.ts';
import { asChosen, setsOfBoard } from '../../src/steps/logbook/sets-of-board.ts';
import { splitSheet } from '../../src/steps/logbook/sheet-table.ts';
import { nextStep } from '../../src/steps/next-step.ts';
import { sealingWords } from '../../src/steps/sealing-words.ts';
import { BenchInProcess } from './bench-in-process.ts';

/** A set of the logbook is put on the board as it is: by the way of a fresh one, whatever becomes of the link. */

let two: BenchInProcess;
/** The set of generation 1; the board runs generation 2. */
let first: ChosenSet;

beforeAll(async () => {
  two = await BenchInProcess.opened();
  await two.ask('link', 'begin', 'take rest', 'fit', 'write', 'prove', 'end');
  const { model, values, crc, generation } = two.state.history.inForce!;
  const { id: calibration, sealed } = two.calibration;
  const fit = { calibration, id: sealed!.fit! };
  first = { set: { model, values }, crc, source: { generation, fit }, dip: 1.1 };
  await two.ask('begin', 'take rest', 'fit', 'write', 'prove', 'end');
}, 60_000);

/** That bench, as it stands, in a page just opened and linked. */
async function linked(): Promise<BenchInProcess> {
  const on = await two.copy();
  await on.reload();
  if (on.state.link.state !== 'linked') await on.ask('link');
  expect(on.state.history.inForce?.generation).toBe(2);
  return on;
}

const putOn = (on: BenchInProcess, chosen: ChosenSet) => on.place.putOn(chosen, on.place.serial!);

const kinds = async (on: BenchInProcess) => (await on.logbook()).map(({ kind }) => kind);
const count = async (on: BenchInProcess, kind: string) =>
  (await kinds(on)).filter((each) => each === kind).length;

it('says before what changes in degrees, what is saved, and how to come back', async () => {
  const on = await linked();
  const { changes, comparison, saved, back } = sealingWords(on.state.history, first);
  expect(changes).toContain('The coefficients of generation 1 go onto the board.');
  expect(changes).toContain('it will run generation 3');
  expect(comparison!.lead).toMatch(
    /^Against generation 2, which the board runs, .* inclination by 0\.\d+°/,
  );
  expect(comparison!.rows.map(({ name }) => name)).toContain('Magnetometer gain, the same axes');
  expect(saved).toContain('generation 2');
  expect(back).toContain('Generation 2 stays on the board');
});

it('seals an earlier set as a new generation, reads it back, and leads to the proof', async () => {
  const on = await linked();
  await on.run(putOn(on, first));
  const { inForce, previous } = on.state.history;
  expect(inForce).toMatchObject({ generation: 3, crc: first.crc, values: first.set.values });
  expect(previous?.generation).toBe(2);
  expect(on.calibration.sealed).toMatchObject({ generation: 3, replaced: 2, known: 'answer' });
  expect(nextStep(on.state)).toMatchObject({ place: 'Prove', main: { does: 'prove' } });
  await on.ask('prove');
  const { proof, truth } = on.calibration;
  expect(proof).toMatchObject({ generation: 3, passed: true, warnings: [] });
  expect(proof!.figures.map(({ name }) => name)).toContain(
    'length of the field since the fit changed by',
  );
  expect(truth!.generation).toBe(3);
  await on.ask('end');
  expect(nextStep(on.state).place).toBe('Done');
});

it('knows after a reload that it was sealed although the answer was lost, and seals it once', async () => {
  const on = await linked();
  on.onMemory = () => on.board.dropAfter(0);
  await on.run(putOn(on, first));
  on.onMemory = () => {};
  expect(on.calibration.sealed).toBeUndefined();
  expect(on.calibration.sealBegun).toEqual({ replaces: 2, crc: first.crc });
  await on.reload();
  if (on.state.link.state !== 'linked') await on.ask('link');
  expect(on.calibration.sealed).toMatchObject({ generation: 3, replaced: 2, known: 'read back' });
  expect(on.state.history.inForce).toMatchObject({ generation: 3, crc: first.crc });
  expect(nextStep(on.state).place).toBe('Prove');
  expect(await count(on, 'sealed')).toBe(3);
});

it('knows that it was not sealed when the link was lost before the board heard, and writes it then', async () => {
  const on = await linked();
  on.onAppended = async (entries) => {
    if (entries.some((entry) => entry.kind === 'seal begun')) on.board.dropAfter(0);
  };
  await on.run(putOn(on, first));
  on.onAppended = async () => {};
  await on.ask('link');
  expect(on.calibration.sealFailed).toMatchObject({ generation: 2, unchanged: true });
  expect(on.state.history.inForce?.generation).toBe(2);
  expect(nextStep(on.state)).toMatchObject({
    place: 'Seal',
    heading: 'Write the coefficients of generation 1 to the board',
    main: { does: 'write' },
  });
  await on.ask('write');
  expect(on.state.history.inForce).toMatchObject({ generation: 3, crc: first.crc });
});

describe.each(['set chosen', 'staged', 'seal begun', 'sealed'] as const)(
  'a page closed as soon as “%s” is written',
  (kind) => {
    it('goes on where it stood, and the board runs one set or the other', async () => {
      const on = await linked();
      let closed: (() => void) | undefined;
      const atIt = new Promise<void>((resolve) => (closed = resolve));
      on.onAppended = (entries) => {
        if (!entries.some((entry) => entry.kind === kind)) return Promise.resolve();
        closed!();
        return new Promise(() => {}); // the page is no more
      };
      void putOn(on, first);
      await on.run(atIt);
      on.onAppended = async () => {};
      await on.reload();
      if (on.state.link.state !== 'linked') await on.ask('link');
      const { generation, crc } = on.state.history.inForce!;
      expect([generation, crc === first.crc]).toEqual(kind === 'sealed' ? [3, true] : [2, false]);
      if (kind !== 'sealed') {
        expect(nextStep(on.state).main?.does).toBe('write');
        await on.ask('write');
      }
      expect(on.state.history.inForce).toMatchObject({ generation: 3, crc: first.crc });
      expect(nextStep(on.state).place).toBe('Prove');
    });
  },
);

it('writes nothing where the board runs just that set', async () => {
  const on = await linked();
  const { model, values, crc, generation } = on.state.history.inForce!;
  await on.run(putOn(on, { set: { model, values }, crc, source: { generation } }));
  expect(on.state.said).toContain('already');
  expect(on.state.history.inForce?.generation).toBe(2);
  expect(await kinds(on)).not.toContain('set chosen');
});

it('asks the board what it runs, where another bench has it otherwise in the logbook', async () => {
  const on = await linked();
  const { serial } = on.place;
  const second = on.state.history.inForce!;
  const sets = { inForce: { ...first.set, crc: first.crc, generation: 3 }, previous: second };
  const merged = async (number: number, time: string) => {
    const entry: Entry = { board: serial!, time, kind: 'coefficients saved', ...sets };
    const outcome = await on.run(on.records.merge([{ bench: 'far', number, entry }]));
    expect(outcome).toMatchObject({ ok: true, added: 1 });
    await on.run(on.place.recollect());
    expect(on.state.history.inForce?.crc).toBe(first.crc);
  };
  await merged(1, '2031-05-20T08:00:00.000Z');
  const { model, values, crc, generation } = second;
  await on.run(putOn(on, { set: { model, values }, crc, source: { generation } }));
  expect(on.state.said).toContain('already');
  expect(on.state.history.inForce).toMatchObject({ generation: 2, crc });
  expect(await kinds(on)).not.toContain('set chosen');

  await merged(2, '2031-05-21T08:00:00.000Z');
  await on.run(putOn(on, first));
  expect(on.state.said).not.toContain('already');
  expect(on.calibration.sealed).toMatchObject({ generation: 3, replaced: 2, known: 'answer' });
  await on.run(
    on.place.withBoard({ what: 'Looking', stoppable: false }, async (board) => {
      expect(await board.coefficients('in_force')).toMatchObject({ generation: 3, crc: first.crc });
    }),
  );
});

it('refuses a set that is for another board than the linked one, and writes nothing', async () => {
  const on = await linked();
  const before = await kinds(on);
  await on.run(on.place.putOn(first, 'SIM-OTHER'));
  expect(on.state.trouble).toMatchObject({
    heading: 'These coefficients are for another board',
    message: expect.stringContaining('They are for board SIM-OTHER'),
  });
  expect(await kinds(on)).toEqual(before);
  expect(on.state.history.inForce?.generation).toBe(2);
});

it('leaves the calibration under way, with all that was taken in it, and says so before', async () => {
  const on = await linked();
  await on.ask('begin', 'take one');
  const { id } = on.calibration;
  expect(sealingWords(on.state.history, first).changes).toContain('calibration under way is left');
  await on.run(putOn(on, first));
  const ofIt = (await on.logbook()).filter(({ calibration }) => calibration === id);
  expect(ofIt.map(({ kind }) => kind)).toEqual(
    expect.arrayContaining(['reading', 'calibration ended']),
  );
  expect(on.calibration.id).not.toBe(id);
  expect(on.state.history.inForce?.crc).toBe(first.crc);
});

it('proves coefficients made elsewhere too, and says what is not known of them', async () => {
  const on = await linked();
  const values = [...first.set.values];
  values[2] = Math.fround(values[2]! + 0.00001);
  const set = { model: first.set.model, values };
  await on.run(putOn(on, { set, crc: setCrc(set), source: { entered: 'From the workshop' } }));
  expect(on.state.history.inForce).toMatchObject({ generation: 3, values });
  await on.ask('prove');
  const { proof } = on.calibration;
  expect(proof).toMatchObject({ generation: 3, passed: true });
  expect(proof!.figures.map(({ name }) => name)).not.toContain(
    'length of the field since the fit changed by',
  );
  expect(proof!.warnings).toEqual([expect.stringContaining('no fit that gave these coefficients')]);
});

const FIELD_CHANGE = 'length of the field since the fit changed by';

it('proves what was fitted to a sheet in counts by what that fit says', async () => {
  const on = await linked();
  const { accMounting: acc, magMounting: mag } = on.state.history.identity!;
  const text = calibrationCsv(await on.logbook(), first.source.fit!.calibration)!;
  const table = splitSheet(text);
  if ('message' in table) throw new Error(table.message);
  const outcome = readingsFrom(table, {
    ...proposed(table),
    azimuths: 'relative',
    mounting: { acc: acc!, mag: mag! },
  });
  if (!outcome.ok) throw new Error(JSON.stringify(outcome));
  const { opened } = on.bench;
  await on.run(opened.keep({ board: on.place.serial!, by: 'hand', text, read: outcome.read }));
  await on.run(
    opened.mark({
      does: 'set aside',
      reading: opened.history!.calibration!.readings[0]!.id,
      reason: 'It moved',
    }),
  );
  await on.run(opened.fit());
  const { id } = opened.history!.calibration!;
  const { sets, dip } = setsOfBoard(await on.logbook());
  const fitted = sets.find(({ fit }) => fit?.calibration === id)!;
  expect(fitted.generations).toEqual([]);
  await on.run(putOn(on, asChosen(fitted, dip)));
  await on.ask('prove');
  const { proof } = on.calibration;
  expect(proof).toMatchObject({ generation: 3, passed: true, warnings: [] });
  expect(proof!.figures.map(({ name }) => name)).toContain(FIELD_CHANGE);
});

it('proves it by the fit that gave it, though another bench gave another fit the same name', async () => {
  const on = await linked();
  const { calibration, id } = first.source.fit!;
  const own = (await on.logbook()).find(
    (entry) => entry.kind === 'fit' && entry.calibration === calibration && entry.id === id,
  );
  if (own?.kind !== 'fit') throw new Error('there is no such fit');
  const { number: _, ...written } = own;
  const { o } = own.coefficients;
  const entry: Entry = {
    ...written,
    coefficients: { ...own.coefficients, o: [o[0] + 1, o[1], o[2]] },
    readings: own.readings.map((each) => ({ ...each, field: 2 * each.field })),
  };
  await on.run(on.records.merge([{ bench: 'far', number: 1, entry }]));
  await on.run(on.place.recollect());
  await on.run(putOn(on, first));
  await on.ask('prove');
  const { proof } = on.calibration;
  expect(proof!.figures.find(({ name }) => name === FIELD_CHANGE)!.value).toBeLessThan(1);
  expect(proof).toMatchObject({ generation: 3, passed: true, warnings: [] });
});

it('goes back from it to what was in force before', async () => {
  const on = await linked();
  const second = on.state.history.inForce!;
  await on.run(putOn(on, first));
  await on.ask('revert');
  expect(on.state.history.inForce).toMatchObject({ generation: 4, crc: second.crc });
});

it('is settled after a power cut at any write of it: the board runs the one set or the other', async () => {
  const whole = await linked();
  const before = whole.board.memoryWrites;
  await whole.run(putOn(whole, first));
  const writes = whole.board.memoryWrites - before;
  const outcomes: string[] = [];
  // a sample: the first and last writes, and some between
  for (const n of [1, 2, Math.floor(writes / 3), Math.floor(writes / 2), writes - 1, writes]) {
    const on = await linked();
    on.board.cutPowerAtWrite(n);
    await on.run(putOn(on, first));
    expect(on.board.hasPower).toBe(false);
    on.board.restart();
    await on.ask('link');
    const { inForce } = on.state.history;
    const isNew = inForce?.generation === 3 && inForce.crc === first.crc;
    if (!isNew) {
      expect(inForce?.generation).toBe(2);
      await on.ask('write');
    }
    expect(on.state.history.inForce).toMatchObject({ generation: 3, crc: first.crc });
    expect(nextStep(on.state).place).toBe('Prove');
    outcomes.push(isNew ? 'new' : 'old');
  }
  expect(outcomes).toContain('old');
});
