import { beforeAll, expect, it } from 'vitest';
import '../../../src/steps/checks/verdict.ts'; // it is loaded when it is asked for, and virtual time does not wait
import { courseOf } from '../../../src/steps/logbook/board-course.ts';
import { whenAgain } from '../../../src/steps/logbook/when-again.ts';
import type { CheckTerms } from '../../../src/records/entries.ts';
import { awaitsSwap, openCheckPlaces } from '../../../src/steps/checks/check-history.ts';
import type { Intention } from '../../../src/steps/next-step.ts';
import { BenchInProcess } from '../bench-in-process.ts';

/** Checks in the field at a bench: the simulated board, its hand, and the real logbook. */

const ROLLS: CheckTerms = { check: 'rolls', mark: 'the spire', each: 2 };
const SWAP: CheckTerms = { check: 'battery swap', each: 2 };
const GRADE3 = { degrees: 2.5, grade: '3' as const };
const GRADE5 = { degrees: 1, grade: '5' as const };

let sealed: BenchInProcess;
beforeAll(async () => {
  sealed = await BenchInProcess.opened();
  await sealed.ask('link', 'begin', 'take rest', 'fit', 'write');
}, 60_000);

/** A bench of its own whose board runs sealed coefficients. */
async function calibrated(): Promise<BenchInProcess> {
  const on = await sealed.copy();
  await on.reload();
  await on.ask('link');
  return on;
}

const checks = (on: BenchInProcess) => on.state.history.checks;
const kinds = async (on: BenchInProcess) => (await on.logbook()).map(({ kind }) => kind);

it.each<CheckTerms>([
  ROLLS,
  { check: 'fore and back', each: 3 },
  {
    check: 'known bearings',
    north: 'true',
    declination: 3,
    declinationError: 0,
    convergence: 0,
    trueTo: 0.1,
    each: 4,
    marks: [
      { mark: 'spire', bearing: 1 },
      { mark: 'mast', bearing: 140 },
      { mark: 'summit', bearing: 260 },
    ],
  },
  { check: 'loop', lengths: [12, 9, 15, 8, 11], lengthsTo: 0.02, each: 2 },
])('passes a board just calibrated: $check', async (terms) => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(terms, GRADE5));
  await on.ask('check rest');
  const record = checks(on).records[terms.check]!;
  expect(record).toMatchObject({ verdict: 'passed', generation: 1, warnings: [] });
  if (terms.check === 'loop') expect(record.figures.map(({ n }) => n)).toEqual(Array(7).fill(20));
  expect(checks(on).now).toBeUndefined();
  const [told] = courseOf(await on.logbook());
  expect(told).toMatchObject({ mark: 'good' });
  expect(told!.title).toContain(': passed');
  // none of its readings is one of the calibration, or of its proof
  expect(on.calibration.proofReadings).toEqual([]);
  expect(on.calibration.fit?.stale).toBe(false);
});

it('goes on after a reload where it was broken off, and leaves no reading to be found again', async () => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  for (let i = 0; i < 3; i++) await on.ask('check one');
  await on.reload();
  expect(checks(on).now?.readings.size).toBe(3);
  await on.ask('link');
  expect(on.state.history.found).toEqual([]);
  expect(openCheckPlaces(checks(on).now!)[0]?.place).toBe('270° 1');
  await on.ask('check rest');
  expect(checks(on).records.rolls?.verdict).toBe('passed');
});

it('takes a press of the trigger for its next place, and says then what all of them come to', async () => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  await on.run(on.board.press());
  await on.pass(2000);
  expect([...checks(on).now!.readings.keys()]).toEqual(['0° 1']);
  expect(on.calibration.proofReadings).toEqual([]);
  await on.ask('leave check');
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  expect(checks(on).now!.readings.size).toBe(0);
});

/** Stops what the bench does half a second into a capture, of the two that it takes. */
async function stopIn(on: BenchInProcess, does: Intention, isSent: () => boolean): Promise<void> {
  const taking = on.place.perform(does);
  while (!isSent()) await on.pass(50);
  await on.pass(500);
  await on.place.perform('stop');
  await on.run(taking);
}

it.each(['the calibration is open', 'the calibration is ended'])(
  'keeps apart the late reading of a capture that was stopped, and its own: %s',
  async (then) => {
    const on = await BenchInProcess.opened({}, { captureMs: 2000 });
    await on.ask('link', 'begin', 'take rest', 'fit', 'write');
    await stopIn(on, 'prove', () => on.calibration.captureBegun !== undefined);
    if (then.endsWith('ended')) await on.ask('end');
    await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
    const proven = on.calibration.proofReadings.length;
    expect(proven).toBe(then.endsWith('ended') ? 0 : 1); // the late one has come before the check
    await on.ask('check one');
    await on.run(on.board.press());
    await on.pass(4000);
    expect([...checks(on).now!.readings.keys()]).toEqual(['0° 1', '90° 1']);
    expect(on.calibration.proofReadings).toHaveLength(proven);
  },
);

it('tells of a reading that was taken unturned or moving, and keeps that with what the check came to', async () => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  await on.ask('check one');
  await on.run(on.board.press()); // at the place before
  await on.pass(2000);
  expect(on.state.said).toContain('was the board turned?');
  on.board.quirk({ tremor: 60 });
  await on.ask('check one');
  expect(on.state.said).toContain('It moved while it was taken');
  on.board.quirk({ tremor: 0 });
  await on.ask('check rest');
  const { warnings } = checks(on).records.rolls!;
  expect(warnings.map((each) => each.split(': ')[1])).toEqual([
    'This looks like the reading before',
    'It moved while it was taken',
  ]);
});

it('leaves a reading on the board that the check has no place for, and says so', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link', 'begin', 'take rest', 'fit', 'write', 'end', 'begin');
  await on.run(on.place.fieldChecks.begin(SWAP, GRADE3));
  await on.ask('check rest');
  await on.run(on.board.press());
  await on.pass(2000);
  expect(on.calibration.readings).toEqual([]);
  expect(on.state.said).toContain('stays on the board');
});

it('gives a reading that comes after the person stopped waiting the place of the check that it was taken for', async () => {
  const on = await BenchInProcess.opened({}, { captureMs: 2000 });
  await on.ask('link', 'begin', 'take rest', 'fit', 'write');
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  await on.ask('check one', 'check one');
  await stopIn(on, 'check again', () => on.state.work?.done === 0);
  await on.pass(4000);
  expect([...checks(on).now!.readings].map(([place, { reading }]) => [place, reading])).toEqual([
    ['0° 1', 57],
    ['90° 1', 59],
  ]);
});

it('counts the newer reading of a place that was taken again', async () => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  await on.ask('check one');
  const first = checks(on).now!.readings.get('0° 1')!.reading;
  await on.ask('check again');
  expect(checks(on).now!.readings.size).toBe(1);
  expect(checks(on).now!.readings.get('0° 1')!.reading).toBe(first + 1);
});

it('takes what comes after a change of battery only once a person says that it is changed: no link tells', async () => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(SWAP, GRADE3));
  await on.ask('check rest');
  expect(checks(on).now!.readings.size).toBe(16);
  await on.ask('unlink', 'link');
  expect(awaitsSwap(checks(on).now!)).toBe(true);
  await on.ask('check rest');
  expect(checks(on).now!.readings.size).toBe(16);
  await on.ask('battery is changed', 'unlink', 'link');
  expect(awaitsSwap(checks(on).now!)).toBe(false);
  await on.reload();
  await on.ask('link', 'check again'); // the last one was before the change
  expect(checks(on).now!.readings.size).toBe(16);
  await on.ask('check rest');
  expect(checks(on).records['battery swap']?.verdict).toBe('passed');
});

it('counts nothing that was taken after a change of battery that is withdrawn', async () => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(SWAP, GRADE3));
  await on.ask('check rest', 'battery is changed', 'check one');
  expect(checks(on).now!.readings.size).toBe(17);
  const { board, time } = (await on.logbook()).at(-1)!;
  const of = checks(on).now!.swap!;
  await on.run(on.place.record({ kind: 'remark withdrawn', board, time, of }));
  expect(checks(on).now!.readings.size).toBe(16);
  expect(awaitsSwap(checks(on).now!)).toBe(true);
});

it('leaves the check under way when another is begun', async () => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  const { id } = checks(on).now!.begun;
  await on.run(on.place.fieldChecks.begin(SWAP, GRADE3));
  const left = (await on.logbook()).filter(({ kind }) => kind === 'check left');
  expect(left).toMatchObject([{ check: id }]);
  expect(checks(on).now!.begun.terms).toEqual(SWAP);
});

it('finds that another battery is magnetic', async () => {
  const on = await calibrated();
  await on.run(on.place.fieldChecks.begin(SWAP, GRADE3));
  await on.ask('check rest');
  await on.ask('unlink', 'link', 'battery is changed');
  on.board.quirk({ jolt: { afterReading: 0, shift: 0.1 } });
  await on.ask('check rest');
  const { figures, verdict } = checks(on).records['battery swap']!;
  expect(verdict).toBe('failed');
  const iron = figures.find(({ name }) => name.startsWith('Hard iron'))!;
  expect(Math.abs(iron.value - 10)).toBeLessThan(iron.half);
});

it('gives a failed check as a reason to calibrate again, until one of its kind is passed', async () => {
  const on = await calibrated();
  const rules = async () => {
    const [board] = await on.records.boardsInShort();
    return whenAgain(board!, '2031-05-02T00:00:00.000Z').reasons.map(({ rule }) => rule);
  };
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  await on.ask('check rest');
  expect(await rules()).not.toContain('failed check');
  on.board.quirk({ jolt: { afterReading: 0, shift: 0.1 } });
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  await on.ask('check rest');
  expect(checks(on).records.rolls?.verdict).toBe('failed');
  expect(await rules()).toContain('failed check');
});

it('begins nothing on a board that runs no coefficients', async () => {
  const on = await BenchInProcess.opened();
  await on.ask('link');
  await on.run(on.place.fieldChecks.begin(ROLLS, GRADE5));
  expect(on.state.trouble?.heading).toBe('There is nothing to check yet');
  expect(await kinds(on)).not.toContain('check begun');
});
