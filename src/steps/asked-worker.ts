import type { Clock } from '../protocol/clock.ts';

/** What a worker says: that it has begun with a question, then what came of it, or why it broke off. */
export type WorkerAnswer<Outcome> = { id: number } & (
  { begun: true } | { outcome: Outcome } | { failed: string }
);

/** As much of a `Worker` as is used. */
export type WorkerFor<Outcome> = Pick<Worker, 'postMessage' | 'terminate'> & {
  addEventListener(
    type: 'message',
    listener: (event: MessageEvent<WorkerAnswer<Outcome>>) => void,
  ): void;
  addEventListener(type: 'error' | 'messageerror', listener: (event: Event) => void): void;
};

export interface AskedWorkerParts<Question, Outcome> {
  clock: Clock;
  /** Called when something is asked and no worker is there. */
  start(): WorkerFor<Outcome>;
  /** How long the answer to a question that was begun may take, milliseconds. */
  limit(question: Question): number;
  /** What a question is rejected with that was not answered in time. */
  silent(): Error;
  /** Why, where a worker says nothing of what it fell over. */
  broken: string;
}

interface Waiting<Question, Outcome> {
  id: number;
  question: Question;
  begun: boolean;
  /** It was asked of a worker before that never began with it. */
  again: boolean;
  resolve(outcome: Outcome): void;
  reject(error: unknown): void;
}

/** How long a worker may take until it begins, milliseconds: it may have to be loaded first. */
const BEGINS = 10_000;

/**
 * A worker, loaded when it is needed first, and what it was asked, in its order. It is sent each question with an `id`.
 *
 * A worker that is gone says nothing. One that does not begin with a question in time is ended, and what it was asked is
 * asked once more of a fresh one; then, and where a question was begun and is not answered, it rejects.
 */
export class AskedWorker<Question extends object, Outcome> {
  #worker: WorkerFor<Outcome> | undefined;
  #waiting: Waiting<Question, Outcome>[] = [];
  #latest = 0;
  #stopWatching = () => {};

  constructor(private readonly parts: AskedWorkerParts<Question, Outcome>) {}

  ask(question: Question): Promise<Outcome> {
    return new Promise((resolve, reject) => {
      this.#post({ id: ++this.#latest, question, begun: false, again: false, resolve, reject });
      if (this.#waiting.length === 1) this.#watch();
    });
  }

  /** What cannot be sent is not waited for. */
  #post(asked: Waiting<Question, Outcome>): void {
    this.#running().postMessage({ ...asked.question, id: asked.id });
    this.#waiting.push(asked);
  }

  #running(): WorkerFor<Outcome> {
    if (this.#worker) return this.#worker;
    const worker = this.parts.start();
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

  #heard(answer: WorkerAnswer<Outcome>): void {
    const asked = this.#waiting.find(({ id }) => id === answer.id);
    if (!asked) return;
    if ('begun' in answer) asked.begun = true;
    else {
      this.#waiting = this.#waiting.filter((other) => other !== asked);
      if ('outcome' in answer) asked.resolve(answer.outcome);
      else asked.reject(new Error(answer.failed));
    }
    this.#watch();
  }

  /** The worker could not be loaded, or fell over outside a question. */
  #broken(message: string | undefined): void {
    const lost = this.#end();
    const error = new Error(message || this.parts.broken);
    for (const { reject } of lost) reject(error);
  }

  /** Waits anew for a sign of life, as long as something was asked. */
  #watch(): void {
    this.#stopWatching();
    const [first] = this.#waiting;
    if (!first) return;
    const limit = first.begun ? this.parts.limit(first.question) : BEGINS;
    this.#stopWatching = this.parts.clock.after(limit, () => this.#silent());
  }

  #silent(): void {
    for (const each of this.#end()) {
      if (each.begun || each.again) {
        each.reject(this.parts.silent());
        continue;
      }
      try {
        this.#post({ ...each, again: true });
      } catch (error) {
        each.reject(error);
      }
    }
    this.#watch();
  }

  /** Ends the worker; the next question gets a fresh one. @returns what it was asked and has not answered */
  #end(): readonly Waiting<Question, Outcome>[] {
    this.#stopWatching();
    this.#worker?.terminate();
    this.#worker = undefined;
    const lost = this.#waiting;
    this.#waiting = [];
    return lost;
  }
}
