import { runFit, runLiveFit } from './fitting.ts';
import type { FitAnswer, FitQuestion } from './worker-fitter.ts';

/** The fit in a worker of its own: it says that it has begun with a request, then what came of it. */
const answer = (message: FitAnswer) => postMessage(message);

addEventListener('message', ({ data }: MessageEvent<FitQuestion>) => {
  const { id, how, request } = data;
  answer({ id, begun: true });
  try {
    answer({ id, outcome: how === 'live' ? runLiveFit(request) : runFit(request) });
  } catch (error) {
    answer({ id, failed: error instanceof Error ? error.message : String(error) });
  }
});
