import { realClock } from './real-clock.ts';
import type { ChannelEnd } from './simulator-channel.ts';
import { serveSimulator } from './simulator-service.ts';

/** The worker in which the page's simulated board runs: its scope is one end of the channel. */
serveSimulator(globalThis as unknown as ChannelEnd, realClock);
