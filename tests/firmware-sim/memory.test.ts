import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { BoardMemory, isOwnedBy, own, readingsEnd } from '../../firmware-sim/memory.ts';
import { LatestOfTwo, NonVolatile, PowerLoss } from '../../firmware-sim/non-volatile.ts';
import { randomStream } from '../../firmware-sim/random.ts';
import type { BoardReading } from '../../src/protocol/board.ts';
import { plainSet } from './terminal.ts';

const PLACES = 5;
function blank(owner: string): Uint8Array {
  const image = new Uint8Array(readingsEnd(PLACES)).fill(0xff);
  own(image, owner);
  return image;
}
const fresh = () => new NonVolatile(blank('SIM-1'));
const reading = (number: number): BoardReading => ({
  reading: number,
  generation: 0,
  tMs: 1000 * number,
  acc: [number, -0.04, 16384.52],
  mag: [-32767, 0, 0.2],
});

test('a new board has no readings, no coefficients and generation 0', () => {
  const memory = new BoardMemory(fresh(), PLACES);
  expect(memory.state()).toEqual({ first: 0, last: 0, count: 0, room: PLACES, dropped: 0 });
  expect(memory.generation).toBe(0);
  expect(memory.lastGiven).toBe(0);
  expect(memory.inForce()).toBeUndefined();
  expect(memory.previous()).toBeUndefined();
});

describe('readings', () => {
  const hundredths = (most: number) =>
    fc.integer({ min: -most * 100, max: most * 100 }).map((value) => value / 100);
  const thousandths = (min: number, max: number) =>
    fc.integer({ min: min * 1000, max: max * 1000 }).map((value) => value / 1000);
  const triple = fc.tuple(hundredths(32767), hundredths(32767), hundredths(32767));
  const anyReading: fc.Arbitrary<BoardReading> = fc
    .record(
      {
        generation: fc.nat(99_999),
        tMs: fc.nat(0xffffffff),
        acc: triple,
        mag: triple,
        accScatter: triple,
        magScatter: triple,
        samples: fc.nat(9999),
        temperature: fc.integer({ min: -400, max: 850 }).map((value) => value / 10),
        volt: fc.nat(9999).map((value) => value / 100),
        azimuth: thousandths(0, 359),
        inclination: thousandths(-90, 90),
        roll: thousandths(0, 359),
        range: thousandths(0, 999),
      },
      { requiredKeys: ['generation', 'tMs', 'acc', 'mag'] },
    )
    .map((value) => ({ reading: 1, ...value }));

  test('come back from the bytes as they were stored, with whatever they have and no more', () => {
    fc.assert(
      fc.property(anyReading, (stored) => {
        const bytes = fresh();
        new BoardMemory(bytes, PLACES).store(stored);
        expect(new BoardMemory(bytes, PLACES).recall(1)).toEqual(stored);
      }),
      { numRuns: 100 },
    );
  });

  test('fill the memory, make room when erased from the oldest, and never get an old number again', () => {
    const bytes = fresh();
    let memory = new BoardMemory(bytes, PLACES);
    for (let n = 1; n <= PLACES; n++) memory.store(reading(n));
    expect(memory.isFull).toBe(true);
    expect(memory.erase(3)).toBe(3);
    expect(memory.erase(3)).toBe(0);
    expect(memory.state()).toEqual({ first: 4, last: 5, count: 2, room: 3, dropped: 0 });
    expect(memory.recall(3)).toBeUndefined();
    memory.store(reading(6));
    expect(memory.erase(6)).toBe(3);
    memory = new BoardMemory(bytes, PLACES);
    expect(memory.state()).toEqual({ first: 0, last: 0, count: 0, room: PLACES, dropped: 0 });
    expect(memory.lastGiven).toBe(6);
  });

  test('and erasures are the same after any sequence of them, read anew from the bytes', () => {
    fc.assert(
      fc.property(fc.array(fc.oneof(fc.constant('store' as const), fc.nat(4))), (acts) => {
        const bytes = fresh();
        const memory = new BoardMemory(bytes, PLACES);
        for (const act of acts) {
          if (act !== 'store') memory.erase(Math.max(0, memory.lastGiven - act));
          else if (!memory.isFull) memory.store(reading(memory.lastGiven + 1));
        }
        const again = new BoardMemory(bytes, PLACES);
        expect(again.state()).toEqual(memory.state());
        expect(again.lastGiven).toBe(memory.lastGiven);
        const { first, last, count, room } = memory.state();
        expect(count + room).toBe(PLACES);
        for (let n = first; n <= last && n > 0; n++) expect(again.recall(n)).toEqual(reading(n));
      }),
    );
  });
});

describe('sets of coefficients', () => {
  test('the latest is in force, the one before it is the previous, through many seals', () => {
    const bytes = fresh();
    for (let generation = 1; generation <= 7; generation++) {
      const memory = new BoardMemory(bytes, PLACES);
      expect(memory.seal(plainSet({ 2: generation }))).toBe(generation);
      const again = new BoardMemory(bytes, PLACES);
      expect(again.inForce()).toMatchObject({ generation, ...plainSet({ 2: generation }) });
      expect(again.previous()?.generation).toBe(generation === 1 ? undefined : generation - 1);
    }
  });

  test('a bowed set keeps its curvature', () => {
    const bytes = fresh();
    const { values } = plainSet();
    const bowed = { model: 'bowed' as const, values: [...values, 0.5, -0.25, 0.125] };
    new BoardMemory(bytes, PLACES).seal(bowed);
    expect(new BoardMemory(bytes, PLACES).inForce()).toMatchObject(bowed);
  });
});

describe('bytes', () => {
  test('when power fails at a write, that byte is torn, nothing after it is written, and all are counted', () => {
    const bytes = new NonVolatile(new Uint8Array(8));
    bytes.write(0, Uint8Array.of(1, 2));
    bytes.cutAtWrite(2, randomStream(1, 'tearing'));
    expect(() => bytes.write(2, Uint8Array.of(0xff, 0xff, 0xff, 0xff))).toThrow(PowerLoss);
    expect(bytes.writes).toBe(4);
    const [, , whole, torn, ...rest] = bytes.image();
    expect(whole).toBe(0xff);
    expect(torn).not.toBe(0xff);
    expect(rest).toEqual([0, 0, 0, 0]);
  });

  test('an image is a copy, made after each change', () => {
    const seen: number[] = [];
    const bytes = new NonVolatile(new Uint8Array(4), () => seen.push(bytes.image()[0]!));
    const before = bytes.image();
    bytes.write(0, Uint8Array.of(7));
    bytes.write(0, Uint8Array.of(9));
    expect(seen).toEqual([7, 9]);
    expect(before[0]).toBe(0);
  });

  test('the memory of another board is told apart, and an empty one', () => {
    const image = blank('SIM-1');
    expect(isOwnedBy('SIM-1', image)).toBe(true);
    expect(isOwnedBy('SIM-2', image)).toBe(false);
    expect(isOwnedBy('SIM-1', new Uint8Array(0))).toBe(false);
  });
});

describe('of two records that take turns', () => {
  const SIZE = 16;
  const open = (bytes: NonVolatile) => new LatestOfTwo(bytes, 4, SIZE);
  const make = () => new NonVolatile(new Uint8Array(4 + 2 * SIZE).fill(0xff));
  const keep = (bytes: NonVolatile, value: number) =>
    open(bytes).write((body) => body.setUint32(0, value));
  const held = (bytes: NonVolatile) => open(bytes).body()?.getUint32(0);

  test('there is none at first, and later the latest counts, however many there were', () => {
    const bytes = make();
    expect(held(bytes)).toBeUndefined();
    for (let value = 1; value <= 9; value++) {
      keep(bytes, value);
      expect(held(bytes)).toBe(value);
      expect(open(bytes).sequence).toBe(value);
    }
  });

  test('power cut at any write of the next leaves the one before or the next, and a further one takes', () => {
    for (let at = 1; at <= SIZE; at++) {
      const bytes = make();
      keep(bytes, 1);
      keep(bytes, 2);
      bytes.cutAtWrite(at, randomStream(at, 'tearing'));
      expect(() => keep(bytes, 3)).toThrow(PowerLoss);
      expect([2, 3]).toContain(held(bytes));
      keep(bytes, 4);
      expect(held(bytes)).toBe(4);
    }
  });
});
