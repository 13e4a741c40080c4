import { runFit, type FitRequest } from './fitting.ts';

/** The fit in a worker of its own: it answers each request with `{ id, outcome }`. */
addEventListener('message', ({ data }: MessageEvent<{ id: number; request: FitRequest }>) => {
  postMessage({ id: data.id, outcome: runFit(data.request) });
});
