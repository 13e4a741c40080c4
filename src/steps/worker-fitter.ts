import type { Clock } from '../protocol/clock.ts';
import { BenchError } from './bench-words.ts';
import type { FitOutcome, FitRequest, Fitter, LiveFitter, LiveOutcome } from './fitting.ts';

/** What a fit worker is asked. */
export interface FitQuestion {
  id: number;
  how: 'whole' | 'live';
  request: FitRequest;
}

/** What it says: that it has begun with a request, then what came of it, or why the fit broke off. */
export type FitAnswer = { id: number } & (
  { begun: true } | { outcome: FitOutcome | LiveOutcome } | { failed: string }
);

/** As much of a `Worker` as is used. */
export type FitWorker = Pick<Worker, 'postMessage' | 'terminate'> & {
  addEventListener(type: 'message', listener: (event: MessageEvent<FitAnswer>) => void): void;
  addEventListener(type: 'error' | 'messageerror', listener: (event: Event) => void): void;
};

/** How long a worker may take until it begins, milliseconds: it may have to be loaded first. */
const BEGINS = 10_000;
/** How long one fit may take, milliseconds: some hundred times what a slow phone needs. */
const ANSWERS = 60_000;
const PER_READING = 20;

/**
 * Fits in two workers, each loaded when it is needed first: one for the fits that a person asks for, one for the
 * provisional ones, so that neither waits for the other.
 *
 * A worker that is gone says nothing. One that does not begin with a request in time is ended, and what it was asked is
 * asked once more of a fresh one; then, and where a fit was begun and does not end, the fit rejects with a
 * {@link BenchError} `fit_silent`.
 */
export function workerFitters(
  clock: Clock,
  start: () => FitWorker = startWorker,
): { fitter: Fitter; liveFitter: LiveFitter } {
  const [whole, live] = [new AskedWorker(clock, start), new AskedWorker(clock, start)];
  return {
    fitter: (request) => whole.ask('whole', request),
    liveFitter: (request) => live.ask('live', request),
  };
}

const startWorker = (): FitWorker =>
  new Worker(new URL('./fit-worker.ts', import.meta.url), { type: 'module' });

interface Waiting {
  question: FitQuestion;
  begun: boolean;
  /** It was asked of a worker before that never began with it. */
  again: boolean;
  resolve(outcome: FitOutcome | LiveOutcome): void;
  reject(error: unknown): void;
}

/** A worker and what it was asked, in its order. */
class AskedWorker {
  #worker: FitWorker | undefined;
  #waiting: Waiting[] = [];
  #latest = 0;
  #stopWatching = () => {};

  constructor(
    private readonly clock: Clock,
    private readonly start: () => FitWorker,
  ) {}

  ask(how: FitQuestion['how'], request: FitRequest): Promise<LiveOutcome> {
    return new Promise((resolve, reject) => {
      const question = { id: ++this.#latest, how, request };
      this.#waiting.push({ question, begun: false, again: false, resolve, reject });
      this.#running().postMessage(question);
      if (this.#waiting.length === 1) this.#watch();
    });
  }

  #running(): FitWorker {
    if (this.#worker) return this.#worker;
    const worker = this.start();
    worker.addEventListener('message', ({ data }) => {
      if (worker === this.#worker) this.#heard(data);
    });
    const broken = (event: Event) => {
      if (worker === this.#worker) this.#broken((event as Partial<ErrorEvent>).message);
    };
    worker.addEventListener('error', broken);
    worker.addEventListener('messageerror', broken);
    this.#worker = worker;
    return worker;
  }

  #heard(answer: FitAnswer): void {
    const asked = this.#waiting.find(({ question }) => question.id === answer.id);
    if (!asked) return;
    if ('begun' in answer) asked.begun = true;
    else {
      this.#waiting = this.#waiting.filter((other) => other !== asked);
      if ('outcome' in answer) asked.resolve(answer.outcome);
      else asked.reject(new Error(answer.failed));
    }
    this.#watch();
  }

  /** The worker could not be loaded, or fell over outside a fit. */
  #broken(message: string | undefined): void {
    const lost = this.#end();
    const error = new Error(message || 'the fit could not be loaded');
    for (const { reject } of lost) reject(error);
  }

  /** Waits anew for a sign of life, as long as something was asked. */
  #watch(): void {
    this.#stopWatching();
    const [first] = this.#waiting;
    if (!first) return;
    const limit = first.begun
      ? ANSWERS + PER_READING * first.question.request.readings.length
      : BEGINS;
    this.#stopWatching = this.clock.after(limit, () => this.#silent());
  }

  #silent(): void {
    const lost = this.#end();
    for (const each of lost) {
      if (each.begun || each.again) {
        each.reject(new BenchError('fit_silent'));
        continue;
      }
      const again = { ...each, again: true };
      this.#waiting.push(again);
      this.#running().postMessage(again.question);
    }
    this.#watch();
  }

  /** Ends the worker; the next request gets a fresh one. @returns what it was asked and has not answered */
  #end(): readonly Waiting[] {
    this.#stopWatching();
    this.#worker?.terminate();
    this.#worker = undefined;
    const lost = this.#waiting;
    this.#waiting = [];
    return lost;
  }
}
