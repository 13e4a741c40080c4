import type { Clock } from '../protocol/clock.ts';

/** The clock of the machine, for the page, its workers and the command line. */
export const realClock: Clock = {
  now: () => performance.now(),
  after(ms, task) {
    const timer = setTimeout(task, ms);
    return () => clearTimeout(timer);
  },
};
