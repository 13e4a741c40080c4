import type { Clock } from './clock.ts';
import { ProtocolError } from './errors.ts';
import { lineByHand } from './by-hand.ts';
import {
  formatRequest,
  LineReader,
  parseLine,
  TAG_LIMIT,
  type Fields,
  type FieldValues,
  type Line,
} from './line.ts';
import { LinkError, type ByteLink } from './link.ts';
import { printable } from './recording-format.ts';
import {
  EVENTS,
  isEventKind,
  LIMITS,
  PROTOCOL_VERSION,
  REFUSAL,
  VERBS,
  type AnswerOf,
  type EventKind,
  type EventOf,
  type RequestOf,
  type Verb,
} from './messages.ts';

/**
 * The host's side of one conversation (SPEC.md, sections 2, 3 and 5): one request at a time on the wire, each sent
 * again with its own tag when no answer comes, and every event passed on in order and once.
 */

/** An event of a kind this version knows. */
export type BoardEvent =
  | { kind: 'reading'; reading: EventOf<'reading'> }
  | ({ kind: 'refused' } & EventOf<'refused'>)
  | ({ kind: 'power' } & EventOf<'power'>);

export interface SessionListener {
  /** An event, in the order of its number, each once. Must not throw. */
  event(event: BoardEvent): void;
  /** Events that cannot be had any more (`events_lost`), or one that makes no sense (`nonsense`). */
  trouble(error: ProtocolError): void;
  /** The conversation ended otherwise than by `close()`. Called once, after all that waited was rejected. */
  ended(error: ProtocolError): void;
  /**
   * Each line that crosses the link, without its LF. Bytes from the board that are no line at all come as printable text,
   * what is not printable ASCII as `\xHH`; of more than {@link SHOWN_BYTES} the first.
   */
  wire?(direction: 'to_board' | 'from_board', line: string): void;
}

export interface SessionOptions {
  clock: Clock;
  /** A fresh random 32-bit number, unsigned: the board's answer must repeat it. */
  host: number;
  listener: SessionListener;
  /** Gives up opening. */
  signal?: AbortSignal;
}

/** How long an answer may take beyond what the board needs: two ways over a slow link. Milliseconds. */
const LINK_MS = 1000;
/** SPEC.md, section 2.2. */
const BOARD_MS = 500;
const SLOW_MS = 10_000;
/** `hello` is sent again this often, this many times: a board may take seconds to start. */
const HELLO_MS = 1000;
const HELLO_ATTEMPTS = 10;
const ATTEMPTS = 3;
/** How long after a board said that a line reached it damaged the line goes out again. */
const RESEND_MS = 50;
/** How long after a board said that it is busy it is asked again. */
const BUSY_MS = 100;
/** While a board keeps sending, its answer is awaited this many times as long. */
const PATIENCE = 6;
/** How many times `again` is tried without a single missing event arriving. */
const FRUITLESS_ROUNDS = 5;
/** Events beyond a gap that are held until it is closed. */
const HELD_LIMIT = 64;
/** Bytes per write until the board has said what it takes: the least that SPEC.md, section 3 allows. */
const FIRST_CHUNK = 20;

/** How many bytes that are no line are passed on to be looked at. */
export const SHOWN_BYTES = 64;

const encoder = new TextEncoder();

const HARMLESS: readonly Verb[] = [
  ...(['hello', 'sense', 'memory', 'recall', 'again', 'coefficients'] as const),
  ...(['settings', 'setting', 'image'] as const),
];

/** A request on its way, from queue to answer. */
interface Job {
  /** As the person typed it, where it is sent by hand; it may be any word then. */
  verb: string;
  /** The line under the tag that it is sent with, LF included. */
  line(tag: number): Uint8Array;
  /** Set when it is first sent; that of a line typed by hand may be there from the start. */
  tag: number;
  /** Typed by hand: its answer is whatever the board says to it. */
  byHand: boolean;
  attempts: number;
  attemptsAllowed: number;
  /** The attempt of which the board said that it came damaged: one damaged line may look like several. */
  damaged: number;
  /** How long one attempt may take, milliseconds. */
  limit: number;
  /** When it is given up if the board is still busy; absent while it was not. */
  busyUntil?: number;
  /** Whoever asked has been answered or has given up. */
  done: boolean;
  /** Takes the answer; false when it is not the one awaited. */
  answered(line: Line & { kind: 'answer' }): boolean;
  failed(error: ProtocolError): void;
}

export class Session {
  readonly #link: ByteLink;
  readonly #clock: Clock;
  readonly #listener: SessionListener;
  readonly #reader = new LineReader(
    (text) => this.#line(text),
    (held, length) => this.#dropped(held, length),
  );
  #identity: AnswerOf<'hello'> | undefined;
  #ended: ProtocolError | undefined;

  #queue: Job[] = [];
  #current: Job | undefined;
  #lastTag = 0;
  readonly #tagsByHand = new Set<number>();
  #attemptStarted = 0;
  #heard = 0;
  #stopTimer = () => {};
  #writing: Promise<void> = Promise.resolve();

  /** Number of the next event to pass on. */
  #expected = 1;
  #held = new Map<number, Line & { kind: 'event' }>();
  /** Events may be missing: `again` goes before any other request. */
  #doubt = false;
  #fetching = false;
  /** The last `again` failed: damage on the line is no reason to ask before something whole arrives. */
  #deaf = false;
  #caughtUp: { resolve: () => void; reject: (error: ProtocolError) => void }[] = [];

  private constructor(link: ByteLink, { clock, listener }: SessionOptions) {
    this.#link = link;
    this.#clock = clock;
    this.#listener = listener;
  }

  /**
   * Opens the link and says hello until the board answers. On failure the link is closed again.
   *
   * @throws ProtocolError `link_refused`, `link_closed`, `no_answer`, `nonsense`, `wrong_version`, `refused`,
   *   `cancelled`
   */
  static async open(link: ByteLink, options: SessionOptions): Promise<Session> {
    const session = new Session(link, options);
    try {
      await session.#open(options);
    } catch (error) {
      // Why it was not opened matters more than a link that does not close either.
      await session.close().catch((late: unknown) => session.#lateTrouble(late));
      throw error;
    }
    return session;
  }

  async #open({ host, signal }: SessionOptions): Promise<void> {
    if (signal?.aborted)
      throw new ProtocolError({ cause: 'cancelled', verb: 'hello', sent: false });
    const opening = this.#link.open({
      bytes: (chunk) => {
        if (!this.#ended) this.#reader.push(chunk);
      },
      closed: (end) => this.#end(linkTrouble('link_closed', end)),
    });
    const refused = opening.catch((error: unknown) => {
      throw linkTrouble('link_refused', error);
    });
    await unlessAborted(refused, signal, () => {
      // A link that opens after all must not stay open with nobody to close it; one that does not is what was wanted.
      opening.then(
        () => this.#link.close().catch((error: unknown) => this.#lateTrouble(error)),
        () => {},
      );
    });
    this.#write(Uint8Array.of(0x0a)); // clears half a line out of the board's buffer
    const hello = { host, protocol: PROTOCOL_VERSION };
    const identity = await this.#ask('hello', hello, signal, (answer) => {
      if (answer.host !== host) return false; // to someone else's hello, still on its way
      this.#identity = answer; // at once: the next line may be the first event
      return true;
    });
    if (identity.protocol !== PROTOCOL_VERSION)
      throw new ProtocolError({ cause: 'wrong_version', board: identity.protocol });
  }

  /** The board's answer to hello. */
  get identity(): AnswerOf<'hello'> {
    return this.#identity!;
  }

  /**
   * Asks the board and awaits its answer. Requests wait for one another.
   *
   * @param signal gives up waiting; the board may do it all the same when it was sent
   * @throws ProtocolError `refused`, `no_answer`, `nonsense`, `unsendable`, `cancelled`, `link_closed`,
   *   `board_restarted`
   */
  request<V extends Verb>(
    verb: V,
    values: RequestOf<V>,
    signal?: AbortSignal,
  ): Promise<AnswerOf<V>> {
    return this.#ask(verb, values, signal);
  }

  /**
   * Sends a line that a person typed, in its turn, once, and without a check, so that it changes nothing the board keeps
   * (SPEC.md, section 1.6).
   *
   * @param text a request, with a tag or without one; or whatever else may stand in a line. See by-hand.ts for what may
   *   not
   * @returns the answer, of either kind: also one that says that the line was damaged or is no request
   * @throws ProtocolError `unsendable`, and as `request` does but for `refused`
   */
  byHand(text: string, signal?: AbortSignal): Promise<Line & { kind: 'answer' }> {
    const typed = lineByHand(text);
    if (!typed.ok) {
      return Promise.reject(
        new ProtocolError({ cause: 'unsendable', field: 'line', why: typed.why }),
      );
    }
    const { tag, verb } = typed;
    return this.#enqueue(verb, signal, false, () => {
      if (tag !== undefined) this.#tagsByHand.add(tag);
      return {
        ...(tag !== undefined && { tag }),
        byHand: true,
        line: (given) => encoder.encode(`${typed.line(given)}\n`),
        attemptsAllowed: 1,
        limit: this.identity.captureMs + BOARD_MS + LINK_MS,
        take: (answer) => ({ answer }),
      };
    });
  }

  /**
   * Resolves when every event that the board has sent so far was passed on or reported as lost.
   *
   * @throws ProtocolError when the conversation ends first, or the board did not say what it has sent: `no_answer`,
   *   `nonsense`, `refused`
   */
  catchUp(): Promise<void> {
    if (this.#ended) return Promise.reject(this.#ended);
    return new Promise((resolve, reject) => {
      this.#caughtUp.push({ resolve, reject });
      this.#doubt = true;
      this.#pump();
    });
  }

  /** Ends the conversation and the link. What waits is rejected with `link_closed`. */
  async close(): Promise<void> {
    this.#abandon(linkTrouble('link_closed', new LinkError('closed', 'it was closed here')));
    await this.#link.close();
  }

  // Requests

  #ask<V extends Verb>(
    verb: V,
    values: RequestOf<V>,
    signal?: AbortSignal,
    isMine: (answer: AnswerOf<V>) => boolean = () => true,
    first = false,
  ): Promise<AnswerOf<V>> {
    // The table pairs each verb with its own messages, which TypeScript cannot follow through a variable.
    const codec = VERBS[verb] as unknown as {
      request: { write(values: RequestOf<V>): FieldValues };
      answer: { read(fields: Fields): AnswerOf<V> };
    };
    return this.#enqueue<AnswerOf<V>>(verb, signal, first, () => {
      const fields = codec.request.write(values);
      let refused = false;
      return {
        line: (tag) => formatRequest(tag, verb, fields),
        attemptsAllowed: verb === 'hello' ? HELLO_ATTEMPTS : ATTEMPTS,
        limit: this.#limit(verb),
        take: (line) => {
          if (!line.ok) {
            const refusal = REFUSAL.read(line.fields);
            // Half a line that lay in the board's buffer may have had this tag, and this be its answer.
            if (verb === 'hello' && !refused) {
              refused = true;
              return undefined;
            }
            throw new ProtocolError({ cause: 'refused', verb, refusal });
          }
          const answer = codec.answer.read(line.fields);
          return isMine(answer) ? { answer } : undefined;
        },
      };
    });
  }

  /**
   * Puts a request into the queue.
   *
   * @param make how it is written and its answer read; `take` gives nothing for an answer that is not the one awaited.
   *   Either may throw a ProtocolError
   */
  #enqueue<T>(
    verb: string,
    signal: AbortSignal | undefined,
    first: boolean,
    make: () => Pick<Job, 'line' | 'attemptsAllowed' | 'limit'> & {
      tag?: number;
      byHand?: boolean;
      take(line: Line & { kind: 'answer' }): { answer: T } | undefined;
    },
  ): Promise<T> {
    return new Promise((resolve, reject) => {
      if (this.#ended) throw this.#ended;
      if (signal?.aborted) throw new ProtocolError({ cause: 'cancelled', verb, sent: false });
      const { take, ...made } = make();
      const job: Job = {
        tag: 0,
        byHand: false,
        ...made,
        verb,
        attempts: 0,
        damaged: 0,
        done: false,
        answered: (line) => {
          try {
            const taken = take(line);
            if (!taken) return false;
            finish(() => resolve(taken.answer));
          } catch (error) {
            finish(() => reject(error));
          }
          return true;
        },
        failed: (error) => finish(() => reject(error)),
      };
      const giveUp = () => {
        const sent = job.attempts > 0;
        this.#queue = this.#queue.filter((other) => other !== job);
        job.failed(new ProtocolError({ cause: 'cancelled', verb, sent }));
      };
      const finish = (settle: () => void) => {
        if (job.done) return;
        job.done = true;
        signal?.removeEventListener('abort', giveUp);
        settle();
      };
      signal?.addEventListener('abort', giveUp, { once: true });
      if (first) this.#queue.unshift(job);
      else this.#queue.push(job);
      this.#pump();
    });
  }

  #limit(verb: Verb): number {
    if (verb === 'hello') return HELLO_MS;
    if (verb === 'load' || verb === 'verify') return SLOW_MS + LINK_MS;
    const takes = verb === 'capture' || verb === 'sense' ? this.identity.captureMs : 0;
    return takes + BOARD_MS + LINK_MS;
  }

  /** Sends the next request if the wire is free. */
  #pump(): void {
    if (this.#current || this.#ended) return;
    if (this.#doubt && !this.#fetching) void this.#fetchMissing();
    if (this.#current || (this.#fetching && this.#queue[0]?.verb !== 'again')) return;
    const job = this.#queue.shift();
    if (!job) return;
    if (job.tag === 0) job.tag = this.#nextTag();
    this.#current = job;
    this.#attempt(job);
  }

  /** The next tag that no line typed by hand has: the board still knows those, and may answer them late. */
  #nextTag(): number {
    do this.#lastTag = (this.#lastTag % TAG_LIMIT) + 1;
    while (this.#tagsByHand.has(this.#lastTag));
    return this.#lastTag;
  }

  #attempt(job: Job): void {
    job.attempts++;
    this.#attemptStarted = this.#clock.now();
    this.#heard = this.#attemptStarted;
    this.#write(job.line(job.tag));
    this.#await(job, job.limit);
  }

  /** Looks after `ms` whether the time for an answer is up. */
  #await(job: Job, ms: number): void {
    this.#stopTimer();
    this.#stopTimer = this.#clock.after(ms, () => {
      const now = this.#clock.now();
      const left = Math.min(
        this.#heard + job.limit - now,
        this.#attemptStarted + PATIENCE * job.limit - now,
      );
      if (left > 0) this.#await(job, left);
      else if (job.attempts < job.attemptsAllowed && !job.done) this.#attempt(job);
      else this.#noAnswer(job);
    });
  }

  #noAnswer(job: Job): void {
    const may = (HARMLESS as readonly string[]).includes(job.verb) ? 'nothing' : 'have_happened';
    if (!this.#identity) this.#reader.drop(); // at another speed a board's answer need not end in an LF
    job.failed(new ProtocolError({ cause: 'no_answer', verb: job.verb, may }));
    this.#free();
  }

  #free(): void {
    this.#stopTimer();
    this.#current = undefined;
    this.#pump();
  }

  #write(bytes: Uint8Array): void {
    const chunk = this.#identity?.chunk ?? FIRST_CHUNK;
    const line = new TextDecoder().decode(bytes).trimEnd();
    if (line !== '') this.#listener.wire?.('to_board', line);
    for (let at = 0; at < bytes.length; at += chunk) {
      const slice = bytes.slice(at, at + chunk);
      this.#writing = this.#writing.then(async () => {
        if (!this.#ended) await this.#link.write(slice);
      });
    }
    this.#writing = this.#writing.catch((error: unknown) =>
      this.#end(linkTrouble('link_closed', error)),
    );
  }

  // What arrives

  #line(text: string): void {
    this.#listener.wire?.('from_board', text);
    const line = parseLine(text);
    if (line === 'bad_check' || line === 'bad_line' || !line.checked) {
      this.#damaged();
      return;
    }
    this.#heard = this.#clock.now();
    this.#deaf = false;
    if (line.kind === 'answer') this.#answer(line);
    else if (line.kind === 'event') this.#event(line);
  }

  /** Bytes arrived that are no line. */
  #dropped(held: Uint8Array, length: number): void {
    const rest = length > SHOWN_BYTES ? ` (and ${length - SHOWN_BYTES} bytes more)` : '';
    this.#listener.wire?.('from_board', printable(held.subarray(0, SHOWN_BYTES)) + rest);
    this.#damaged();
  }

  #answer(line: Line & { kind: 'answer' }): void {
    const job = this.#current;
    if (!job) return; // nobody waits for it any more
    if (line.tag === 0 && !job.byHand) {
      const again = job.attempts < job.attemptsAllowed && job.attempts !== job.damaged;
      if (again && !job.done) {
        job.damaged = job.attempts;
        this.#stopTimer();
        this.#stopTimer = this.#clock.after(RESEND_MS, () => this.#attempt(job));
      }
      return;
    }
    if (line.tag !== job.tag && line.tag !== 0) return;
    if (!line.ok && line.fields['code']?.[0] === 'no_hello' && this.#identity) {
      this.#end(new ProtocolError({ cause: 'board_restarted' }));
      return;
    }
    if (this.#waitsOutBusy(job, line)) return;
    if (job.answered(line)) this.#free();
  }

  /**
   * A board that is taking a reading, because its trigger was pressed, is busy for as long as that takes: the request is
   * made again then, under another tag, since the answer to this one would stay the same.
   */
  #waitsOutBusy(job: Job, line: Line & { kind: 'answer' }): boolean {
    const isBusy = !line.ok && line.fields['code']?.[0] === 'busy';
    if (!isBusy || job.byHand || !this.#identity) return false;
    job.busyUntil ??= this.#clock.now() + this.#identity.captureMs + BOARD_MS;
    if (this.#clock.now() >= job.busyUntil) return false;
    this.#stopTimer();
    this.#stopTimer = this.#clock.after(BUSY_MS, () => {
      if (job.done) {
        this.#free();
        return;
      }
      job.tag = this.#nextTag();
      job.attempts = 0;
      job.damaged = 0;
      this.#attempt(job);
    });
    return true;
  }

  /** A line arrived that cannot be read: it may have been an event. */
  #damaged(): void {
    if (!this.#identity || this.#deaf) return;
    this.#doubt = true;
    this.#pump();
  }

  #event(line: Line & { kind: 'event' }): void {
    if (!this.#identity || line.number < this.#expected) return;
    if (line.number > this.#expected) {
      if (this.#held.size < HELD_LIMIT) this.#held.set(line.number, line);
      this.#doubt = true;
      this.#pump();
      return;
    }
    this.#pass(line);
    this.#passHeld();
  }

  #passHeld(): void {
    for (;;) {
      const next = this.#held.get(this.#expected);
      if (!next) return;
      this.#pass(next);
    }
  }

  #pass(line: Line & { kind: 'event' }): void {
    this.#held.delete(line.number);
    this.#expected = line.number + 1;
    if (!isEventKind(line.event)) return; // of a later version: SPEC.md, section 8
    let event: BoardEvent;
    try {
      event = readEvent(line.event, line.fields);
    } catch (error) {
      if (!(error instanceof ProtocolError)) throw error;
      this.#listener.trouble(error);
      return;
    }
    this.#listener.event(event);
  }

  /** Asks for what is missing, again and again until all is there or given up. Other requests wait. */
  async #fetchMissing(): Promise<void> {
    this.#fetching = true;
    let fruitless = 0;
    let failure: ProtocolError | undefined;
    while (this.#doubt && !this.#ended) {
      const from = this.#expected;
      const last = fruitless >= FRUITLESS_ROUNDS - 1;
      try {
        const missing = await this.#fetchOnce(last);
        // What came damaged behind the answer may have been an event; but a board may add such a line each time.
        this.#doubt = missing || (this.#doubt && !last);
      } catch (error) {
        if (!(error instanceof ProtocolError)) throw error;
        failure = error;
        this.#doubt = false;
      }
      fruitless = this.#expected > from ? 0 : fruitless + 1;
    }
    this.#fetching = false;
    if (this.#ended) return; // all that waited was told
    for (const { resolve, reject } of this.#caughtUp.splice(0)) {
      if (failure) reject(failure);
      else resolve();
    }
    this.#pump();
  }

  /**
   * Sends one `again`.
   *
   * @param last what is still missing afterwards is given up
   * @returns whether events may still be missing
   * @throws ProtocolError when the board could not be asked
   */
  async #fetchOnce(last: boolean): Promise<boolean> {
    const from = this.#expected;
    if (from > LIMITS.event) return false;
    try {
      const { to } = await this.#ask(
        'again',
        { from },
        undefined,
        (own) => {
          if (own.from !== from) return false;
          // What came before the answer is counted in it, unless it is the repeat of one given earlier.
          if (this.#current?.attempts === 1) this.#doubt = false;
          return true;
        },
        true,
      );
      if (this.#expected > to && this.#held.size === 0) return false;
      if (last) this.#lose(this.#firstHeld() - 1 || to);
      return true;
    } catch (error) {
      if (!(error instanceof ProtocolError)) throw error;
      if (this.#ended) return false;
      const oldest = error.fault.cause === 'refused' ? error.fault.refusal.oldest : undefined;
      if (oldest !== undefined && oldest > from) {
        this.#lose(oldest - 1);
        return true;
      }
      // What is known to be missing is given up, so that what arrived is not withheld for ever.
      this.#lose(this.#firstHeld() - 1);
      this.#deaf = true;
      throw error;
    }
  }

  /** Number of the first event beyond the gap; 1 when there is none. */
  #firstHeld(): number {
    return this.#held.size === 0 ? 1 : Math.min(...this.#held.keys());
  }

  /** Gives up the events before `to + 1` and goes on after them. */
  #lose(to: number): void {
    const from = this.#expected;
    if (to < from) return;
    this.#expected = to + 1;
    for (const number of this.#held.keys()) if (number <= to) this.#held.delete(number);
    this.#listener.trouble(new ProtocolError({ cause: 'events_lost', from, to }));
    this.#passHeld();
  }

  // The end

  /** Rejects all that waits. */
  #abandon(error: ProtocolError): boolean {
    if (this.#ended) return false;
    this.#ended = error;
    this.#stopTimer();
    const waiting = [...(this.#current ? [this.#current] : []), ...this.#queue.splice(0)];
    this.#current = undefined;
    for (const job of waiting) job.failed(error);
    for (const { reject } of this.#caughtUp.splice(0)) reject(error);
    return true;
  }

  #end(error: ProtocolError): void {
    if (!this.#abandon(error) || !this.#identity) return;
    this.#link.close().catch((late: unknown) => this.#lateTrouble(late));
    this.#listener.ended(error);
  }

  /** The link could not even be closed. */
  #lateTrouble(error: unknown): void {
    this.#listener.trouble(linkTrouble('link_closed', error));
  }
}

function readEvent(kind: EventKind, fields: Fields): BoardEvent {
  switch (kind) {
    case 'reading':
      return { kind, reading: EVENTS.reading.read(fields) };
    case 'refused':
      return { kind, ...EVENTS.refused.read(fields) };
    case 'power':
      return { kind, ...EVENTS.power.read(fields) };
  }
}

function linkTrouble(cause: 'link_refused' | 'link_closed', error: unknown): ProtocolError {
  const link = error instanceof LinkError ? error.cause : 'failed';
  const reason = error instanceof Error ? error.message : String(error);
  return new ProtocolError({ cause, link, reason });
}

/** Awaits `work`, but no longer than until `signal` aborts; then calls `onAbort` and throws `cancelled`. */
function unlessAborted(
  work: Promise<void>,
  signal: AbortSignal | undefined,
  onAbort: () => void,
): Promise<void> {
  return new Promise((resolve, reject) => {
    const abort = () => {
      onAbort();
      reject(new ProtocolError({ cause: 'cancelled', verb: 'hello', sent: false }));
    };
    signal?.addEventListener('abort', abort, { once: true });
    work.then(resolve, reject).finally(() => signal?.removeEventListener('abort', abort));
  });
}
