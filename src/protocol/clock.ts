/** Time as the protocol needs it, handed in from outside, so that a virtual clock can drive everything. */
export interface Clock {
  /** Milliseconds from any fixed moment; never goes back. */
  now(): number;
  /** Runs `task` once after `ms` milliseconds unless the returned function is called first. */
  after(ms: number, task: () => void): () => void;
}
