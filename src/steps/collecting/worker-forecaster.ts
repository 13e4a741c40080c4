import type { Clock } from '../../protocol/clock.ts';
import { AskedWorker, type WorkerAnswer, type WorkerFor } from '../asked-worker.ts';
import type { Forecaster, LeftQuestion, ReadingsLeft } from './forecasting.ts';

export interface LeftAsked {
  id: number;
  question: LeftQuestion;
}
export type LeftAnswer = WorkerAnswer<ReadingsLeft>;

/** How long it may take, milliseconds: longer than a fit. */
const ANSWERS = 120_000;
const PER_READING = 20;

/** Works out in a worker, loaded when it is needed first, how many readings are left. One that breaks off is begun anew. */
export function workerForecaster(
  clock: Clock,
  start: () => WorkerFor<ReadingsLeft> = startWorker,
): Forecaster {
  const worker = new AskedWorker<Omit<LeftAsked, 'id'>, ReadingsLeft>({
    clock,
    start,
    limit: ({ question }) => ANSWERS + PER_READING * question.readings.length,
    silent: () => new Error('its program gave no answer'),
    broken: 'its program could not be loaded',
  });
  return (question) => worker.ask({ question });
}

const startWorker = (): WorkerFor<ReadingsLeft> =>
  new Worker(new URL('./readings-left-worker.ts', import.meta.url), { type: 'module' });
