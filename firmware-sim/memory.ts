import type { BoardReading, MemoryState, StoredSet } from '../src/protocol/board.ts';
import type { CoefficientSet } from '../src/protocol/coefficient-set.ts';
import { setCrc } from '../src/protocol/messages.ts';
import { isGood, type NonVolatile, record } from './non-volatile.ts';

/*
 * The map of this part of the memory. Everything in it is a record that ends in the CRC-32 of its bytes, so that a torn
 * one is known as such, and nothing is overwritten that is still needed: a record is good, or it is as if it were not
 * there.
 *
 *   0    whose memory this is
 *   64   two marks (how far readings are erased), the greater good one counts
 *   128  three sets of coefficients: the greatest good generation is in force, the next greatest is the previous
 *   512  readings, number n in place n modulo their count
 *
 * What comes after the readings is in kept-settings.ts and image-slots.ts.
 */
const OWNER = { at: 0, size: 64 };
const MARK = { at: 64, size: 16, count: 2 };
const SET = { at: 128, size: 128, count: 3 };
const READING = { at: 512, size: 96 };
const LONGEST_SET = 29;

const encoder = new TextEncoder();

function ownerRecord(owner: string): Uint8Array {
  return record(OWNER.size, (view) =>
    encoder.encode(owner).forEach((byte, i) => view.setUint8(i, byte)),
  );
}

/** How many bytes all this takes, with room for so many readings. */
export const readingsEnd = (places: number): number => READING.at + READING.size * places;

/** Writes into a blank memory whose it is. */
export function own(image: Uint8Array, owner: string): void {
  image.set(ownerRecord(owner));
}

/** Whether a memory is this board's. */
export function isOwnedBy(owner: string, image: Uint8Array): boolean {
  return ownerRecord(owner).every((byte, i) => image[i] === byte);
}

/** The readings that a board holds until they are erased. */
export interface Readings {
  /** The number last given to a reading, erased or not; 0 when there never was one. */
  readonly lastGiven: number;
  /** Whether a new reading is refused. */
  readonly isFull: boolean;
  state(): MemoryState;
  /** Stores the reading numbered one above the last given. @throws PowerLoss */
  store(reading: BoardReading): void;
  recall(number: number): BoardReading | undefined;
  /** Erases every reading up to a number; how many there were. @throws PowerLoss */
  erase(through: number): number;
}

/** What a board keeps, read from its bytes at the start and written through from then on. */
export class BoardMemory implements Readings {
  readonly #held: Set<number>;
  #erasedThrough = 0;
  #lastGiven: number;
  #sets: { generation: number; place: number }[] = [];

  constructor(
    private readonly bytes: NonVolatile,
    private readonly places: number,
  ) {
    for (let i = 0; i < MARK.count; i++) {
      const mark = this.#good(MARK, i);
      if (mark) this.#erasedThrough = Math.max(this.#erasedThrough, mark.getUint32(0));
    }
    for (let place = 0; place < SET.count; place++) {
      const set = this.#good(SET, place);
      if (set) this.#sets.push({ generation: set.getUint32(0), place });
    }
    this.#sets.sort((a, b) => b.generation - a.generation);
    const numbers = Array.from({ length: this.places }, (_, i) => this.#good(READING, i))
      .filter((view) => view !== undefined)
      .map((view) => view.getUint32(0));
    this.#held = new Set(numbers.filter((n) => n > this.#erasedThrough).sort((a, b) => a - b));
    this.#lastGiven = Math.max(this.#erasedThrough, ...numbers);
  }

  get generation(): number {
    return this.#sets[0]?.generation ?? 0;
  }

  inForce(): StoredSet | undefined {
    return this.#sets[0] && this.#readSet(this.#sets[0].place);
  }

  previous(): StoredSet | undefined {
    return this.#sets[1] && this.#readSet(this.#sets[1].place);
  }

  /** Writes a set as the next generation, over neither of the two that count. @throws PowerLoss */
  seal(set: CoefficientSet): number {
    const generation = this.generation + 1;
    const keep = this.#sets.slice(0, 2);
    const place = [0, 1, 2].find((p) => !keep.some((kept) => kept.place === p))!;
    this.#write(SET, place, (view) => {
      view.setUint32(0, generation);
      view.setUint8(4, set.values.length);
      set.values.forEach((value, i) => view.setFloat32(5 + 4 * i, value));
    });
    this.#sets = [{ generation, place }, ...keep];
    return generation;
  }

  get lastGiven(): number {
    return this.#lastGiven;
  }

  state(): MemoryState {
    const numbers = [...this.#held];
    return {
      first: numbers[0] ?? 0,
      last: numbers.at(-1) ?? 0,
      count: numbers.length,
      room: this.#room(),
      dropped: 0,
    };
  }

  get isFull(): boolean {
    return this.#room() === 0;
  }

  store(reading: BoardReading): void {
    this.#write(READING, reading.reading % this.places, (view) => writeReading(view, reading));
    this.#held.add(reading.reading);
    this.#lastGiven = reading.reading;
  }

  recall(number: number): BoardReading | undefined {
    if (!this.#held.has(number)) return undefined;
    const view = this.#good(READING, number % this.places);
    if (!view) throw new Error(`Reading ${number} is listed but its record is bad.`);
    return readReading(view);
  }

  erase(through: number): number {
    const gone = [...this.#held].filter((number) => number <= through);
    if (gone.length === 0) return 0;
    this.#mark(through);
    gone.forEach((number) => this.#held.delete(number));
    return gone.length;
  }

  /** Gives up every number to `number`, as if readings with them had been taken and erased. @throws PowerLoss */
  skipTo(number: number): void {
    this.#mark(number);
    this.#lastGiven = Math.max(this.#lastGiven, number);
  }

  #mark(through: number): void {
    const marks = [0, 1].map((i) => this.#good(MARK, i)?.getUint32(0) ?? 0);
    const lesser = marks[0]! <= marks[1]! ? 0 : 1;
    this.#write(MARK, lesser, (view) => view.setUint32(0, through));
    this.#erasedThrough = through;
  }

  /** Readings are taken in order and erased from the oldest, so those held lie in a row that may not meet itself. */
  #room(): number {
    const first = [...this.#held][0];
    return first === undefined ? this.places : this.places - (this.#lastGiven - first + 1);
  }

  #good(area: { at: number; size: number }, place: number): DataView | undefined {
    const view = this.bytes.view(area.at + area.size * place, area.size);
    return isGood(view) ? view : undefined;
  }

  #write(area: { at: number; size: number }, place: number, fill: (view: DataView) => void): void {
    this.bytes.write(area.at + area.size * place, record(area.size, fill));
  }

  #readSet(place: number): StoredSet {
    const view = this.bytes.view(SET.at + SET.size * place, SET.size);
    const length = view.getUint8(4);
    const values = Array.from({ length }, (_, i) => view.getFloat32(5 + 4 * i));
    const model = length === LONGEST_SET ? ('bowed' as const) : ('straight' as const);
    return { generation: view.getUint32(0), model, values, crc: setCrc({ model, values }) };
  }
}

/** In a reading's record, the value of what it has not. */
const ABSENT = -0x80000000;

const TRIPLES = ['acc', 'mag', 'accScatter', 'magScatter'] as const;
/** The rest of a reading, each with how many of the stored units make one of its own. */
const SINGLES = {
  samples: 1,
  temperature: 10,
  volt: 100,
  azimuth: 1000,
  inclination: 1000,
  roll: 1000,
  range: 1000,
} as const;

function writeReading(view: DataView, reading: BoardReading): void {
  view.setUint32(0, reading.reading);
  view.setUint32(4, reading.generation);
  view.setUint32(8, reading.tMs ?? 0);
  let at = 12;
  const put = (value: number | undefined, units: number): void => {
    view.setInt32(at, value === undefined ? ABSENT : Math.round(value * units));
    at += 4;
  };
  for (const name of TRIPLES) for (const i of [0, 1, 2]) put(reading[name]?.[i], 100);
  for (const [name, units] of Object.entries(SINGLES)) {
    put(reading[name as keyof typeof SINGLES], units);
  }
}

function readReading(view: DataView): BoardReading {
  let at = 12;
  const get = (units: number): number | undefined => {
    const stored = view.getInt32(at);
    at += 4;
    return stored === ABSENT ? undefined : stored / units;
  };
  const head = {
    reading: view.getUint32(0),
    generation: view.getUint32(4),
    tMs: view.getUint32(8),
  };
  const triples = TRIPLES.map((name) => {
    const values = [get(100), get(100), get(100)];
    return [name, values.includes(undefined) ? undefined : values] as const;
  });
  const singles = Object.entries(SINGLES).map(([name, units]) => [name, get(units)]);
  const present = [...triples, ...singles].filter(([, value]) => value !== undefined);
  return { ...head, ...Object.fromEntries(present) } as BoardReading;
}

/** So many numbers a ring takes at a time. */
const NUMBERS_AHEAD = 1000;

/**
 * The readings of a board that does not keep them: the latest few, gone with the power; the oldest falls out when another
 * comes. Only so much is kept that no number is given twice: it takes numbers by the thousand, and begins beyond
 * them after each start.
 */
export class RingOfReadings implements Readings {
  #held: BoardReading[] = [];
  #dropped = 0;
  #lastGiven: number;
  #taken: number;
  readonly isFull = false;

  constructor(
    private readonly memory: BoardMemory,
    private readonly places: number,
  ) {
    this.#lastGiven = memory.lastGiven;
    this.#taken = memory.lastGiven;
  }

  get lastGiven(): number {
    return this.#lastGiven;
  }

  state(): MemoryState {
    const [first, last] = [this.#held[0]?.reading ?? 0, this.#held.at(-1)?.reading ?? 0];
    const count = this.#held.length;
    return { first, last, count, room: this.places - count, dropped: this.#dropped };
  }

  store(reading: BoardReading): void {
    if (reading.reading > this.#taken) {
      this.#taken += NUMBERS_AHEAD;
      this.memory.skipTo(this.#taken);
    }
    this.#held.push(reading);
    this.#lastGiven = reading.reading;
    if (this.#held.length > this.places) {
      this.#held.shift();
      this.#dropped += 1;
    }
  }

  recall(number: number): BoardReading | undefined {
    return this.#held.find(({ reading }) => reading === number);
  }

  erase(through: number): number {
    const before = this.#held.length;
    this.#held = this.#held.filter(({ reading }) => reading > through);
    return before - this.#held.length;
  }
}
