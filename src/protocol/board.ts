import type { Clock } from './clock.ts';
import type { CoefficientSet } from './coefficient-set.ts';
import { ProtocolError, type BoardCode } from './errors.ts';
import type { Line } from './line.ts';
import type { ByteLink } from './link.ts';
import type { CareVerb } from './care-messages.ts';
import { setCrc, type AnswerOf, type RequestOf, type SensedReading } from './messages.ts';
import { Session, type BoardEvent } from './session.ts';

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
  /** What the board said of itself when it was linked; `generation` too is that of then. */
  readonly identity: BoardIdentity;
  /** Resolves, after `idle`, when every reading taken until then has reached `onReading` or was reported lost. */
  mode(set: 'idle' | 'collect', signal?: AbortSignal): Promise<void>;
  sense(signal?: AbortSignal): Promise<Omit<BoardReading, 'reading' | 'generation'>>;
  /**
   * Takes a reading; it also arrives through `onReading`, before this resolves with its number. When this rejects,
   * `fault` tells whether a reading was taken: not with `refused`; perhaps with `no_answer`, `cancelled` or
   * `link_closed`, and then it still arrives through `onReading` while the link lasts, or is in the board's memory;
   * certainly with `reading_lost` and `nonsense`.
   */
  capture(signal?: AbortSignal): Promise<number>;
  memory(signal?: AbortSignal): Promise<MemoryState>;
  /** The reading of that number, from the board's memory. It does not go through `onReading`. */
  recall(reading: number, signal?: AbortSignal): Promise<BoardReading>;
  /** Erases every reading up to that number; resolves with how many that were. */
  erase(through: number): Promise<number>;
  /** A set of coefficients as the board holds it, its CRC proved; undefined where it holds none. */
  coefficients(
    which: 'in_force' | 'previous' | 'staged',
    signal?: AbortSignal,
  ): Promise<StoredSet | undefined>;
  /**
   * Stages and checks; resolves with the CRC of what the board holds, equal to that of `set`.
   *
   * @throws ProtocolError `staged_differs` when the board holds something else; what is in force is untouched
   */
  stage(set: CoefficientSet): Promise<string>;
  /**
   * Seals the checked set as the generation after `replaces`; resolves with the new generation. After `no_answer`,
   * `cancelled`, `link_closed` or `board_restarted` it may have happened or not: {@link sealOutcome} tells, on this
   * link or on the next.
   */
  seal(replaces: number, crc: string): Promise<number>;
  /** Puts the previous set in force again, as the generation after `replaces`; resolves with its number. */
  revert(replaces: number): Promise<number>;
  /** What the verbs for the care of a board ask and answer (SPEC.md, sections 4.4 to 4.6). */
  ask<V extends CareVerb>(
    verb: V,
    values: RequestOf<V>,
    signal?: AbortSignal,
  ): Promise<AnswerOf<V>>;
  /**
   * Resolves when every reading taken so far has reached `onReading`, out of the board's memory where its event was lost,
   * or was reported lost because it is not there either.
   *
   * @throws ProtocolError when that cannot be known: `no_answer`, `nonsense`, `refused`, `link_closed`
   */
  catchUp(): Promise<void>;
  /**
   * Sends a line that a person typed, without a check, and gives what the board answers, as a line.
   *
   * @throws ProtocolError `unsendable` for what {@link lineByHand} refuses; `no_answer`, `cancelled`, `link_closed`
   */
  byHand(text: string, signal?: AbortSignal): Promise<Line & { kind: 'answer' }>;
  /** Ends the conversation and the link. `onLost` is not called. */
  close(): Promise<void>;
}

/** What happened to an event that nobody asked for. */
export type BoardNotice = Exclude<BoardEvent, { kind: 'reading' }>;

export interface BoardOptions {
  clock: Clock;
  /** A random number in [0, 1): each conversation needs another. */
  random: () => number;
  /**
   * Every reading taken in this conversation, each once and in order; but for one whose event was lost and that came out
   * of the board's memory only after later ones. None of these may throw.
   */
  onReading(reading: BoardReading): void;
  /** The trigger was pressed in vain, or the supply is low. */
  onEvent?(event: BoardNotice): void;
  /** Something nobody awaits went wrong: `events_lost` (and they could not be recalled), `nonsense`. */
  onTrouble?(error: ProtocolError): void;
  /** The conversation is over: `link_closed` or `board_restarted`. Called once, after the last reading. */
  onLost(error: ProtocolError): void;
  /** Each line that crosses the link, without its LF. */
  onWire?(direction: 'to_board' | 'from_board', line: string): void;
  /** Gives up linking. */
  signal?: AbortSignal;
}

/**
 * Opens a link, says hello, and gives the board at its other end. On failure the link is closed again.
 *
 * @throws ProtocolError `link_refused`, `link_closed`, `no_answer`, `nonsense`, `wrong_version`, `refused`,
 *   `cancelled`
 */
export async function linkBoard(link: ByteLink, options: BoardOptions): Promise<Board> {
  const board = new LinkedBoard(options);
  await board.open(link);
  return board;
}

/**
 * The readings of those numbers, in the order given, each as soon as it is there. One that the board no longer holds is
 * passed over, and so is one that makes no sense: `unreadable` is told of it, since one such reading must not stand
 * between a host and the rest.
 *
 * @throws ProtocolError as `recall` does, but for `nonsense`
 */
export async function* recallEach(
  board: Pick<Board, 'recall'>,
  numbers: Iterable<number>,
  unreadable: (reading: number, error: ProtocolError) => void,
  signal?: AbortSignal,
): AsyncGenerator<BoardReading, void, void> {
  for (const number of numbers) {
    try {
      const reading = await unlessRefused('no_such_reading', board.recall(number, signal));
      if (reading) yield reading;
    } catch (error) {
      if (!(error instanceof ProtocolError) || error.cause !== 'nonsense') throw error;
      unreadable(number, error);
    }
  }
}

/**
 * Every reading in the board's memory above number `after`, in order: what a host asks for after a broken link, with
 * the last number it has stored. A reading that the board no longer holds is passed over.
 *
 * @param unreadable told of a reading that makes no sense, which is then passed over too; without it that is an error
 * @throws ProtocolError as `recall` and `memory` do
 */
export async function* readAllFrom(
  board: Pick<Board, 'memory' | 'recall'>,
  after: number,
  signal?: AbortSignal,
  unreadable: (reading: number, error: ProtocolError) => void = refuse,
): AsyncGenerator<BoardReading, void, void> {
  const { first, last, count } = await board.memory(signal);
  if (count === 0) return;
  yield* recallEach(board, numbersFrom(Math.max(first, after + 1), last), unreadable, signal);
}

function refuse(_reading: number, error: ProtocolError): never {
  throw error;
}

/** The whole numbers from `first` to `last`, both included. */
export function* numbersFrom(first: number, last: number): Generator<number, void, void> {
  for (let number = first; number <= last; number++) yield number;
}

/**
 * What became of a `seal` that was not answered: asks which set is in force. `unchanged`: the generation to be
 * replaced is still in force, and sealing again is safe (after staging again, if the board restarted or said hello
 * since). `sealed`: the new set is in force. `other`: someone else changed the board in between.
 *
 * @param replaces the generation that was to be replaced
 * @param crc of the set that was to be sealed
 */
export async function sealOutcome(
  board: Pick<Board, 'coefficients'>,
  replaces: number,
  crc: string,
): Promise<'sealed' | 'unchanged' | 'other'> {
  const inForce = await board.coefficients('in_force');
  const generation = inForce?.generation ?? 0;
  if (generation === replaces) return 'unchanged';
  return generation === replaces + 1 && inForce?.crc === crc ? 'sealed' : 'other';
}

/** The answer, or undefined if the board refused with `code`. */
async function unlessRefused<T>(code: BoardCode, answer: Promise<T>): Promise<T | undefined> {
  try {
    return await answer;
  } catch (error) {
    const fault = error instanceof ProtocolError ? error.fault : undefined;
    if (fault?.cause === 'refused' && fault.refusal.code === code) return undefined;
    throw error;
  }
}

function insist(right: boolean, field: string, why: string): void {
  if (!right) throw new ProtocolError({ cause: 'nonsense', field, why });
}

class LinkedBoard implements Board {
  #session!: Session;
  #identity!: BoardIdentity;
  readonly #options: BoardOptions;

  /** Whether linking succeeded; until then its failure is told by a rejection alone. */
  #linked = false;
  /** Everything passed on goes through here, one after another: recalling what was lost takes time. */
  #delivery: Promise<void> = Promise.resolve();
  /** The last reading that needs no more delivering. */
  #last = 0;
  /** Readings up to here may have come out of the memory before their own events came. */
  #recalled = 0;
  readonly #delivered = new Set<number>();
  /**
   * Readings after this number may be in the board's memory without having been passed on: events were lost, and the
   * memory could not be asked for them yet.
   */
  #missingAfter: number | undefined;
  #nonsense: ProtocolError | undefined;

  constructor(options: BoardOptions) {
    this.#options = options;
  }

  async open(link: ByteLink): Promise<void> {
    const { clock, random, onWire, onLost, signal } = this.#options;
    this.#session = await Session.open(link, {
      clock,
      host: Math.floor(random() * 2 ** 32),
      listener: {
        event: (event) => this.#deliver(() => this.#pass(event)),
        trouble: (error) => this.#deliver(() => this.#mend(error)),
        ended: (error) =>
          this.#deliver(() => {
            if (this.#linked) onLost(error);
          }),
        ...(onWire && { wire: onWire }),
      },
      ...(signal && { signal }),
    });
    const identity: BoardIdentity & { host?: number } = { ...this.#session.identity };
    delete identity.host;
    this.#identity = identity;
    try {
      this.#last = (await this.#session.request('memory', {}, signal)).last;
      this.#linked = true;
    } catch (error) {
      await this.#session.close();
      throw error;
    }
  }

  get identity(): BoardIdentity {
    return this.#identity;
  }

  async mode(set: 'idle' | 'collect', signal?: AbortSignal): Promise<void> {
    const { mode } = await this.#session.request('mode', { set }, signal);
    insist(mode === set, 'mode', `is ${mode}, where ${set} was asked for`);
    if (set === 'idle') await this.catchUp();
  }

  sense(signal?: AbortSignal): Promise<SensedReading> {
    return this.#session.request('sense', {}, signal);
  }

  async capture(signal?: AbortSignal): Promise<number> {
    const { reading } = await this.#session.request('capture', {}, signal);
    await this.#delivery;
    if (!this.#delivered.has(reading)) await this.#catchUpAnyhow();
    if (!this.#delivered.has(reading) && reading > this.#last) {
      await this.#inTurn(() => this.#recallNew());
    }
    if (!this.#delivered.has(reading))
      throw this.#nonsense ?? new ProtocolError({ cause: 'reading_lost', reading });
    return reading;
  }

  memory(signal?: AbortSignal): Promise<MemoryState> {
    return this.#session.request('memory', {}, signal);
  }

  async recall(reading: number, signal?: AbortSignal): Promise<BoardReading> {
    const recalled = await this.#session.request('recall', { reading }, signal);
    const why = `is ${recalled.reading}, where ${reading} was asked for`;
    insist(recalled.reading === reading, 'reading', why);
    return recalled;
  }

  async erase(through: number): Promise<number> {
    return (await this.#session.request('erase', { through })).erased;
  }

  async coefficients(
    which: 'in_force' | 'previous' | 'staged',
    signal?: AbortSignal,
  ): Promise<StoredSet | undefined> {
    const answer = this.#session.request('coefficients', { which }, signal);
    const set = await unlessRefused('no_such_set', answer);
    if (set) {
      const fits = (set.generation === 0) === (which === 'staged');
      insist(fits, 'generation', `is ${set.generation} for the ${which} set`);
    }
    return set;
  }

  async stage(set: CoefficientSet): Promise<string> {
    const wanted = setCrc(set);
    const staged = await this.#session.request('stage', set);
    if (staged.crc !== wanted)
      throw new ProtocolError({ cause: 'staged_differs', wanted, held: staged.crc });
    const checked = await this.#session.request('check', { crc: wanted });
    if (checked.crc !== wanted)
      throw new ProtocolError({ cause: 'staged_differs', wanted, held: checked.crc });
    return wanted;
  }

  seal(replaces: number, crc: string): Promise<number> {
    return this.#renew(replaces, this.#session.request('seal', { replaces, crc }));
  }

  revert(replaces: number): Promise<number> {
    return this.#renew(replaces, this.#session.request('revert', { replaces }));
  }

  async #renew(replaces: number, answer: Promise<{ generation: number }>): Promise<number> {
    const { generation } = await answer;
    insist(generation === replaces + 1, 'generation', `is ${generation} after ${replaces}`);
    return generation;
  }

  ask<V extends CareVerb>(
    verb: V,
    values: RequestOf<V>,
    signal?: AbortSignal,
  ): Promise<AnswerOf<V>> {
    return this.#session.request(verb, values, signal);
  }

  byHand(text: string, signal?: AbortSignal): Promise<Line & { kind: 'answer' }> {
    return this.#session.byHand(text, signal);
  }

  async catchUp(): Promise<void> {
    await this.#session.catchUp();
    await this.#delivery;
    if (this.#missingAfter !== undefined) await this.#inTurn(() => this.#recallNew());
  }

  async close(): Promise<void> {
    await this.#session.close();
    await this.#delivery;
  }

  #deliver(task: () => void | Promise<void>): void {
    this.#delivery = this.#delivery.then(task);
  }

  /** Does something when all that was passed on before is, and passes its failure to whoever waits for it. */
  #inTurn(task: () => Promise<unknown>): Promise<void> {
    return new Promise((resolve, reject) =>
      this.#deliver(() => task().then(() => resolve(), reject)),
    );
  }

  /** Catches up with the events, if the board lets it: the memory is another way to a reading, tried after this one. */
  async #catchUpAnyhow(): Promise<void> {
    try {
      await this.#session.catchUp();
    } catch (error) {
      if (!(error instanceof ProtocolError)) throw error;
    }
    await this.#delivery;
  }

  #pass(event: BoardEvent): void {
    if (event.kind !== 'reading') {
      this.#options.onEvent?.(event);
      return;
    }
    const number = event.reading.reading;
    if (number > this.#last) {
      this.#passReading(event.reading);
    } else if (number > this.#recalled) {
      const why = `is ${number}, but ${this.#last} came before`;
      this.#trouble(new ProtocolError({ cause: 'nonsense', field: 'reading', why }));
    }
  }

  #passReading(reading: BoardReading): void {
    this.#last = Math.max(this.#last, reading.reading);
    this.#delivered.add(reading.reading);
    this.#options.onReading(reading);
  }

  #trouble(error: ProtocolError): void {
    if (error.cause === 'nonsense') this.#nonsense = error;
    this.#options.onTrouble?.(error);
  }

  /** Events were lost: what readings were among them may still be in the board's memory. */
  async #mend(error: ProtocolError): Promise<void> {
    if (error.cause !== 'events_lost') {
      this.#trouble(error);
      return;
    }
    this.#missingAfter ??= this.#last;
    try {
      if (!(await this.#recallNew())) this.#trouble(error);
    } catch (failure) {
      if (!(failure instanceof ProtocolError)) throw failure;
      this.#trouble(error);
    }
  }

  /** Passes on every reading of the memory not passed on yet; tells whether their numbers had no gap. */
  async #recallNew(): Promise<boolean> {
    let whole = true;
    let before = this.#missingAfter ?? this.#last;
    const unreadable = (_: number, error: ProtocolError) => this.#trouble(error);
    for await (const reading of readAllFrom(this, before, undefined, unreadable)) {
      whole &&= reading.reading === before + 1;
      before = reading.reading;
      this.#recalled = Math.max(this.#recalled, before);
      if (!this.#delivered.has(before)) this.#passReading(reading);
    }
    this.#missingAfter = undefined;
    return whole;
  }
}
