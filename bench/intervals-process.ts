import { parentPort, workerData } from 'node:worker_threads';
import { countHeld, type IntervalTrials } from './intervals.ts';

/** Some of the trials of `intervals`, in a thread of their own. */
parentPort!.postMessage(countHeld(workerData as IntervalTrials));
