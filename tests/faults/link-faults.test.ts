import { describe, expect, test } from 'vitest';
import { VirtualClock } from '../../firmware-sim/clock.ts';
import { Wire } from '../../firmware-sim/link-faults.ts';
import type { LinkFaultRates } from '../../src/protocol/simulator.ts';

const CLEAN: LinkFaultRates = { lose: 0, double: 0, flip: 0, delayMs: 0 };

/** Sends bytes in chunks of a hundred and gives what arrived, and when. */
function carry(bytes: Uint8Array, rates: Partial<LinkFaultRates>, seed = 1) {
  const clock = new VirtualClock();
  const chunks: { at: number; bytes: Uint8Array }[] = [];
  const wire = new Wire(
    seed,
    'wire',
    clock,
    () => ({ ...CLEAN, ...rates }),
    (arrived) => chunks.push({ at: clock.now(), bytes: arrived }),
  );
  for (let at = 0; at < bytes.length; at += 100) {
    wire.send(bytes.subarray(at, at + 100));
    clock.advance(1000);
  }
  return { chunks, bytes: Uint8Array.from(chunks.flatMap((chunk) => [...chunk.bytes])) };
}

const COUNT = 40_000;
const RATE = 0.02;
/** Four standard deviations of how many of {@link COUNT} bytes are hit. */
const MARGIN = 4 * Math.sqrt(COUNT * RATE * (1 - RATE));
const zeros = new Uint8Array(COUNT);
const counting = Uint8Array.from({ length: COUNT }, (_, i) => i & 0xff);

describe('a wire', () => {
  test('without faults carries all bytes in order, cut in places that are not the sender’s', () => {
    const { chunks, bytes } = carry(counting, {});
    expect(bytes).toEqual(counting);
    expect(new Set(chunks.map((chunk) => chunk.bytes.length)).size).toBeGreaterThan(50);
  });

  test('never delivers in the call that sends', () => {
    const clock = new VirtualClock();
    let arrived = 0;
    const wire = new Wire(
      1,
      'wire',
      clock,
      () => CLEAN,
      () => (arrived += 1),
    );
    wire.send(Uint8Array.of(1, 2, 3));
    expect(arrived).toBe(0);
    clock.advance(0);
    expect(arrived).toBeGreaterThan(0);
  });

  test('loses as many bytes as its rate says, and changes no other', () => {
    const { bytes } = carry(counting, { lose: RATE });
    expect(Math.abs(COUNT - bytes.length - COUNT * RATE)).toBeLessThan(MARGIN);
    let at = 0;
    for (const byte of bytes) {
      while (at < COUNT && counting[at] !== byte) at += 1;
      at += 1;
    }
    expect(at).toBeLessThanOrEqual(COUNT);
  });

  test('doubles as many as its rate says, each beside itself', () => {
    const { bytes } = carry(counting, { double: RATE });
    expect(Math.abs(bytes.length - COUNT - COUNT * RATE)).toBeLessThan(MARGIN);
    expect(bytes.filter((byte, i) => byte !== bytes[i - 1])).toEqual(counting);
  });

  test('flips one bit in as many as its rate says, any of the eight', () => {
    const { bytes } = carry(zeros, { flip: RATE });
    const flipped = [...bytes].filter((byte) => byte !== 0);
    expect(Math.abs(flipped.length - COUNT * RATE)).toBeLessThan(MARGIN);
    expect([...new Set(flipped)].sort((a, b) => a - b)).toEqual([1, 2, 4, 8, 16, 32, 64, 128]);
  });

  test('delays each chunk by a random part of the longest delay, and keeps the order', () => {
    const { chunks, bytes } = carry(counting, { delayMs: 200 });
    expect(bytes).toEqual(counting);
    const waits = chunks.map((chunk) => chunk.at % 1000);
    expect(Math.max(...waits)).toBeLessThan(200);
    const mean = waits.reduce((sum, wait) => sum + wait, 0) / waits.length;
    // Of two pieces the first waits half the time on average, the second the longer of two: two thirds.
    expect(mean).toBeGreaterThan(100);
    expect(mean).toBeLessThan(133);
  });

  test('has the same faults with the same seed, others with another', () => {
    const rates = { lose: RATE, double: RATE, flip: RATE, delayMs: 50 };
    const short = counting.subarray(0, 5000);
    expect(carry(short, rates)).toEqual(carry(short, rates));
    expect(carry(short, rates, 2).bytes).not.toEqual(carry(short, rates).bytes);
  });

  test('carries nothing more once it is cleared', () => {
    const clock = new VirtualClock();
    let arrived = 0;
    const wire = new Wire(
      1,
      'w',
      clock,
      () => ({ ...CLEAN, delayMs: 10 }),
      () => (arrived += 1),
    );
    wire.send(Uint8Array.of(1, 2, 3));
    wire.clear();
    clock.advance(100);
    expect(arrived).toBe(0);
  });
});
