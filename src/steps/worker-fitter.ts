import type { FitOutcome, Fitter } from './fitting.ts';

/** Fits in a worker that is loaded when the first fit is asked for. */
export function workerFitter(): Fitter {
  let worker: Worker | undefined;
  let latest = 0;
  return (request) =>
    new Promise((resolve, reject) => {
      worker ??= new Worker(new URL('./fit-worker.ts', import.meta.url), { type: 'module' });
      const id = ++latest;
      const running = worker;
      const settle = (done: () => void) => {
        running.removeEventListener('message', answered);
        running.removeEventListener('error', failed);
        done();
      };
      const answered = ({ data }: MessageEvent<{ id: number; outcome: FitOutcome }>) => {
        if (data.id === id) settle(() => resolve(data.outcome));
      };
      const failed = (event: ErrorEvent) => {
        running.terminate();
        worker = undefined; // the next fit gets a fresh one
        settle(() => reject(new Error(event.message || 'the fit could not be loaded')));
      };
      running.addEventListener('message', answered);
      running.addEventListener('error', failed);
      running.postMessage({ id, request });
    });
}
