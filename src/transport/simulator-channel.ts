import type { HeldAim, SimulatorSettings } from '../protocol/simulator.ts';

/** What page and worker say to each other about a simulated board. All of it passes through structured cloning. */

/** What can be asked of the worker; each is answered once, by its id. */
export type SimulatorCall =
  | { method: 'start'; settings: SimulatorSettings; saved?: Uint8Array; captureMs?: number }
  /** `opening` marks what belongs to this opening of the link, so that nothing of an earlier one is taken for it. */
  | { method: 'open'; opening: number }
  | { method: 'write'; opening: number; bytes: Uint8Array }
  | { method: 'close'; opening: number }
  | { method: 'hold'; aim: HeldAim }
  | { method: 'walk'; metres: number }
  | { method: 'press' }
  | { method: 'settings' }
  | { method: 'adjust'; change: Partial<SimulatorSettings> }
  | { method: 'truth'; count: number };

export type ToWorker = { id: number; call: SimulatorCall };

export type FromWorker =
  | { kind: 'done'; id: number; value: unknown }
  | { kind: 'failed'; id: number; reason: string }
  | { kind: 'bytes'; opening: number; bytes: Uint8Array }
  | { kind: 'closed'; opening: number; reason: string }
  | { kind: 'memory'; image: Uint8Array };

/** One end of the channel: a worker as its page sees it, or the worker's own scope. */
export interface ChannelEnd {
  postMessage(message: unknown): void;
  onmessage: ((event: MessageEvent) => void) | null;
}
