import { countHeld, type IntervalTrials } from './intervals.ts';

/** Some of the trials of `intervals`, in a process of their own: sent in, counted, and sent back. */
process.once('message', (trials: IntervalTrials) => {
  process.send!(countHeld(trials), () => process.disconnect());
});
