import type { Clock } from '../src/protocol/clock.ts';
import type { LinkFaultRates } from '../src/protocol/simulator.ts';
import { type Random, randomStream } from './random.ts';

/**
 * One direction of a link. Bytes arrive in order, never in the call that sent them, and cut anywhere even when
 * nothing else is wrong: no real link promises more. Each fault draws from its own stream.
 */
export class Wire {
  readonly #streams: Record<'lose' | 'double' | 'flip' | 'bit' | 'cut' | 'delay', Random>;
  /** What is under way, in order: nothing overtakes what was sent before it, even if it is due earlier. */
  #under: { due: number; bytes: Uint8Array }[] = [];
  #cancel: (() => void) | undefined;

  constructor(
    seed: number,
    name: string,
    private readonly clock: Clock,
    private readonly rates: () => LinkFaultRates,
    private readonly deliver: (bytes: Uint8Array) => void,
  ) {
    const stream = (fault: string): Random => randomStream(seed, `${name}: ${fault}`);
    this.#streams = {
      lose: stream('lose'),
      double: stream('double'),
      flip: stream('flip'),
      bit: stream('bit'),
      cut: stream('cut'),
      delay: stream('delay'),
    };
  }

  send(bytes: Uint8Array): void {
    const arriving = this.#damage(bytes);
    if (arriving.length === 0) return;
    const cut = 1 + this.#streams.cut.below(arriving.length);
    for (const piece of [arriving.subarray(0, cut), arriving.subarray(cut)]) {
      if (piece.length === 0) continue;
      const wait = this.#streams.delay.between(0, this.rates().delayMs);
      this.#under.push({ due: this.clock.now() + wait, bytes: piece });
    }
    this.#schedule();
  }

  /** Everything under way arrives now. */
  flush(): void {
    const pieces = this.#under;
    this.clear();
    for (const { bytes } of pieces) this.deliver(bytes);
  }

  /** Everything under way is lost. */
  clear(): void {
    this.#under = [];
    this.#cancel?.();
    this.#cancel = undefined;
  }

  #damage(bytes: Uint8Array): Uint8Array {
    const { lose, double, flip } = this.rates();
    const hit = (rate: number, stream: Random): boolean => rate > 0 && stream.uniform() < rate;
    const out: number[] = [];
    for (const byte of bytes) {
      const lost = hit(lose, this.#streams.lose);
      const flipped = hit(flip, this.#streams.flip)
        ? byte ^ (1 << this.#streams.bit.below(8))
        : byte;
      const doubled = hit(double, this.#streams.double);
      if (!lost) out.push(flipped);
      if (!lost && doubled) out.push(flipped);
    }
    return Uint8Array.from(out);
  }

  #schedule(): void {
    const next = this.#under[0];
    if (!next || this.#cancel) return;
    this.#cancel = this.clock.after(Math.max(0, next.due - this.clock.now()), () => {
      this.#cancel = undefined;
      const piece = this.#under.shift()!;
      this.#schedule();
      this.deliver(piece.bytes);
    });
  }
}
