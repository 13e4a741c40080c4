import { crc32 } from '../src/protocol/crc.ts';
import type { Random } from './random.ts';

/** Power failed in the midst of a write. The firmware that was running is no more. */
export class PowerLoss extends Error {
  override readonly name = 'PowerLoss';
}

/**
 * Bytes that survive loss of power, written one at a time. Power can be made to fail at a chosen write: that byte
 * is torn (some of its bits new, some old) and nothing after it is written.
 */
export class NonVolatile {
  readonly #bytes: Uint8Array;
  #writes = 0;
  #cut: { at: number; random: Random } | undefined;

  /** @param onChange called after each run of writes, torn or whole */
  constructor(
    image: Uint8Array,
    private readonly onChange: () => void = () => {},
  ) {
    this.#bytes = image.slice();
  }

  /** How many bytes were written since the start. */
  get writes(): number {
    return this.#writes;
  }

  /** A copy of all bytes. */
  image(): Uint8Array {
    return this.#bytes.slice();
  }

  view(at: number, length: number): DataView {
    return new DataView(this.#bytes.buffer, at, length);
  }

  /** Power is to fail at the `n`-th write from now (1 is the next); `random` decides which bits are torn. */
  cutAtWrite(n: number, random: Random): void {
    this.#cut = { at: this.#writes + n, random };
  }

  /** @throws PowerLoss */
  write(at: number, data: Uint8Array): void {
    try {
      data.forEach((byte, i) => this.#writeByte(at + i, byte));
    } finally {
      this.onChange();
    }
  }

  #writeByte(at: number, byte: number): void {
    this.#writes += 1;
    if (this.#writes === this.#cut?.at) {
      const kept = this.#cut.random.below(256);
      this.#cut = undefined;
      this.#bytes[at] = (this.#bytes[at]! & kept) | (byte & ~kept);
      throw new PowerLoss(`Power failed at write ${this.#writes}.`);
    }
    this.#bytes[at] = byte;
  }
}

function checkOf(view: DataView): number {
  return crc32(new Uint8Array(view.buffer, view.byteOffset, view.byteLength - 4));
}

/** Whether a record is whole. */
export function isGood(view: DataView): boolean {
  return view.getUint32(view.byteLength - 4) === checkOf(view);
}

/** A record's bytes, filled in by `fill`, with its check. */
export function record(size: number, fill: (view: DataView) => void): Uint8Array {
  const bytes = new Uint8Array(size);
  const view = new DataView(bytes.buffer);
  fill(view);
  view.setUint32(size - 4, checkOf(view));
  return bytes;
}

/** Bytes of a record beside its body when two take turns: the sequence number before it, the check after it. */
const AROUND = 8;

/**
 * Something of which the latest version counts, kept twice over: a new version is written over the older of the two, so
 * that one is whole whenever power fails.
 */
export class LatestOfTwo {
  #sequence = 0;
  #place = 1;

  /** @param size of each of the two records, bytes, that of its number and check included */
  constructor(
    private readonly bytes: NonVolatile,
    private readonly at: number,
    private readonly size: number,
  ) {
    for (const place of [0, 1]) {
      const view = bytes.view(at + size * place, size);
      if (isGood(view) && view.getUint32(0) > this.#sequence) {
        this.#sequence = view.getUint32(0);
        this.#place = place;
      }
    }
  }

  /** How many versions there have been. */
  get sequence(): number {
    return this.#sequence;
  }

  /** The latest version; nothing where there never was one. */
  body(): DataView | undefined {
    if (this.#sequence === 0) return undefined;
    return this.bytes.view(this.at + this.size * this.#place + 4, this.size - AROUND);
  }

  /** Writes the next version. @throws PowerLoss */
  write(fill: (body: DataView) => void): void {
    const sequence = this.#sequence + 1;
    const place = 1 - this.#place;
    const next = record(this.size, (view) => {
      view.setUint32(0, sequence);
      fill(new DataView(view.buffer, 4, this.size - AROUND));
    });
    this.bytes.write(this.at + this.size * place, next);
    this.#sequence = sequence;
    this.#place = place;
  }
}
