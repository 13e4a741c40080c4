import type { Clock } from '../protocol/clock.ts';
import { AskedWorker, type WorkerAnswer, type WorkerFor } from './asked-worker.ts';
import { BenchError } from './bench-words.ts';
import type { FitOutcome, FitRequest, Fitter, LiveFitter, LiveOutcome } from './fitting.ts';

/** What a fit worker is asked. */
export interface FitQuestion {
  id: number;
  how: 'whole' | 'live';
  request: FitRequest;
}

export type FitAnswer = WorkerAnswer<FitOutcome | LiveOutcome>;
export type FitWorker = WorkerFor<FitOutcome | LiveOutcome>;

/** How long one fit may take, milliseconds: some hundred times what a slow phone needs. */
const ANSWERS = 60_000;
const PER_READING = 20;

/**
 * Fits in two workers, each loaded when it is needed first: one for the fits that a person asks for, one for the
 * provisional ones, so that neither waits for the other. A fit that gives no answer rejects with a {@link BenchError}
 * `fit_silent`.
 */
export function workerFitters(
  clock: Clock,
  start: () => FitWorker = startWorker,
): { fitter: Fitter; liveFitter: LiveFitter } {
  const asked = () =>
    new AskedWorker<Omit<FitQuestion, 'id'>, FitOutcome | LiveOutcome>({
      clock,
      start,
      limit: ({ request }) => ANSWERS + PER_READING * request.readings.length,
      silent: () => new BenchError('fit_silent'),
      broken: 'the fit could not be loaded',
    });
  const [whole, live] = [asked(), asked()];
  return {
    fitter: (request) => whole.ask({ how: 'whole', request }),
    liveFitter: (request) => live.ask({ how: 'live', request }),
  };
}

const startWorker = (): FitWorker =>
  new Worker(new URL('./fit-worker.ts', import.meta.url), { type: 'module' });
