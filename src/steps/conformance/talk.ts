import type { Clock } from '../../protocol/clock.ts';
import { checkOf, parseLine, withCheck, type Line } from '../../protocol/line.ts';
import { LinkError, type ByteLink } from '../../protocol/link.ts';

/**
 * Talking to a board that may break any rule: what is sent is sent byte for byte, and what comes is kept as it came and
 * understood as far as it goes, so that one fault of a board shows where it belongs and nowhere else.
 */

type Answer = Extract<Line, { kind: 'answer' }>;
type Event = Extract<Line, { kind: 'event' }>;

/** One line from the board, as it came. */
export interface Heard {
  /** Without its LF; a byte outside printable ASCII stands as \xNN, and after 400 bytes nothing more is kept. */
  readonly text: string;
  /** Bytes, LF included. */
  readonly length: number;
  readonly printable: boolean;
  readonly check: 'right' | 'wrong' | 'absent';
  /** What it says, whatever its check; absent where it is outside the grammar. */
  readonly line?: Line;
  /** When it came, on the clock. */
  readonly at: number;
  /** An answer that nobody asked for, or one too many. */
  readonly stray: boolean;
  /** In which conversation it came: 0 where no hello was answered since the link was opened. */
  readonly conversation: number;
  /** What was being asked when it came. */
  readonly during?: Exchange;
}

/** Something sent, and what came of it. */
export interface Exchange {
  /** What was sent, as text; a byte outside printable ASCII stands as \xNN. */
  readonly sent: string;
  readonly tag?: number;
  readonly verb?: string;
  /** How many answers belong to it. */
  readonly answers: number;
  readonly came: Heard[];
  /** The first answer to it: with its tag, or =0. */
  answer?: Answer;
  /** From the end of sending to the answer, milliseconds. */
  took?: number;
  /** The longest that the board may take, milliseconds; absent where nothing is said of it. */
  readonly within?: number;
}

/** How something is sent, and how long its answer is awaited. */
interface Manner {
  tag?: number;
  verb?: string;
  /** How many answers end the listening; 1 unless told. With 0 the whole time is listened through. */
  answers?: number;
  /** How long to listen at most, milliseconds. */
  ms: number;
  within?: number;
  /** Bytes in each write; 20 unless told, which any board takes. */
  piece?: number;
  /** Milliseconds between one write and the next. */
  pause?: number;
  /** Cuts the bytes at these places too. */
  cuts?: readonly number[];
}

/** Why a run cannot go on: the link ended, the board fell silent, or it sends without end. */
export class CutOff extends Error {
  override readonly name = 'CutOff';
}

/** A person asked to stop. */
export class Stopped extends Error {
  override readonly name = 'Stopped';
}

/** SPEC.md, section 2.2. */
const BOARD_MS = 500;
/** What both ways over a slow link may add to the board's own time, milliseconds. */
export const LINK_MS = 1000;
/** How long an answer that is late already is still waited for, milliseconds. */
const LATE_MS = 2500;
/** How long silence is listened to before it counts as silence. */
export const QUIET_MS = 700;
/** SPEC.md, section 3: a host sends hello again every second. */
const HELLO_MS = 1000;
const HELLO_ATTEMPTS = 4;
/** A board that starts again may take some seconds, and its port to come back. */
const REOPEN_ATTEMPTS = 20;
const LEAST_CHUNK = 20;
/** More lines than any check lets a board send: what sends more sends without end. */
const LINES_LIMIT = 20_000;
const KEPT_BYTES = 400;

const encoder = new TextEncoder();

export class Talk {
  /** All that came, in order. */
  readonly heard: Heard[] = [];
  /** All that was sent, in order. */
  readonly exchanges: Exchange[] = [];
  /** The longest time a capture takes, as the board says; milliseconds. */
  captureMs = 1000;

  #bytes: number[] = [];
  #length = 0;
  #ended: LinkError | undefined;
  #now: { exchange: Exchange; heard: () => void; failed: (error: Error) => void } | undefined;
  #conversation = 0;
  /** Whether a hello was answered since the link was opened. */
  #greeted = false;
  #lastTag = 0;
  #signal: AbortSignal | undefined;

  /**
   * @param random a number in [0, 1): each conversation needs another
   * @param signal stops at the next thing to be sent
   */
  constructor(
    private readonly link: ByteLink,
    private readonly clock: Clock,
    private readonly random: () => number,
    signal?: AbortSignal,
  ) {
    this.#signal = signal;
  }

  /** @throws LinkError */
  async open(): Promise<void> {
    this.#ended = undefined;
    this.#greeted = false;
    this.#bytes = [];
    this.#length = 0;
    await this.link.open({
      bytes: (chunk) => chunk.forEach((byte) => this.#byte(byte)),
      closed: (end) => {
        this.#ended = end;
        this.#now?.failed(this.#cut());
      },
    });
  }

  /** Whether the link ended by itself. */
  get ended(): boolean {
    return this.#ended !== undefined;
  }

  close(): Promise<void> {
    return this.link.close();
  }

  /** Opens the link again after the board was restarted, as soon as it can be had. No hello is said. */
  async reopen(): Promise<void> {
    for (let attempt = 1; ; attempt++) {
      await this.link.close();
      try {
        return await this.open();
      } catch (error) {
        if (!(error instanceof LinkError)) throw error;
        if (attempt === REOPEN_ATTEMPTS) throw new CutOff(`it did not come back: ${error.message}`);
        await this.wait(HELLO_MS);
      }
    }
  }

  /** From now on no request to stop is heard: what is begun must be ended. */
  goOnRegardless(): void {
    this.#signal = undefined;
  }

  wait(ms: number): Promise<void> {
    return new Promise((resolve) => void this.clock.after(ms, resolve));
  }

  /** A tag not used in this conversation. */
  freshTag(): number {
    return ++this.#lastTag;
  }

  /** The next tag to be given is the one after this. */
  tagsFrom(tag: number): void {
    this.#lastTag = tag;
  }

  freshHost(): string {
    const number = Math.floor(this.random() * 2 ** 32);
    return number.toString(16).toUpperCase().padStart(8, '0');
  }

  /**
   * Opens a new conversation.
   *
   * @throws CutOff when hello is not answered at all
   */
  async hello(body = `host=${this.freshHost()} protocol=1`): Promise<Exchange> {
    this.#lastTag = 1;
    let last: Exchange | undefined;
    for (let attempt = 1; attempt <= HELLO_ATTEMPTS; attempt++) {
      const exchange = await this.say(withCheck(`?1 hello ${body}`), {
        tag: 1,
        verb: 'hello',
        ms: HELLO_MS,
        ...(attempt === 1 && { within: BOARD_MS + LINK_MS }),
      });
      // half a line of an earlier conversation may have been answered in its place
      const { answer } = exchange;
      if (answer && (answer.ok || (answer.tag !== 0 && attempt > 1))) return exchange;
      last = exchange;
    }
    if (last?.answer) return last;
    throw new CutOff('it no longer answers hello');
  }

  /** A request with its check, under a fresh tag unless told. */
  ask(request: string, tag = this.freshTag(), manner: Partial<Manner> = {}): Promise<Exchange> {
    return this.say(withCheck(`?${tag} ${request}`), { ...this.#timed(request), tag, ...manner });
  }

  /** A request as typed by hand: without its check. */
  type(request: string, tag = this.freshTag()): Promise<Exchange> {
    const bytes = encoder.encode(`?${tag} ${request}\n`);
    return this.say(bytes, { ...this.#timed(request), tag });
  }

  /** Bytes that ought to be answered by `=0`. */
  send(bytes: Uint8Array, manner: Partial<Manner> = {}): Promise<Exchange> {
    return this.say(bytes, { ms: BOARD_MS + LINK_MS, ...manner });
  }

  /** Bytes that ought not to be answered at all, or nothing but listening. */
  listen(bytes: Uint8Array = new Uint8Array(), ms = QUIET_MS): Promise<Exchange> {
    return this.say(bytes, { ms, answers: 0 });
  }

  #timed(request: string): { verb: string; ms: number; within?: number } {
    const verb = request.split(' ', 1)[0]!;
    const measures = verb === 'sense' || verb === 'capture';
    const within = BOARD_MS + LINK_MS + (measures ? this.captureMs : 0);
    // `again` need only begin in time: what it sends takes as long as the link takes.
    return { verb, ms: within + LATE_MS, ...(verb === 'again' ? {} : { within }) };
  }

  /** Sends, and listens until the answers came or the time is up. */
  async say(bytes: Uint8Array, manner: Manner): Promise<Exchange> {
    if (this.#signal?.aborted) throw new Stopped('A person asked to stop.');
    if (this.#ended) throw this.#cut();
    const { tag, verb, answers = 1, ms, within } = manner;
    const exchange: Exchange = {
      sent: shown(bytes),
      answers,
      came: [],
      ...(tag === undefined ? {} : { tag }),
      ...(verb === undefined ? {} : { verb }),
      ...(within === undefined ? {} : { within }),
    };
    this.exchanges.push(exchange);
    let answered = 0;
    let sentAt: number | undefined;
    let stopTimer = (): void => {};
    try {
      await new Promise<void>((resolve, reject) => {
        const heard = (): void => {
          const last = exchange.came.at(-1)!;
          if (last.stray || last.line?.kind !== 'answer') return;
          answered += 1;
          if (answered === 1) {
            exchange.answer = last.line;
            exchange.took = Math.max(0, last.at - (sentAt ?? last.at));
          }
          if (answered === answers) resolve();
        };
        this.#now = { exchange, heard, failed: reject };
        this.#write(bytes, manner).then(() => {
          sentAt = this.clock.now();
          stopTimer = this.clock.after(ms, resolve);
        }, reject);
      });
    } finally {
      stopTimer();
      this.#now = undefined;
    }
    return exchange;
  }

  async #write(bytes: Uint8Array, { piece = LEAST_CHUNK, pause = 0, cuts = [] }: Manner) {
    for (let at = 0; at < bytes.length;) {
      const cut = cuts.find((place) => place > at) ?? bytes.length;
      const end = Math.min(at + piece, cut);
      try {
        await this.link.write(bytes.slice(at, end));
      } catch (error) {
        if (error instanceof LinkError) this.#ended ??= error;
        throw error instanceof LinkError ? this.#cut() : error;
      }
      at = end;
      if (pause > 0 && at < bytes.length) await this.wait(pause);
    }
  }

  #cut(): CutOff {
    return new CutOff(`the link ended: ${this.#ended?.message}`);
  }

  #byte(byte: number): void {
    this.#length += 1;
    if (byte !== 0x0a) {
      if (this.#bytes.length < KEPT_BYTES) this.#bytes.push(byte);
      return;
    }
    const bytes = Uint8Array.from(
      this.#bytes.at(-1) === 0x0d ? this.#bytes.slice(0, -1) : this.#bytes,
    );
    const length = this.#length;
    this.#bytes = [];
    this.#length = 0;
    if (length > 1) this.#line(bytes, length);
  }

  #line(bytes: Uint8Array, length: number): void {
    if (this.heard.length >= LINES_LIMIT) {
      this.#now?.failed(new CutOff('it sends without end'));
      return;
    }
    const printable = bytes.every((byte) => byte >= 0x20 && byte <= 0x7e);
    const text = shown(bytes);
    const mark = / #([0-9A-Fa-f]{4})$/.exec(text);
    const body = mark ? text.slice(0, mark.index) : text;
    const parsed = printable && length <= KEPT_BYTES ? parseLine(body) : undefined;
    const line = typeof parsed === 'object' ? parsed : undefined;
    const during = this.#now?.exchange;
    const heard: Heard = {
      text,
      length,
      printable,
      check: !mark ? 'absent' : mark[1] === checkOf(body) ? 'right' : 'wrong',
      ...(line && { line }),
      at: this.clock.now(),
      stray: line?.kind === 'answer' && !this.#awaited(line, during),
      conversation: this.#greeted ? this.#conversation : 0,
      ...(during && { during }),
    };
    this.heard.push(heard);
    if (!during) return;
    during.came.push(heard);
    const greeted = during.verb === 'hello' && line?.kind === 'answer' && line.ok && !heard.stray;
    if (greeted && !this.#isRepeat(during)) this.#conversation += 1;
    if (greeted) this.#greeted = true;
    this.#now!.heard();
  }

  #awaited({ tag }: Answer, during: Exchange | undefined): boolean {
    if (!during) return false;
    const { answers, came } = during;
    const before = came.filter(({ line, stray }) => line?.kind === 'answer' && !stray).length;
    if (answers > 0 && before >= answers) return false;
    return during.tag === undefined || tag === during.tag || tag === 0;
  }

  /** A hello word for word like the request before it opens nothing (SPEC.md, section 3). */
  #isRepeat(hello: Exchange): boolean {
    const before = this.exchanges.at(this.exchanges.lastIndexOf(hello) - 1);
    return before?.sent === hello.sent && before.answer !== undefined;
  }
}

/** Bytes as text that can be shown: each outside printable ASCII as \xNN, an LF at the end left out. */
function shown(bytes: Uint8Array): string {
  const whole = bytes.at(-1) === 0x0a ? bytes.subarray(0, -1) : bytes;
  return Array.from(whole, (byte) =>
    byte >= 0x20 && byte <= 0x7e
      ? String.fromCharCode(byte)
      : `\\x${byte.toString(16).toUpperCase().padStart(2, '0')}`,
  ).join('');
}

/** The events among what came, in order. */
export function eventsOf(came: readonly Heard[]): Event[] {
  return came.flatMap(({ line }) => (line?.kind === 'event' ? [line] : []));
}
