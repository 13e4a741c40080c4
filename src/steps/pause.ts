import type { Clock } from '../protocol/clock.ts';

/** Waits so many milliseconds, or until `signal` aborts. */
export function pause(clock: Clock, ms: number, signal: AbortSignal): Promise<void> {
  return new Promise((resolve) => {
    if (signal.aborted) return resolve();
    const stop = clock.after(ms, done);
    function done() {
      stop();
      signal.removeEventListener('abort', done);
      resolve();
    }
    signal.addEventListener('abort', done);
  });
}
