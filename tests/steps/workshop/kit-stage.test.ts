import { beforeAll, expect, it } from 'vitest';
import type { EntryOf } from '../../../src/records/entries.ts';
import { STAGES } from '../../../src/records/workshop-notes.ts';
import {
  afterEntry,
  EMPTY_HISTORY,
  type BoardHistory,
} from '../../../src/steps/calibration-state.ts';
import { NOT_SEEN, standingOf } from '../../../src/steps/workshop/kit-stage.ts';
import { BenchInProcess } from '../bench-in-process.ts';

const day = '2031-05-01';
const ORDINARY = { day, tolerance: { degrees: 1, grade: '5' as const } };

/** A board that was linked, one with a fit, and one that was proven. */
let linked: BoardHistory;
let fitted: BoardHistory;
let proven: BoardHistory;
let on: BenchInProcess;

beforeAll(async () => {
  on = await BenchInProcess.opened();
  await on.ask('link');
  linked = on.state.history;
  await on.ask('begin', 'take rest', 'fit');
  fitted = on.state.history;
  await on.ask('write', 'prove', 'end');
  proven = on.state.history;
}, 60_000);

const change = (
  history: BoardHistory,
  changes: Partial<NonNullable<BoardHistory['calibration']>>,
): BoardHistory => ({ ...history, calibration: { ...history.calibration!, ...changes } });

const checked = (
  verdict: EntryOf<'assembly checked'>['verdict'],
  faults: number,
): EntryOf<'assembly checked'> => ({
  kind: 'assembly checked',
  board: linked.identity!.serial,
  time: '2031-05-01T09:00:00.000Z',
  check: 'a1',
  verdict,
  findings: Array.from({ length: faults }, () => ({ fault: 'stuck', chip: 'acc', evidence: '' })),
  mounting: {},
  untold: [],
});

it('has a board that nobody linked before all stages, and one that is proven and put away after all', () => {
  expect(standingOf(EMPTY_HISTORY, ORDINARY)).toEqual({ stage: NOT_SEEN });
  expect(NOT_SEEN.step).toBe(0);
  const { stage, trouble } = standingOf(proven, ORDINARY);
  expect(stage).toEqual({ name: 'proven', words: 'proven', step: STAGES.length - 1 });
  expect(trouble).toBeUndefined();
});

it('tells how the assembly check stands until a calibration is begun, and its faults as trouble', () => {
  const begun = { ...linked, assembly: { now: { id: 'a1', since: '', looked: new Map(), times: new Map() } } }; // prettier-ignore
  expect(standingOf(begun, ORDINARY).stage).toMatchObject({
    name: 'linked',
    words: 'assembly check, 0 of 6 poses',
  });
  const sound = standingOf(afterEntry(linked, checked('sound', 0)), ORDINARY);
  expect(sound).toMatchObject({ stage: { name: 'assembly checked' } });
  expect(sound.trouble).toBeUndefined();
  expect(standingOf(afterEntry(linked, checked('faulty', 1)), ORDINARY).stage.name).toBe('linked');
  expect(standingOf(afterEntry(linked, checked('faulty', 1)), ORDINARY)).toMatchObject({
    stage: { name: 'linked' },
    trouble: 'a fault in the assembly',
  });
  expect(standingOf(afterEntry(linked, checked('faulty', 2)), ORDINARY).trouble).toBe('2 faults in the assembly'); // prettier-ignore
  const since = { ...proven, assembly: afterEntry(linked, checked('sound', 0)).assembly };
  expect(standingOf(since, ORDINARY).stage.name).toBe('proven');
});

it('keeps the faults of an assembly in trouble until it is checked again, or a set sealed since is proven', () => {
  const trouble = (history: BoardHistory) => standingOf(history, ORDINARY).trouble;
  const faulty = checked('faulty', 1);
  const later = afterEntry(fitted, faulty);
  expect(trouble(later)).toBe('a fault in the assembly');
  expect(trouble(afterEntry(later, checked('sound', 0)))).toBeUndefined();
  expect(trouble(afterEntry(proven, faulty))).toBe('a fault in the assembly'); // found since
  const { time } = proven.calibration!.sealed!;
  const before = new Date(Date.parse(time) - 1000).toISOString();
  expect(trouble(afterEntry(proven, { ...faulty, time: before }))).toBeUndefined();
});

it('judges by the tolerance of the workshop, whatever was chosen at the board', () => {
  expect(standingOf(fitted, ORDINARY)).toMatchObject({ stage: { words: 'judged: good enough' } });
  const strict = standingOf(fitted, { day, tolerance: { degrees: 0.05 } });
  expect(strict).toMatchObject({
    stage: { name: 'judged', words: 'judged: not good enough' },
    trouble: 'not good enough',
    result: { judged: 'bad', tolerance: { degrees: 0.05 } },
  });
  expect(standingOf(proven, { day, tolerance: { degrees: 0.05 } })).toMatchObject({
    stage: { name: 'written', words: 'written, not good enough' },
    trouble: 'not good enough',
  });
});

it('takes a proof for one only as far as it holds for the tolerance of the workshop, not of the board', () => {
  const proofWith = (name: string, value: number) => {
    const { proof } = proven.calibration!;
    const figures = proof!.figures.map((each) => (each.name === name ? { ...each, value } : each));
    return change(proven, { tolerance: { degrees: 5 }, proof: { ...proof!, figures } });
  };
  const half = { day, tolerance: { degrees: 0.5, grade: '6' as const } };
  const within = { 'mean spread': 0.49, 'dip varies by': 0.49, 'length of the field varies by': 0.99, 'length of gravity varies by': 0.49 }; // prettier-ignore
  for (const [name, value] of Object.entries(within)) {
    expect(standingOf(proofWith(name, value), half).stage.name).toBe('proven');
    expect(standingOf(proofWith(name, 2 * value), half)).toMatchObject({
      stage: { name: 'written', words: 'written, the proof does not hold for ±0.5°' },
      trouble: 'the proof does not hold for ±0.5°',
      result: { proof: { passed: true, holds: false } },
    });
    const coarse = { day, tolerance: { degrees: 5 } };
    expect(standingOf(proofWith(name, 2 * value), coarse).stage.name).toBe('proven');
  }
  const { proof } = proven.calibration!;
  const bare = change(proven, { proof: { ...proof!, figures: [] } });
  expect(standingOf(bare, half).stage.name).toBe('written');
});

it('does not show as done at the workshop what was done before it, and says of when it is', () => {
  const later = { ...ORDINARY, day: '2031-05-09' };
  const before = standingOf(proven, later);
  expect(before.stage).toMatchObject({ name: 'linked', words: expect.stringMatching(/^proven before, \d+ \w+ 2031$/) }); // prettier-ignore
  expect(before).not.toHaveProperty('result');
  expect(before).not.toHaveProperty('trouble');
  expect(standingOf(fitted, later)).toMatchObject({ stage: { name: 'linked', words: expect.stringContaining('begun before') } }); // prettier-ignore
  const fault = afterEntry(linked, checked('faulty', 1));
  expect(standingOf(fault, later)).toMatchObject({ stage: { words: 'linked' }, trouble: 'a fault in the assembly' }); // prettier-ignore
  expect(standingOf(afterEntry(linked, checked('sound', 0)), later).stage.name).toBe('linked');
});

it('gives no result of a fit that readings have changed since, nor of a calibration that was left', () => {
  const stale = change(fitted, { fit: { ...fitted.calibration!.fit!, stale: true } });
  expect(standingOf(stale, ORDINARY)).toEqual({
    stage: { name: 'taking readings', words: 'readings 56 of 56', step: 3, progress: { done: 56, of: 56 } },
  }); // prettier-ignore
  const left = change(fitted, { ended: { outcome: 'abandoned', reason: '', time: '' } });
  expect(standingOf(left, ORDINARY)).toEqual({ stage: { name: 'linked', words: 'linked', step: 1 } }); // prettier-ignore
});

it('says of a proof that did not pass, and of a proof that is under way, that it is only written', () => {
  const proof = { ...proven.calibration!.proof!, passed: false };
  const failed = standingOf(change(proven, { proof }), ORDINARY);
  expect(failed).toMatchObject({
    stage: { name: 'written', words: 'written, the proof did not pass' },
    trouble: 'the proof did not pass',
    result: { proof: { passed: false } },
  });
  const { proof: _, ...rest } = proven.calibration!;
  const underWay = {
    ...proven,
    calibration: { ...rest, proofReadings: rest.proofReadings.slice(0, 3) },
  };
  expect(standingOf(underWay, ORDINARY)).toMatchObject({
    stage: { words: 'written, 3 of 12 fresh readings', progress: { done: 3, of: 12 } },
  });
  expect(standingOf(underWay, ORDINARY).result).not.toHaveProperty('proof');
});

it('does not take coefficients that the board no longer runs for a result that stands', () => {
  const other = { ...proven, inForce: { ...proven.inForce!, generation: 7 } };
  const { stage, result } = standingOf(other, ORDINARY);
  expect(stage.name).toBe('linked');
  expect(result).toBeUndefined();
});

it('names what keeps a fit from being made or written', () => {
  const { fit: _, ...rest } = fitted.calibration!;
  const refusal = { cause: 'undetermined', message: '', next: '', stale: false } as const;
  const refused = { ...fitted, calibration: { ...rest, refusal } };
  expect(standingOf(refused, ORDINARY).trouble).toBe('no fit from these readings');
  const again = { ...fitted, calibration: { ...rest, refusal: { ...refusal, stale: true } } };
  expect(standingOf(again, ORDINARY).trouble).toBeUndefined();
  const sealFailed = { generation: 0, reason: '', unchanged: true };
  expect(standingOf(change(fitted, { sealFailed }), ORDINARY).trouble).toBe('it was not written');
});
