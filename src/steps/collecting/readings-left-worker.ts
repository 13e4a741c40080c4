import type { LeftAnswer, LeftAsked } from './worker-forecaster.ts';
import { readingsLeft } from './readings-left.ts';

/** How many readings are left, worked out in a worker of its own: it may take longer than a fit. */
addEventListener('message', ({ data }: MessageEvent<LeftAsked>) => {
  const { id, question } = data;
  const answer = (message: LeftAnswer) => postMessage(message);
  answer({ id, begun: true });
  try {
    answer({ id, outcome: readingsLeft(question) });
  } catch (error) {
    answer({ id, failed: error instanceof Error ? error.message : String(error) });
  }
});
