import { describe, expect, test } from 'vitest';
import { keptReadings } from '../../src/steps/calibration-state.ts';
import {
  runLiveFit,
  type FitRequest,
  type LiveFitter,
  type LiveOutcome,
} from '../../src/steps/fitting.ts';
import { BenchInProcess } from './bench-in-process.ts';
import { settle } from '../protocol/virtual-clock.ts';

/** A bench that makes provisional fits, and a calibration of a simulated board begun on it. */
async function calibrating(liveFitter: LiveFitter): Promise<BenchInProcess> {
  const on = await BenchInProcess.opened();
  on.liveFitter = liveFitter;
  await on.reload();
  await on.ask('link', 'begin');
  return on;
}

const atOnce: LiveFitter = async (request) => runLiveFit(request);

/** A fitter that answers when it is told to. */
class SlowFitter {
  readonly asked: { request: FitRequest; answer: (outcome: LiveOutcome) => void }[] = [];
  readonly fitter: LiveFitter = (request) =>
    new Promise((answer) => this.asked.push({ request, answer }));

  /** Answers the request that came as the n-th, counted from zero. */
  async answer(n: number): Promise<void> {
    const { request, answer } = this.asked[n]!;
    answer(runLiveFit(request));
    await settle();
  }
}

describe('the provisional fit of an open calibration', () => {
  test('says before there is one how many readings are wanted', async () => {
    const on = await calibrating(atOnce);
    await on.ask('take sighting');
    const { live } = on.state;
    expect(live).toMatchObject({ ok: false, readings: 4, cause: 'too_few', fewest: 12 });
    expect(live?.ok === false && live.message).toContain('12');
  });

  test('is there as soon as the readings allow one, and is made again after each', async () => {
    const on = await calibrating(atOnce);
    for (let n = 0; n < 4; n++) await on.ask('take sighting');
    await settle();
    const before = on.state.live;
    if (!before?.ok) throw new Error('no provisional fit of 16 readings');
    expect(before.readings).toBe(16);
    expect(before.fitted).toHaveLength(16);
    await on.ask('take one');
    await settle();
    const after = on.state.live;
    if (!after?.ok) throw new Error('no provisional fit of 17 readings');
    expect(after.readings).toBe(17);
    expect(after.coefficients).not.toEqual(before.coefficients);
  });

  test('has the coefficients, dip and uncertainty of the fit that a person asks for of the same readings', async () => {
    const on = await calibrating(atOnce);
    for (let n = 0; n < 5; n++) await on.ask('take sighting');
    await on.ask('fit');
    await settle();
    const { live } = on.state;
    const { fit } = on.calibration;
    if (!live?.ok || !fit) throw new Error('one of the fits is missing');
    expect(live.coefficients).toEqual(fit.coefficients);
    expect(live.coefficients.A.every((value) => Math.fround(value) === value)).toBe(true);
    expect(live.dip).toBe(fit.dip);
    expect(live.uncertainty).toEqual(fit.uncertainty);
    expect(live.heldOut).toEqual(fit.heldOut);
    expect(live.readingNoise).toEqual(fit.readingNoise);
  });

  test('is written nowhere', async () => {
    const on = await calibrating(atOnce);
    await on.ask('take sighting', 'take sighting', 'take sighting', 'take sighting');
    const kinds = (await on.logbook()).map(({ kind }) => kind);
    expect(on.state.live?.ok).toBe(true);
    expect(kinds).not.toContain('fit');
    expect(kinds).not.toContain('fit refused');
  });

  test('sees a reading no more that is set aside, and sees it again when it is taken back', async () => {
    const on = await calibrating(atOnce);
    for (let n = 0; n < 4; n++) await on.ask('take sighting');
    const [first] = on.calibration.readings;
    await on.place.mark({ does: 'set aside', reading: first!.id, reason: 'it moved' });
    await settle();
    expect(on.state.live?.readings).toBe(15);
    expect(on.state.live?.ok && on.state.live.fitted.some(({ id }) => id === first!.id)).toBe(
      false,
    );
    await on.place.mark({ does: 'take back', readings: [first!.id] });
    await settle();
    expect(on.state.live?.readings).toBe(16);
  });

  test('is made anew after a reload, from the readings of the logbook', async () => {
    const on = await calibrating(atOnce);
    for (let n = 0; n < 4; n++) await on.ask('take sighting');
    await settle();
    const before = on.state.live;
    await on.reload();
    await settle();
    expect(on.state.live).toEqual(before);
  });

  test('is gone when the calibration is ended, and there again when it is taken up', async () => {
    const on = await calibrating(atOnce);
    await on.ask('take sighting', 'leave');
    expect(on.state.live).toBeUndefined();
    await on.ask('resume');
    await settle();
    expect(on.state.live).toMatchObject({ readings: 4 });
  });

  test('of many wishes made while one is fitted only the newest is begun', async () => {
    const slow = new SlowFitter();
    const on = await calibrating(slow.fitter);
    await on.ask('take sighting');
    expect(slow.asked).toHaveLength(1); // of no reading, as the calibration was begun
    await slow.answer(0);
    expect(slow.asked.map(({ request }) => request.readings.length)).toEqual([0, 4]);
    await slow.answer(1);
    expect(on.state.live).toMatchObject({ readings: 4 });
    expect(slow.asked).toHaveLength(2);
  });

  test('of a calibration that was left is not shown in the next one', async () => {
    const slow = new SlowFitter();
    const on = await calibrating(slow.fitter);
    await slow.answer(0);
    await on.ask('take sighting', 'leave', 'begin');
    expect(on.state.live).toBeUndefined();
    await slow.answer(1); // of the calibration before
    expect(on.state.live).toBeUndefined();
    await slow.answer(2);
    expect(on.state.live).toMatchObject({ readings: 0 });
  });

  test('that cannot be made at all says so, and is tried again with the next reading', async () => {
    let broken = true;
    const on = await calibrating(async (request) => {
      if (broken) throw new Error('the worker is gone');
      return runLiveFit(request);
    });
    await on.ask('take one');
    await settle();
    const { live } = on.state;
    expect(live).toMatchObject({ ok: false, cause: 'not_made', readings: 1 });
    expect(live?.ok === false && live.message).toContain('the worker is gone');
    expect(on.state.trouble).toBeUndefined();
    broken = false;
    await on.ask('take one');
    await settle();
    expect(on.state.live).toMatchObject({ ok: false, cause: 'too_few', readings: 2 });
    expect(on.state.live?.readings).toBe(keptReadings(on.calibration).length);
  });

  test('is made of the board at hand alone, and of another as soon as it comes to hand', async () => {
    const slow = new SlowFitter();
    const on = await calibrating(slow.fitter);
    await slow.answer(0);
    const first = on.place;
    on.bench.linkAnother();
    await on.run(first.perform('take one'));
    expect(first.state.history.calibration?.readings).toHaveLength(1);
    expect(slow.asked).toHaveLength(1);
    on.bench.pick(first);
    await settle();
    expect(slow.asked).toHaveLength(2);
    await slow.answer(1);
    expect(on.state.live).toMatchObject({ readings: 1 });
  });
});
