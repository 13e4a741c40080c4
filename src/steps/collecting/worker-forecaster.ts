import type { Forecaster, LeftQuestion, ReadingsLeft } from './readings-left.ts';

export interface LeftAsked {
  id: number;
  question: LeftQuestion;
}
export type LeftAnswer = { id: number } & ({ left: ReadingsLeft } | { failed: string });

/** Works out in a worker, loaded when it is needed first, how many readings are left. One that breaks off is begun anew. */
export function workerForecaster(): Forecaster {
  let worker: Worker | undefined;
  let latest = 0;
  return (question) =>
    new Promise((resolve, reject) => {
      const running = (worker ??= new Worker(
        new URL('./readings-left-worker.ts', import.meta.url),
        {
          type: 'module',
        },
      ));
      const id = ++latest;
      const settle = (done: () => void) => {
        running.removeEventListener('message', answered);
        running.removeEventListener('error', failed);
        done();
      };
      const answered = ({ data }: MessageEvent<LeftAnswer>) => {
        if (data.id !== id) return;
        settle(() => ('left' in data ? resolve(data.left) : reject(new Error(data.failed))));
      };
      const failed = (event: ErrorEvent) => {
        running.terminate();
        if (worker === running) worker = undefined;
        settle(() => reject(new Error(event.message || 'its program could not be loaded')));
      };
      running.addEventListener('message', answered);
      running.addEventListener('error', failed);
      const asked: LeftAsked = { id, question };
      running.postMessage(asked);
    });
}
