import { beforeAll, describe, expect, it } from 'vitest';
import { degrees } from '../../../src/calib/geometry.ts';
import { applyCoefficients, type Coefficients } from '../../../src/calib/model.ts';
import { readCoefficients } from '../../../src/records/coefficients-file.ts';
import type { KeptReading } from '../../../src/steps/calibration-state.ts';
import { modelsSideBySide, shownFit } from '../../../src/steps/fit-figures.ts';
import { judgementOf } from '../../../src/steps/judgement.ts';
import type { SheetToKeep } from '../../../src/steps/logbook/opened-calibration.ts';
import { proposed, readingsFrom } from '../../../src/steps/logbook/readings-from-sheet.ts';
import { coefficientsFileOf } from '../../../src/steps/logbook/sets-out.ts';
import { splitSheet } from '../../../src/steps/logbook/sheet-table.ts';
import { nextStep } from '../../../src/steps/next-step.ts';
import { BenchInProcess } from '../bench-in-process.ts';
import { printed } from './printed-sheet.ts';

/** A calibration of the logbook is fitted and judged with no board linked; so is one from a sheet. */

let bench: BenchInProcess;
let readings: readonly KeptReading[];
let raw: Coefficients;

/** What a maker's own program may print for a count of either chip. */
const G_PER_COUNT = 1 / 16_384;
const MICROTESLA_PER_COUNT = 0.0146;

beforeAll(async () => {
  bench = await BenchInProcess.opened();
  await bench.ask('link', 'begin', 'take rest', 'fit');
  ({ readings } = bench.calibration);
  raw = bench.calibration.fit!.coefficients;
}, 60_000);

/** That bench as it stands, in a page just opened. */
async function reopened(): Promise<BenchInProcess> {
  const on = await bench.copy();
  await on.reload();
  return on;
}

/** The readings as a spreadsheet has them: in g and µT, with decimal commas, and tabs between. */
function sheetText(): string {
  const names = ['no', 'sighting', 'ax [g]', 'ay [g]', 'az [g]', 'mx [µT]', 'my [µT]', 'mz [µT]'];
  return printed(
    [
      [...names, 'temperature [°C]', 'azimuth [°]', 'inclination [°]', 'roll [°]'],
      ...readings.map(({ id, sighting, reading, aim }) => [
        id,
        sighting!,
        ...reading.acc.map((count) => count * G_PER_COUNT),
        ...reading.mag.map((count) => count * MICROTESLA_PER_COUNT),
        reading.temperature!,
        aim!.azimuth!,
        aim!.inclination!,
        aim!.roll!,
      ]),
    ],
    { separator: 'tab', decimal: 'comma', digits: 6 },
  );
}

function sheetToKeep(board: string): SheetToKeep {
  const text = sheetText();
  const table = splitSheet(text);
  if ('message' in table) throw new Error(table.message);
  const { accMounting: acc, magMounting: mag } = bench.state.history.identity!;
  const outcome = readingsFrom(table, {
    ...proposed(table),
    azimuths: 'relative',
    mounting: { acc: acc!, mag: mag! },
  });
  if (!outcome.ok) throw new Error(JSON.stringify(outcome));
  return { board, boardName: 'By hand', by: 'hand', text, read: outcome.read };
}

it('says of a fit what the model that was not taken said, though no provisional one is made any more', async () => {
  const on = await reopened();
  const { board, id } = bench.calibration;
  await on.run(on.bench.opened.open(board, id));
  const shown = shownFit(on.bench.opened.history!, undefined)!;
  if ('ok' in shown) throw new Error('nothing is shown');
  const { rows } = modelsSideBySide(shown)!;
  expect(rows.flatMap(({ straight, bowed }) => [straight, bowed])).not.toContain('not known');
  const [own, other] = [shown.fit.uncertainty, shown.fit.otherModel!.uncertainty];
  expect(other.azimuth).toBeGreaterThan(own.azimuth); // three more unknowns
});

describe('a sheet that was kept', () => {
  it('is fitted and judged with no board linked, and says the same as a fit of the raw counts', async () => {
    const on = await BenchInProcess.opened();
    const { opened } = on.bench;
    expect(await on.run(opened.keep(sheetToKeep('SHEET-1')))).toBe(true);
    await on.run(opened.fit());
    expect(opened.state.trouble).toBeUndefined();
    const { fit } = opened.history!.calibration!;
    expect(fit!.readings).toHaveLength(readings.length);
    expect(judgementOf(opened.history!)!.standing).not.toBe('bad');
    // The sheet has six decimals: half of the last is 5·10⁻⁷ g or µT beside noise of some 10⁻³, and both fits stop
    // when nothing is left to gain. What is left is far below what a reading can show, 0.01°.
    for (const { reading } of readings) {
      const here = applyCoefficients(raw, reading.acc, reading.mag);
      const there = applyCoefficients(
        fit!.coefficients,
        reading.acc.map((count) => count * G_PER_COUNT * 1000) as unknown as typeof reading.acc,
        reading.mag.map(
          (count) => count * MICROTESLA_PER_COUNT * 1000,
        ) as unknown as typeof reading.mag,
      );
      for (const [a, b] of [
        [here.g, there.g],
        [here.b, there.b],
      ] as const) {
        const angle = Math.acos(
          Math.min(
            1,
            (a[0] * b[0] + a[1] * b[1] + a[2] * b[2]) / Math.hypot(...a) / Math.hypot(...b),
          ),
        );
        expect(degrees(angle)).toBeLessThan(0.01);
      }
      // lengths: as a ratio
      expect(there.gravity / here.gravity).toBeCloseTo(1, 3);
      expect(there.field / here.field).toBeCloseTo(1, 3);
    }
  }, 60_000);

  it('is in the logbook with its text and units as they were given, counts as a board of its own, and is there after a reload', async () => {
    const on = await BenchInProcess.opened();
    const kept = sheetToKeep('SHEET-1');
    await on.run(on.bench.opened.keep(kept));
    const { calibration } = on.bench.opened.history!;
    expect(calibration!.entered).toMatchObject({
      text: kept.text,
      units: { acc: 'g', mag: 'µT', angle: 'degrees', temperature: '°C' },
      scales: { acc: 1000, mag: 50_000 },
      by: 'hand',
    });
    await on.reload();
    await on.bench.logbook.open('SHEET-1');
    const { boards, opened } = on.bench.logbook.state;
    expect(boards).toMatchObject([{ serial: 'SHEET-1', name: 'By hand', calibrations: 1 }]);
    expect(opened!.entries).toHaveLength(1 + readings.length);
    await on.run(on.bench.opened.open('SHEET-1', calibration!.id));
    expect(on.bench.opened.history!.calibration).toEqual(calibration);
  });

  it('of a board that is at the bench never takes the place of the calibration under way there', async () => {
    const on = await reopened();
    if (on.state.link.state !== 'linked') await on.ask('link');
    const { id } = on.calibration;
    const step = nextStep(on.state);
    await on.run(on.bench.opened.keep(sheetToKeep(on.place.serial!)));
    await on.run(on.bench.opened.fit());
    expect(on.bench.opened.state.trouble).toBeUndefined();
    expect(on.bench.opened.history!.calibration!.id).not.toBe(id);
    expect(on.calibration.id).toBe(id);
    await on.reload();
    if (on.state.link.state !== 'linked') await on.ask('link');
    expect(on.calibration.id).toBe(id);
    expect(nextStep(on.state)).toEqual(step);
  }, 60_000);

  it('is kept whole or not at all', async () => {
    const on = await BenchInProcess.opened();
    on.onAppend = () => ({ ok: false, cause: 'quota', message: 'There is no room left.' });
    expect(await on.run(on.bench.opened.keep(sheetToKeep('SHEET-1')))).toBe(false);
    expect(on.bench.opened.state.trouble!.message).toContain('no room');
    expect(on.bench.opened.history).toBeUndefined();
    on.isAlone = false;
    const other = await on.anotherPage({ isAlone: false });
    expect(await other.run(other.bench.opened.keep(sheetToKeep('SHEET-1')))).toBe(false);
    expect(other.bench.opened.state.trouble!.heading).toBe('Another page holds the bench');
  });
});

describe('a calibration of the logbook', () => {
  it('is left to the bench while its board is linked there, and can be worked on once it is not', async () => {
    const on = await reopened();
    if (on.state.link.state !== 'linked') await on.ask('link');
    const { opened } = on.bench;
    const { id, board } = on.calibration;
    await on.run(opened.open(board, id));
    await on.run(opened.fit());
    expect(opened.state.trouble!.heading).toBe('This calibration is at the bench');
    expect(on.calibration.fits).toHaveLength(1);
    on.isReachable = false;
    on.board.dropAfter(0);
    await on.pass(5000);
    await on.run(
      opened.mark({
        does: 'set aside',
        reading: readings[3]!.id,
        reason: 'It moved while it was taken',
      }),
    );
    await on.run(opened.fit());
    expect(opened.state.trouble).toBeUndefined();
    expect(opened.history!.calibration!.fits).toHaveLength(2);
    // the bench sees it too, and not twice
    expect(on.calibration.fits).toHaveLength(2);
    expect(on.calibration.readings.map(({ id }) => id)).toEqual(readings.map(({ id }) => id));
    expect(on.calibration.readings[3]!.setAside?.by).toBe('person');
    await on.run(opened.undo());
    expect(on.calibration.readings[3]!.setAside).toBeUndefined();
    expect(on.calibration.fit!.stale).toBe(true);
  }, 60_000);

  it('that was opened is the one judged, whichever is the newest; its coefficients are taken out as a file', async () => {
    const on = await reopened();
    if (on.state.link.state !== 'linked') await on.ask('link');
    const { id, board } = on.calibration;
    await on.ask('begin', 'take sighting');
    expect(on.calibration.id).not.toBe(id);
    const { opened } = on.bench;
    await on.run(opened.open(board, id));
    expect(opened.history!.calibration!.readings).toHaveLength(readings.length);
    await on.run(opened.chooseTolerance({ degrees: 2 }));
    await on.run(opened.fit());
    expect(opened.state.trouble).toBeUndefined();
    expect(opened.history!.calibration!.fits).toHaveLength(2);
    expect(on.calibration.readings).toHaveLength(4);
    const { content } = coefficientsFileOf(opened.history!)!;
    const file = readCoefficients(new TextEncoder().encode(content));
    expect(file.ok && file.coefficients.A[0]).toBeCloseTo(raw.A[0], 6);
    expect(file.ok && file.basis!.readings).toBe(readings.length);
    await on.run(
      opened.mark({ does: 'set aside', reading: readings[0]!.id, reason: 'Taken twice' }),
    );
    expect(coefficientsFileOf(opened.history!)).toBeUndefined();
  }, 60_000);
});
