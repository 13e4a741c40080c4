import type { Clock } from '../src/protocol/clock.ts';

interface Task {
  due: number;
  run: () => void;
}

/**
 * How many turns of the event loop {@link VirtualClock.run} grants to work that waits for no virtual time (a
 * database, a worker) before it says that nothing will ever happen.
 */
const PATIENCE = 2000;

/** A clock on which time passes only when told to, and then at once. Tasks due at one moment run in the order asked. */
export class VirtualClock implements Clock {
  #now = 0;
  #tasks: Task[] = [];

  now(): number {
    return this.#now;
  }

  after(ms: number, run: () => void): () => void {
    if (!(ms >= 0)) throw new RangeError(`A task cannot be due in ${ms} ms.`);
    const task = { due: this.#now + ms, run };
    const later = this.#tasks.findIndex((other) => other.due > task.due);
    this.#tasks.splice(later < 0 ? this.#tasks.length : later, 0, task);
    return () => {
      this.#tasks = this.#tasks.filter((other) => other !== task);
    };
  }

  /** Lets `ms` milliseconds pass, running what falls due in them. Code that awaits goes on only after the call. */
  advance(ms: number): void {
    const end = this.#now + ms;
    while (this.#tasks.length > 0 && this.#tasks[0]!.due <= end) this.#runNext();
    this.#now = end;
  }

  /**
   * Lets time pass until `work` settles: whenever all promises have gone as far as they can, the clock jumps to the
   * next task. Resolves or rejects as `work` does; rejects if no task is left and `work` still waits.
   */
  async run<T>(work: Promise<T>): Promise<T> {
    const turns = new EventLoopTurns();
    let settled = false;
    const mark = (): void => void (settled = true);
    work.then(mark, mark);
    try {
      for (let idle = 0; ;) {
        await turns.next();
        if (settled) return await work;
        if (this.#tasks.length > 0) {
          idle = 0;
          this.#runNext();
        } else if (++idle > PATIENCE) {
          throw new Error('The virtual clock has nothing left to run, and the work still waits.');
        }
      }
    } finally {
      turns.end();
    }
  }

  #runNext(): void {
    const task = this.#tasks.shift()!;
    this.#now = task.due;
    task.run();
  }
}

/** Whole turns of the event loop, the same in a browser and in Node: in each, every promise goes as far as it can. */
class EventLoopTurns {
  readonly #channel = new MessageChannel();
  #wake = (): void => {};

  constructor() {
    this.#channel.port1.onmessage = () => this.#wake();
  }

  next(): Promise<void> {
    return new Promise((resolve) => {
      this.#wake = resolve;
      this.#channel.port2.postMessage(0);
    });
  }

  end(): void {
    this.#channel.port1.close();
    this.#channel.port2.close();
  }
}
