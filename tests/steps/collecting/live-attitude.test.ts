import { describe, expect, it } from 'vitest';
import { defaultSettings } from '../../../firmware-sim/settings.ts';
import { ProtocolError } from '../../../src/protocol/errors.ts';
import type { Attitude } from '../../../src/protocol/simulator.ts';
import { LiveAttitude, LOOK_MS } from '../../../src/steps/collecting/live-attitude.ts';
import { readingsOf } from '../../../src/steps/collecting/forecasting.ts';
import { readingsLeft } from '../../../src/steps/collecting/readings-left.ts';
import { keptReadings, openSlots } from '../../../src/steps/calibration-state.ts';
import { isPlanCut } from '../../../src/steps/customary-plan.ts';
import type { Desk } from '../../../src/steps/desk.ts';
import { fitRequest, runLiveFit } from '../../../src/steps/fitting.ts';
import { nextStep } from '../../../src/steps/next-step.ts';
import { readingRows } from '../../../src/steps/reading-rows.ts';
import { shownAim } from '../../../src/steps/shown-aim.ts';
import { inProcessBoard } from '../../../src/transport/in-process.ts';
import { BenchInProcess } from '../bench-in-process.ts';

/** How a board in a person's hand is looked at while readings are taken. */

type Far = ReturnType<typeof inProcessBoard>;
type Both = { on: BenchInProcess; far: Far };

const MOVING: Attitude = { azimuth: 200, inclination: -30, roll: 45 };

async function collecting(): Promise<Both> {
  const on = await BenchInProcess.opened();
  on.liveFitter = async (request) => runLiveFit(request);
  on.forecaster = async (question) => readingsLeft(question);
  await on.reload();
  const far = inProcessBoard(defaultSettings, on.clock);
  on.kinds.socket = () => far.link;
  await on.run(on.bench.link('socket', { address: 'ws://localhost:1' }));
  await on.ask('begin');
  return { on, far };
}

/** Requests on the wire from now on, by their verbs; and whether one was sent before the one before it was answered. */
function asked(on: BenchInProcess): { verbs: string[]; overlapped: boolean } {
  const seen = { verbs: [] as string[], overlapped: false };
  let open = false;
  on.place.onWire((what, line) => {
    const verb = /^\?\d+ (\S+)/.exec(line)?.[1];
    if (what === 'to_board' && verb) {
      seen.overlapped ||= open;
      open = true;
      seen.verbs.push(verb);
    } else if (line.startsWith('=')) open = false;
  });
  return seen;
}

const wanted = (on: BenchInProcess): Attitude => shownAim(on.state.history)!.aim;

/** Holds it at the aim that is asked for, and lets the bench see that it is still. */
async function settle({ on, far }: Both): Promise<void> {
  await far.board.hold(wanted(on));
  await on.pass(3 * LOOK_MS);
}

describe('looking how a board is held', () => {
  it('is done while somebody looks, a few times a second, one look after the other, and stores nothing', async () => {
    const { on, far } = await collecting();
    const { verbs } = asked(on);
    await on.pass(3000);
    expect(verbs).toEqual([]);
    const seen = asked(on);
    let told = 0;
    const end = on.place.attitude.subscribe(() => told++);
    await on.pass(9000);
    expect(new Set(seen.verbs)).toEqual(new Set(['sense']));
    expect(seen.verbs.length).toBeGreaterThan(9);
    expect(seen.verbs.length).toBeLessThanOrEqual(9000 / LOOK_MS + 1);
    expect(seen.overlapped).toBe(false);
    expect(told).toBeGreaterThan(9);
    end();
    const before = seen.verbs.length;
    await on.pass(3000);
    expect(seen.verbs).toHaveLength(before);
    expect((await far.board.truth(1)).length).toBe(1);
    expect(on.calibration.readings).toEqual([]);
  });

  it('stops while work is done, while the page is hidden, and when the link is lost', async () => {
    const both = await collecting();
    const { on, far } = both;
    const { verbs } = asked(on);
    on.place.attitude.subscribe(() => {});
    await settle(both);
    expect(on.place.attitude.look?.stillness.still).toBe(true);
    on.sight.hide();
    await on.pass(1000);
    let before = verbs.length;
    await on.pass(3000);
    expect(verbs).toHaveLength(before);
    on.sight.show();
    await on.pass(1500);
    expect(verbs.length).toBeGreaterThan(before);

    const work = on.place.withBoard({ what: 'Something', stoppable: false }, async () => {
      await new Promise<void>((resolve) => on.clock.after(5000, resolve));
    });
    await on.pass(1000);
    before = verbs.length;
    await on.pass(3000);
    expect(verbs).toHaveLength(before);
    await on.run(work);

    on.isReachable = false;
    far.board.cutPower();
    await on.pass(1000);
    expect(on.place.attitude.look).toBeUndefined();
  });

  it('shows the board’s aim by its mounting, then by the provisional fit, and how many readings are left', async () => {
    const both = await collecting();
    const { on } = both;
    on.place.attitude.subscribe(() => {});
    await settle(both);
    const first = on.place.attitude.look!;
    expect(first.attitude).toMatchObject({ from: 'mounting' });
    expect(first.attitude!.inclination).toBeCloseTo(0, -1);
    while (keptReadings(on.calibration).length < 24) {
      await settle(both);
      await on.ask('take one');
    }
    await settle(both);
    const { attitude } = on.place.attitude.look!;
    expect(attitude?.from).toBe('provisional');
    const aim = wanted(on);
    expect(Math.abs(attitude!.inclination! - aim.inclination)).toBeLessThan(2);
    expect(on.state.left).toMatchObject({ wanted: 1 });
  });

  it('lets the button wait while the board moves, until it is still', async () => {
    const both = await collecting();
    const { on, far } = both;
    on.place.attitude.subscribe(() => {});
    await settle(both);
    await far.board.hold(MOVING);
    await on.pass(LOOK_MS + 400);
    expect(on.place.attitude.look?.stillness).toMatchObject({ still: false, sign: 'since' });
    const taking = on.place.perform('take one');
    await far.board.hold(wanted(on)); // it still moves
    await on.pass(500);
    expect(on.state.work).toMatchObject({ insist: 'Take it anyway', stoppable: true });
    expect(on.calibration.readings).toEqual([]);
    await on.run(taking);
    expect(on.calibration.readings).toHaveLength(1);
    expect(on.state.told).toMatchObject({ kind: 'taken' });
  });

  it('takes it anyway where the person insists, and none where the person stops', async () => {
    const both = await collecting();
    const { on, far } = both;
    on.place.attitude.subscribe(() => {});
    const keepMoving = async () => {
      for (let i = 0; i < 12; i++) {
        await far.board.hold({ ...MOVING, azimuth: 30 * i });
        await on.pass(200);
      }
    };
    await settle(both);
    await keepMoving();
    const stopped = on.place.perform('take one');
    await keepMoving();
    expect(on.state.work?.insist).toBeDefined();
    await on.place.perform('stop');
    await on.run(stopped);
    expect(on.calibration.readings).toEqual([]);
    expect(on.state.trouble).toBeUndefined();
    await keepMoving();
    const insisted = on.place.perform('take one');
    await keepMoving();
    expect(on.calibration.readings).toEqual([]);
    await on.place.perform('insist');
    await on.run(insisted);
    expect(on.calibration.readings).toHaveLength(1);
  });

  it('keeps a reading that the trigger took while it trembled, and says so', async () => {
    const both = await collecting();
    const { on, far } = both;
    far.board.quirk({ tremor: 30 });
    await far.board.hold(wanted(on));
    await on.run(far.board.press());
    await on.pass(1000);
    expect(on.calibration.readings).toHaveLength(1);
    expect(on.state.told).toMatchObject({ kind: 'doubted' });
    expect(on.state.said).toContain('It moved while it was taken');
    far.board.quirk({ tremor: 0 });
    for (let i = 0; i < 3; i++) {
      await far.board.hold(wanted(on));
      await on.ask('take one');
    }
    const rows = readingRows(on.calibration, on.state.history.identity);
    expect(rows.map(({ evidence }) => evidence.join('; ').includes('it moved while'))).toEqual([
      true,
      false,
      false,
      false,
    ]);
  });

  it('is no obstacle to the trigger: pressed in the midst of a look, the reading is taken after it', async () => {
    const both = await collecting();
    const { on, far } = both;
    on.place.attitude.subscribe(() => {});
    await settle(both);
    while (!on.place.attitude.isAsking) await on.clock.run(10);
    await on.clock.run(20);
    expect(on.place.attitude.isAsking).toBe(true);
    await far.board.press();
    await on.pass(1500);
    expect(on.calibration.readings).toMatchObject([{ sighting: shownFirst, aim: { roll: 0 } }]);
    expect(on.state.told).toMatchObject({ kind: 'taken' });
    expect(on.state.trouble).toBeUndefined();
  });

  it('shows beside it what a look fails with, which is no trouble, and goes on when it is over', async () => {
    const both = await collecting();
    const { on, far } = both;
    on.place.attitude.subscribe(() => {});
    await settle(both);
    far.board.quirk({ volt: 2 });
    await on.pass(1500);
    expect(on.place.attitude.fault).toMatch(/supply|battery|power/i);
    expect(on.place.attitude.look).toBeUndefined();
    expect(on.state.trouble).toBeUndefined();
    far.board.quirk({ volt: 3.9 });
    await on.pass(4000);
    expect(on.place.attitude.fault).toBeUndefined();
    expect(on.place.attitude.look?.stillness.still).toBe(true);
  });

  it('leaves one look of a run of them on the wire, and counts it', async () => {
    const both = await collecting();
    const { on } = both;
    on.place.attitude.subscribe(() => {});
    await on.pass(600);
    const { wire } = on.place;
    const before = wire.last;
    await on.pass(20_000);
    expect(wire.last - before).toBeLessThanOrEqual(2);
    expect(wire.entry(wire.last)?.times).toBeGreaterThan(20);
    expect(wire.recording().match(/ sense /g)).toHaveLength(1);
  });
});

const shownFirst = '1';

describe('readings by themselves', () => {
  async function fitted(): Promise<Both> {
    const both = await collecting();
    const { on, far } = both;
    // enough for a provisional fit, so that there is an aim to be at
    while (keptReadings(on.calibration).length < 16) {
      await far.board.hold(wanted(on));
      await on.ask('take one');
    }
    await on.pass(500);
    return both;
  }

  it('are taken one after the other with no tap, each once, and none while it is elsewhere', async () => {
    const both = await fitted();
    const { on, far } = both;
    on.place.attitude.subscribe(() => {});
    await on.run(on.bench.choices.choose({ byItself: true, within: 6, stillFor: 1 }));
    await far.board.hold(MOVING);
    await on.pass(6000);
    expect(on.calibration.readings).toHaveLength(16);
    for (let count = 17; count <= 20; count++) {
      await far.board.hold(wanted(on));
      await on.pass(6000);
      expect(on.calibration.readings).toHaveLength(count);
    }
    expect(openSlots(on.calibration)).toHaveLength(36);
    expect(on.state.told?.kind).toBe('whole');
  });

  it('are not taken unless a person has chosen it, nor by a choice that was taken back', async () => {
    const both = await fitted();
    const { on, far } = both;
    on.place.attitude.subscribe(() => {});
    await far.board.hold(wanted(on));
    await on.pass(6000);
    expect(on.calibration.readings).toHaveLength(16);
    await on.run(on.bench.choices.choose({ byItself: true }));
    await on.run(on.bench.choices.choose({ byItself: false }));
    await on.pass(6000);
    expect(on.calibration.readings).toHaveLength(16);
  });

  it('keep the choice when the page is closed', async () => {
    const on = await BenchInProcess.opened();
    expect(on.bench.choices.now).toMatchObject({ byItself: false, speech: false, sounds: true });
    await on.run(on.bench.choices.choose({ byItself: true, within: 12 }));
    await on.reload();
    expect(on.bench.choices.now).toMatchObject({ byItself: true, within: 12, stillFor: 2 });
  });
});

describe('a simulated board that a person turns', () => {
  it('is asked for one reading at a time, from where it was brought to', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin');
    expect(nextStep(on.state).others.map(({ does }) => does)).toContain('take sighting');
    await on.run(on.place.turnMyself(true));
    expect(nextStep(on.state).main?.does).toBe('take one');
    expect(nextStep(on.state).others.map(({ does }) => does)).not.toContain('take sighting');
    on.place.attitude.subscribe(() => {});
    await on.pass(1000);
    const before = on.place.attitude.look!.attitude!;
    await on.run(on.place.turnBy({ inclination: 30, roll: 90 }));
    await on.pass(1000);
    const after = on.place.attitude.look!.attitude!;
    expect(after.inclination! - before.inclination!).toBeCloseTo(30, -1);
    await on.ask('take rest');
    expect(on.calibration.readings).toHaveLength(1);
    await on.run(on.place.turnMyself(false));
    await on.ask('take sighting');
    expect(on.calibration.readings).toHaveLength(4);
  });
});

describe('how a person holds a simulated board', () => {
  it('outlives the page, each board’s for itself, until its own hand has it again', async () => {
    const on = await BenchInProcess.opened();
    await on.ask('link', 'begin');
    await on.run(on.place.turnMyself(true));
    await on.run(on.place.turnBy({ azimuth: 40, inclination: 25, roll: -90 }));
    const { ownHand } = on.state;
    on.bench.linkAnother();
    await on.run(on.bench.link('simulated'));
    await on.reload();
    await on.run(on.bench.open());
    const [first, second] = on.bench.places;
    expect(second!.state.ownHand).toBeUndefined();
    on.bench.pick(first!);
    expect(on.state.ownHand).toEqual(ownHand);
    expect(nextStep(on.state).others.map(({ does }) => does)).not.toContain('take sighting');
    on.place.attitude.subscribe(() => {});
    await on.pass(1000);
    expect(on.place.attitude.look!.attitude!.inclination).toBeCloseTo(ownHand!.inclination, -1);

    await on.run(on.place.turnMyself(false));
    await on.reload();
    await on.run(on.bench.open());
    expect(on.bench.places[0]!.state.ownHand).toBeUndefined();
  });
});

describe('how many readings are left', () => {
  it('is none where the interval is within the tolerance, and more for a finer one', async () => {
    const on = await BenchInProcess.opened();
    await on.ask(
      'link',
      'begin',
      'take sighting',
      'take sighting',
      'take sighting',
      'take sighting',
    );
    const request = fitRequest(on.calibration, on.state.history.identity);
    const { readings } = request;
    const fit = runLiveFit(request);
    if (!fit.ok) throw new Error(fit.message);
    const left = (wanted: number) =>
      readingsLeft({
        fit: { ...fit, fitted: fit.readings },
        readings,
        wanted,
        plan: on.calibration.plan,
        taken: on.calibration.readings,
      });
    const coarse = left(5);
    expect(coarse).toMatchObject({ needed: 0 });
    expect(coarse.advised).toEqual([]);
    const fine = left(coarse.now / 2);
    expect(fine.now).toBeCloseTo(coarse.now, 9);
    expect(fine.needed).toBeGreaterThan(0);
    expect(left(coarse.now / 4).needed).toBeGreaterThan(fine.needed!);
    expect(readingsOf(fine.advised)).toBe(fine.needed);
    expect(left(coarse.now / 1000).needed).toBeUndefined();
  });
});

it('knows of the look that is under way when one that was given up ends late', async () => {
  const { on } = await collecting();
  const answers: { resolve(what: unknown): void; reject(error: unknown): void }[] = [];
  const sense = () => new Promise((resolve, reject) => answers.push({ resolve, reject }));
  const board = { sense, identity: on.state.history.identity };
  const signal = new AbortController().signal;
  let atWork = false;
  const attitude = new LiveAttitude({
    // no real board answers so late
    desk: { board, signal, state: on.state, show: () => {} } as unknown as Desk,
    clock: on.clock,
    sight: { isHidden: () => false, onSeen: () => () => {} },
    isAtWork: () => atWork,
    looked: () => {},
  });
  attitude.subscribe(() => {});
  await on.pass(LOOK_MS);
  answers[0]!.resolve({ acc: [0, 0, 0], mag: [0, 0, 0], accScatter: [1e6, 0, 0] });
  await on.pass(LOOK_MS);
  expect(attitude.look?.stillness.still).toBe(false);
  atWork = true;
  attitude.wake();
  void attitude.untilStill();
  await on.pass(LOOK_MS);
  expect(answers).toHaveLength(3);
  const cancelled = new ProtocolError({ cause: 'cancelled', verb: 'sense', sent: true });
  answers[1]!.reject(cancelled);
  await on.pass(50);
  expect(attitude.isAsking).toBe(true);
  attitude.insist();
  answers[2]!.reject(cancelled);
  await on.pass(50);
  expect(attitude.isAsking).toBe(false);
});

describe('the plan', () => {
  it('gives way to the readings that tell most, if a person wants that, and is whole again if not', async () => {
    const { on, far } = await collecting();
    while (keptReadings(on.calibration).length < 16) {
      await far.board.hold(wanted(on));
      await on.ask('take one');
    }
    const half = on.state.live!.ok ? (on.state.left as { now: number }).now : NaN;
    await on.run(on.place.chooseTolerance({ degrees: half / 2 }));
    await on.pass(500);
    const { left } = on.state;
    if (!left || 'failed' in left) throw new Error('nothing is known of what is left');
    expect(left.wanted).toBe(half / 2);
    await on.run(on.place.followAdvice());
    const open = openSlots(on.calibration);
    expect(open).toHaveLength(left.needed!);
    expect(open.map(({ sighting, roll }) => [sighting.azimuth, roll])).toEqual(
      expect.arrayContaining([[left.advised[0]!.azimuth, left.advised[0]!.rolls[0]]]),
    );
    expect(isPlanCut(on.calibration.plan)).toBe(true);
    while (openSlots(on.calibration).length > 0) {
      await far.board.hold(wanted(on));
      await on.ask('take one');
    }
    await on.pass(500);
    const { now } = on.state.left as { now: number };
    expect(now).toBeLessThan((half / 2) * 1.3); // foretold from the noise as sixteen readings showed it
    await on.run(on.place.followPlan());
    expect(isPlanCut(on.calibration.plan)).toBe(false);
    expect(openSlots(on.calibration)).toHaveLength(40);
    await on.reload();
    expect(openSlots(on.calibration)).toHaveLength(40);
  });
});
