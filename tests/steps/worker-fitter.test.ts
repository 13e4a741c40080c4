import { expect, test } from 'vitest';
import type { FitRequest } from '../../src/steps/fitting.ts';
import type { WorkerFor } from '../../src/steps/asked-worker.ts';
import type { LeftQuestion, ReadingsLeft } from '../../src/steps/collecting/forecasting.ts';
import { workerForecaster } from '../../src/steps/collecting/worker-forecaster.ts';
import {
  workerFitters,
  type FitAnswer,
  type FitQuestion,
  type FitWorker,
} from '../../src/steps/worker-fitter.ts';
import { VirtualClock } from '../protocol/virtual-clock.ts';

/** A worker that does nothing of itself: there is none in this process, and here it is to die. */
class WorkerByHand implements FitWorker {
  readonly asked: FitQuestion[] = [];
  isEnded = false;
  isShut = false;
  readonly #heard = new EventTarget();

  postMessage(question: FitQuestion): void {
    if (this.isShut) throw new Error('it cannot be sent');
    this.asked.push(question);
  }
  terminate(): void {
    this.isEnded = true;
  }
  addEventListener(type: string, listener: (event: never) => void): void {
    this.#heard.addEventListener(type, listener as EventListener);
  }
  say(answer: FitAnswer): void {
    this.#heard.dispatchEvent(new MessageEvent('message', { data: answer }));
  }
  fail(message: string): void {
    this.#heard.dispatchEvent(Object.assign(new Event('error'), { message }));
  }
  begin(n: number): void {
    this.say({ id: this.asked[n]!.id, begun: true });
  }
  finish(n: number): void {
    this.say({ id: this.asked[n]!.id, outcome: REFUSAL });
  }
}

const REFUSAL = { ok: false, cause: 'too_few', message: 'Too few.', next: 'Take more.' } as const;
const REQUEST: FitRequest = { readings: [], options: {} };
const SILENT = { name: 'BenchError', cause: 'fit_silent' };
const TEN_MINUTES = 600_000;

function withWorkers() {
  const clock = new VirtualClock();
  const workers: WorkerByHand[] = [];
  const fitters = workerFitters(clock, () => {
    const worker = new WorkerByHand();
    workers.push(worker);
    return worker;
  });
  /** Keeps what becomes of a fit, so that its rejection is nobody's until it is looked at. */
  const outcomeOf = (fit: Promise<unknown>) => {
    const outcome: { is: unknown } = { is: 'open' };
    fit.then(
      (value) => (outcome.is = value),
      (error: unknown) => (outcome.is = error),
    );
    return outcome;
  };
  return { clock, workers, ...fitters, outcomeOf };
}

test('answers come to whoever asked, whatever their order', async () => {
  const { fitter, workers } = withWorkers();
  const [first, second] = [fitter(REQUEST), fitter(REQUEST)];
  const [worker] = workers;
  worker!.say({ id: worker!.asked[1]!.id, outcome: { ...REFUSAL, message: 'the second' } });
  worker!.say({ id: worker!.asked[0]!.id, outcome: { ...REFUSAL, message: 'the first' } });
  expect(await first).toMatchObject({ message: 'the first' });
  expect(await second).toMatchObject({ message: 'the second' });
  expect(workers).toHaveLength(1);
});

test('a provisional fit has a worker of its own, so that the fit a person asks for never waits for it', () => {
  const { fitter, liveFitter, workers } = withWorkers();
  void liveFitter(REQUEST);
  void fitter(REQUEST);
  expect(workers.map(({ asked }) => asked.map(({ how }) => how))).toEqual([['live'], ['whole']]);
});

test('what a worker that is gone was asked is asked once more of a fresh one', async () => {
  const { clock, fitter, workers, outcomeOf } = withWorkers();
  const done = fitter(REQUEST);
  workers[0]!.begin(0);
  workers[0]!.finish(0);
  await done; // and now it dies without a word
  const outcome = outcomeOf(fitter(REQUEST));
  await clock.run(TEN_MINUTES / 40);
  expect(workers).toHaveLength(2);
  expect(workers[0]!.isEnded).toBe(true);
  workers[1]!.begin(0);
  workers[1]!.finish(0);
  await clock.run(0);
  expect(outcome.is).toEqual(REFUSAL);
});

test('a fit is not awaited for ever where no worker begins with it', async () => {
  const { clock, fitter, workers, outcomeOf } = withWorkers();
  const outcome = outcomeOf(fitter(REQUEST));
  await clock.run(TEN_MINUTES);
  expect(outcome.is).toMatchObject(SILENT);
  expect(workers).toHaveLength(2);
  expect(workers.every(({ isEnded }) => isEnded)).toBe(true);
});

test('a fit that was begun and does not end is given up, and those behind it are made by a fresh worker', async () => {
  const { clock, fitter, workers, outcomeOf } = withWorkers();
  const endless = outcomeOf(fitter(REQUEST));
  const behind = outcomeOf(fitter(REQUEST));
  workers[0]!.begin(0);
  await clock.run(30_000);
  expect(endless.is).toBe('open'); // it may be a large one on a slow machine
  await clock.run(31_000);
  expect(endless.is).toMatchObject(SILENT);
  expect(workers[1]!.asked.map(({ id }) => id)).toEqual([workers[0]!.asked[1]!.id]);
  workers[1]!.begin(0);
  workers[1]!.finish(0);
  await clock.run(0);
  expect(behind.is).toEqual(REFUSAL);
});

test('the more readings, the longer a fit may take', async () => {
  const { clock, fitter, workers, outcomeOf } = withWorkers();
  const reading = { id: '1', acc: [0, 0, 0], mag: [0, 0, 0] } as const;
  const many = { readings: Array.from({ length: 10_000 }, () => reading), options: {} };
  const outcome = outcomeOf(fitter(many));
  workers[0]!.begin(0);
  await clock.run(200_000);
  expect(outcome.is).toBe('open');
  await clock.run(61_000);
  expect(outcome.is).toMatchObject(SILENT);
});

test('nothing is ended while nothing was asked, and what a worker that was given up says late changes nothing', async () => {
  const { clock, fitter, workers, outcomeOf } = withWorkers();
  const outcome = outcomeOf(fitter(REQUEST));
  workers[0]!.begin(0);
  workers[0]!.finish(0);
  await clock.run(TEN_MINUTES);
  expect(outcome.is).toEqual(REFUSAL);
  expect(workers[0]!.isEnded).toBe(false);
  const next = outcomeOf(fitter(REQUEST));
  await clock.run(15_000);
  workers[0]!.finish(1);
  await clock.run(0);
  expect(next.is).toBe('open');
});

test('a fit that breaks off in the worker says why, and the worker goes on', async () => {
  const { clock, fitter, workers, outcomeOf } = withWorkers();
  const outcome = outcomeOf(fitter(REQUEST));
  workers[0]!.begin(0);
  workers[0]!.say({ id: workers[0]!.asked[0]!.id, failed: 'reading 1 comes twice' });
  await clock.run(0);
  expect(outcome.is).toMatchObject({ message: 'reading 1 comes twice' });
  void fitter(REQUEST);
  expect(workers).toHaveLength(1);
});

test('a worker that cannot be loaded fails what was asked at once, and the next fit gets a fresh one', async () => {
  const { clock, fitter, workers, outcomeOf } = withWorkers();
  const outcome = outcomeOf(fitter(REQUEST));
  workers[0]!.fail('no such script');
  await clock.run(0);
  expect(outcome.is).toMatchObject({ message: 'no such script' });
  void fitter(REQUEST);
  expect(workers).toHaveLength(2);
  expect(workers[1]!.asked).toHaveLength(1);
});

test('a question that could not be sent is not waited for: those after it are watched over', async () => {
  const { clock, fitter, workers, outcomeOf } = withWorkers();
  const done = fitter(REQUEST);
  workers[0]!.finish(0);
  await done;
  workers[0]!.isShut = true;
  await expect(fitter(REQUEST)).rejects.toThrow('it cannot be sent');
  workers[0]!.isShut = false;
  const outcome = outcomeOf(fitter(REQUEST));
  await clock.run(TEN_MINUTES);
  expect(outcome.is).toMatchObject(SILENT);
});

test('how many readings are left is not awaited for ever either', async () => {
  const clock = new VirtualClock();
  const workers: WorkerByHand[] = [];
  const forecaster = workerForecaster(clock, () => {
    const worker = new WorkerByHand();
    workers.push(worker);
    return worker as unknown as WorkerFor<ReadingsLeft>;
  });
  const asked = forecaster({ readings: [] } as unknown as LeftQuestion);
  const rejected = expect(asked).rejects.toThrow('its program gave no answer');
  await clock.run(TEN_MINUTES);
  await rejected;
  expect(workers).toHaveLength(2);
});
