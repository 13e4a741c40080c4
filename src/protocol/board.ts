import type { CoefficientSet } from './coefficient-set.ts';

/** A board as the host sees it: typed requests over one conversation. */

/** The answer to hello (SPEC.md, section 3), checked. */
export interface BoardIdentity {
  protocol: number;
  serial: string;
  name: string;
  hardware: string;
  firmware: string;
  capabilities: readonly string[];
  accScale: number;
  magScale: number;
  /** Declared mountings, as `+y-x+z`; absent where the maker does not say. */
  accMounting?: string;
  magMounting?: string;
  /** Standard deviation of a reading per axis, counts. */
  accNoise: number;
  magNoise: number;
  chunk: number;
  captureMs: number;
  generation: number;
}

type Triple = readonly [number, number, number];

/** One reading as it came over the wire (SPEC.md, section 6), checked. Degrees, counts. */
export interface BoardReading {
  reading: number;
  generation: number;
  tMs?: number;
  acc: Triple;
  mag: Triple;
  accScatter?: Triple;
  magScatter?: Triple;
  samples?: number;
  temperature?: number;
  volt?: number;
  azimuth?: number;
  inclination?: number;
  roll?: number;
  range?: number;
}

export interface MemoryState {
  first: number;
  last: number;
  count: number;
  room: number;
  dropped: number;
}

export interface StoredSet extends CoefficientSet {
  generation: number;
  /** CRC-32 as eight upper-case hexadecimal digits. */
  crc: string;
}

export interface Board {
  readonly identity: BoardIdentity;
  mode(set: 'idle' | 'collect'): Promise<void>;
  sense(signal?: AbortSignal): Promise<Omit<BoardReading, 'reading' | 'generation'>>;
  /** Takes a reading; it also arrives through `onReading`, before this resolves with its number. */
  capture(signal?: AbortSignal): Promise<number>;
  memory(): Promise<MemoryState>;
  recall(reading: number, signal?: AbortSignal): Promise<BoardReading>;
  erase(through: number): Promise<number>;
  coefficients(which: 'in_force' | 'previous' | 'staged'): Promise<StoredSet | undefined>;
  /** Stages and checks; resolves with the CRC of what the board holds, equal to that of `set`. */
  stage(set: CoefficientSet): Promise<string>;
  /** Seals the checked set as the generation after `replaces`; resolves with the new generation. */
  seal(replaces: number, crc: string): Promise<number>;
  revert(replaces: number): Promise<number>;
  close(): Promise<void>;
}
