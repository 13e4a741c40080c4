import { describe, expect, it } from 'vitest';
import type { Attitude } from '../../../src/protocol/simulator.ts';
import type { AssemblyPose } from '../../../src/records/entries.ts';
import {
  beginAssembly,
  insistOn,
  leaveAssembly,
  lookAssembly,
  nextAt,
  type LookOutcome,
} from '../../../src/steps/assembly/assembly-check.ts';
import { assemblyOf, POSES } from '../../../src/steps/assembly/assembly-history.ts';
import { POSE, turnWords } from '../../../src/steps/assembly/poses.ts';
import { glance } from '../../../src/steps/board-glance.ts';
import { foldHistory } from '../../../src/steps/calibration-state.ts';
import { courseOf } from '../../../src/steps/logbook/board-course.ts';
import { nextStep } from '../../../src/steps/next-step.ts';
import { BenchInProcess } from '../bench-in-process.ts';

const at = ({ bench, place }: BenchInProcess) => ({
  place,
  site: bench.site,
  today: () => bench.logbook.now(),
});
const begin = (on: BenchInProcess) => on.run(beginAssembly(at(on)));
const look = (on: BenchInProcess) => on.run(lookAssembly(at(on)));

/** Whoever holds the board brings it there. */
const hold = (on: BenchInProcess, pose: AssemblyPose, but: Partial<Attitude> = {}) =>
  on.board.hold({ ...POSE[pose], ...but });

async function linked(
  ...settings: Parameters<typeof BenchInProcess.opened>
): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened(...settings);
  await on.ask('link');
  return on;
}

function problemOf(outcome: LookOutcome) {
  if (outcome.done || !('problem' in outcome)) throw new Error('the turn was taken');
  return outcome;
}

describe('the check of a simulated board’s assembly', () => {
  it('goes through all poses by its own hand, is in the logbook, and changes nothing on the board', async () => {
    const on = await linked();
    expect(assemblyOf(on.state.history)).toEqual({ stage: 'not checked' });
    const writes = on.board.memoryWrites;
    await begin(on);
    expect(assemblyOf(on.state.history)).toMatchObject({ stage: 'under way', looked: 0, of: 6 });
    expect(await look(on)).toEqual({ done: true });
    expect(on.state.trouble).toBeUndefined();
    expect(assemblyOf(on.state.history)).toMatchObject({
      stage: 'checked',
      verdict: 'sound',
      faults: 0,
    });
    expect(on.state.history.assembly.newest?.mounting).toEqual({ acc: '-x-y-z', mag: '+y-x+z' });
    expect(on.board.memoryWrites).toBe(writes);
    const entries = await on.logbook();
    const looked = entries.filter(({ kind }) => kind === 'assembly looked at');
    expect(looked.map((entry) => 'pose' in entry && entry.pose)).toEqual(POSES);
    expect(foldHistory(entries).assembly).toEqual(on.state.history.assembly);
  });

  it('names the fault that the board was given, in its course too', async () => {
    const on = await linked({ boardFault: 'mag-swapped' });
    await begin(on);
    await look(on);
    expect(assemblyOf(on.state.history)).toMatchObject({ verdict: 'faulty', faults: 1 });
    const told = courseOf(await on.logbook()).find(({ title }) => title.startsWith('Assembly'));
    expect(told).toMatchObject({
      title: 'Assembly checked: something is wrong with it',
      mark: 'bad',
    });
    expect(told?.words.join(' ')).toContain('two axes exchanged (its axes y and z)');
    await on.board.adjust({ boardFault: 'none' });
    await begin(on);
    await look(on);
    expect(assemblyOf(on.state.history)).toMatchObject({ verdict: 'sound', faults: 0 });
  });

  it.each(['supply-low', 'mag-full'] as const)(
    'ends at once where the board refuses to read its sensors (%s), and asks for no turns',
    async (boardFault) => {
      const on = await linked({ boardFault });
      await begin(on);
      await look(on);
      const entries = await on.logbook();
      expect(entries.filter(({ kind }) => kind === 'assembly looked at')).toHaveLength(1);
      expect(on.state.history.assembly.newest?.findings).toHaveLength(1);
      expect(on.state.trouble).toBeUndefined();
    },
  );

  it('goes on where it was when the page is closed in the midst of it', async () => {
    const on = await linked();
    await begin(on);
    const going = lookAssembly(at(on));
    await on.pass(9000);
    await on.reload();
    await on.run(going.catch(() => undefined));
    await on.ask('link');
    const { now } = on.state.history.assembly;
    expect(now!.looked.size).toBeGreaterThan(0);
    expect(now!.looked.size).toBeLessThan(6);
    const first = now!.looked.get('at rest');
    await look(on);
    expect(assemblyOf(on.state.history)).toMatchObject({ verdict: 'sound' });
    expect(first).toBeDefined();
  });

  it('can be left, and begun again', async () => {
    const on = await linked();
    await begin(on);
    await on.run(leaveAssembly(at(on)));
    expect(assemblyOf(on.state.history)).toEqual({ stage: 'not checked' });
    expect(nextAt(at(on))).toBeUndefined();
    await begin(on);
    expect(nextAt(at(on))).toEqual({ pose: 'at rest' });
  });
});

it('is gone on with, or its faults mended, before a calibration is offered, which can be begun all the same', async () => {
  const on = await linked({ boardFault: 'mag-swapped' });
  const next = () => nextStep(on.state);
  expect(next().main?.does).toBe('begin');
  await begin(on);
  expect(next()).toMatchObject({
    heading: 'Go on with the check of its assembly',
    main: { does: 'see assembly' },
  });
  await look(on);
  expect(next()).toMatchObject({
    heading: 'Mend it, then check it again',
    main: { does: 'see assembly' },
    others: [{ label: 'Begin all the same', does: 'begin' }],
  });
  expect(glance(on.state)).toMatchObject({
    shape: 'bad',
    next: 'Mend it, then check it again',
    result: { words: 'It has a fault in the assembly' },
  });
  expect(glance(on.state)).not.toHaveProperty('offer');
  await on.ask('begin');
  expect(next().main?.does).toBe('take one');
  expect(glance(on.state)).toMatchObject({ shape: 'bad', result: { shape: 'bad' } });
  await on.ask('leave');
  expect(next().others.map(({ does }) => does)).toEqual(['begin', 'resume']);
  await on.board.adjust({ boardFault: 'none' });
  await begin(on);
  await look(on);
  expect(next().main?.does).toBe('begin');
  expect(glance(on.state).shape).toBe('now');
});

describe('in a person’s hand', () => {
  const inHand = async (...settings: Parameters<typeof BenchInProcess.opened>) => {
    const on = await linked(...settings);
    await on.run(on.place.turnMyself(true));
    await begin(on);
    return on;
  };

  it('one pose is looked at for each wish, and what was not turned is asked for again', async () => {
    const on = await inHand();
    await hold(on, 'at rest');
    expect(await look(on)).toEqual({ done: true });
    expect(nextAt(at(on))?.pose).toBe('nose up');
    const same = problemOf(await look(on));
    expect(same.problem).toEqual({ problem: 'not turned', as: 'at rest' });
    expect(turnWords(same.pose, same.problem)).toContain('as it did level and upright');
    await hold(on, 'nose down');
    const wrong = problemOf(await look(on));
    expect(wrong.problem).toEqual({ problem: 'otherwise', as: 'with its nose down' });
    expect(on.state.history.assembly.now!.looked.size).toBe(1);
    for (const pose of POSES.slice(1)) {
      await hold(on, pose);
      expect(await look(on), pose).toEqual({ done: true });
    }
    expect(assemblyOf(on.state.history)).toMatchObject({ verdict: 'sound' });
  });

  it('a person’s word counts against an accelerometer with an axis reversed', async () => {
    const on = await inHand({ boardFault: 'acc-reversed' });
    for (const pose of POSES) {
      await hold(on, pose);
      const outcome = await look(on);
      if (!outcome.done) await on.run(insistOn(at(on), problemOf(outcome).looked));
    }
    expect(on.state.history.assembly.newest?.findings).toMatchObject([
      { fault: 'reversed', chip: 'acc', axes: ['z'] },
    ]);
  });

  it('does not count while it trembles', async () => {
    const on = await inHand();
    on.board.quirk({ tremor: 40 });
    await hold(on, 'at rest');
    expect(problemOf(await look(on)).problem).toEqual({ problem: 'moving' });
    expect(on.state.history.assembly.now!.looked.size).toBe(0);
  });

  it('turns that were exchanged, whatever a person said, are asked for once more', async () => {
    const on = await inHand();
    const exchanged: Partial<Record<AssemblyPose, AssemblyPose>> = {
      'nose up': 'nose down',
      'nose down': 'nose up',
    };
    for (const pose of POSES) {
      await hold(on, exchanged[pose] ?? pose);
      const outcome = await look(on);
      if (!outcome.done) await on.run(insistOn(at(on), problemOf(outcome).looked));
    }
    expect(nextAt(at(on))).toMatchObject({ pose: 'nose up' });
    expect(nextAt(at(on))?.again).toContain('the other way round');
    for (const pose of ['nose up', 'nose down'] as const) {
      await hold(on, pose);
      await look(on);
    }
    expect(assemblyOf(on.state.history)).toMatchObject({ verdict: 'sound' });
  });
});

it('of a check that another bench began nothing is gone on with, and what it came to counts', async () => {
  const on = await linked();
  await begin(on);
  await look(on);
  await begin(on);
  const entries = (await on.logbook()).map((entry) => ({
    ...entry,
    foreign: { bench: 'another', number: entry.number },
  }));
  expect(assemblyOf(foldHistory(entries))).toMatchObject({ stage: 'checked', verdict: 'sound' });
});
