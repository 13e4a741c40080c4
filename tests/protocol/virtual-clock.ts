import type { Clock } from '../../src/protocol/clock.ts';

/** A clock that stands still until it is told to run. */
export class VirtualClock implements Clock {
  #now = 0;
  #tasks: { at: number; task: () => void }[] = [];

  now(): number {
    return this.#now;
  }

  after(ms: number, task: () => void): () => void {
    const entry = { at: this.#now + ms, task };
    this.#tasks.push(entry);
    return () => {
      this.#tasks = this.#tasks.filter((other) => other !== entry);
    };
  }

  /** Runs for `ms` milliseconds, letting promises settle before and after each task. */
  async run(ms: number): Promise<void> {
    const end = this.#now + ms;
    for (;;) {
      await settle();
      const next = this.#tasks.reduce<{ at: number; task: () => void } | undefined>(
        (first, task) => (task.at <= end && (!first || task.at < first.at) ? task : first),
        undefined,
      );
      if (!next) break;
      this.#tasks = this.#tasks.filter((other) => other !== next);
      this.#now = next.at;
      next.task();
    }
    this.#now = end;
  }

  /** Runs until `work` settles; fails after an hour of virtual time. */
  async until<T>(work: Promise<T>): Promise<T> {
    let settled = false;
    const done = () => {
      settled = true;
    };
    work.then(done, done);
    for (let spent = 0; !settled; spent += 50) {
      if (spent > 3_600_000) throw new Error('still waiting after an hour');
      await this.run(50);
    }
    return work;
  }
}

/** Lets every promise that can settle do so. */
export function settle(): Promise<void> {
  return new Promise((resolve) => setImmediate(resolve));
}
