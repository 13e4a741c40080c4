import type { Clock } from '../protocol/clock.ts';
import { parseLine, withCheck, type Line } from '../protocol/line.ts';
import { LinkError, type ByteLink, type LinkCause, type LinkListener } from '../protocol/link.ts';
import {
  RECORDING_HEAD,
  recordedBytes,
  recordingLine,
  type RecordingMark,
} from '../protocol/recording-format.ts';

/**
 * Conversations written down line by line as they cross a link, and played back in place of a board. The format is in
 * docs/files.md.
 */

/** The most bytes that a recording may have when it is read. */
const MOST_BYTES = 64 * 1024 * 1024;

/** A line that has not ended after so many bytes is written down in pieces. */
const PIECE = 1024;

const LF = 0x0a;

/** As a table, so that a cause added to the protocol is missed here by the compiler. */
const CAUSES: Readonly<Record<LinkCause, true>> = {
  unsupported: true,
  switched_off: true,
  none_chosen: true,
  not_permitted: true,
  no_rights: true,
  in_use: true,
  unreachable: true,
  no_board: true,
  gone: true,
  closed: true,
  failed: true,
};

/**
 * A link that writes down whatever crosses it.
 *
 * @param write gets each line of the recording as it comes about, without its line end; the first is the head
 */
export function recordedLink(
  link: ByteLink,
  clock: Clock,
  write: (line: string) => void,
): ByteLink {
  return new RecordedLink(link, clock, write);
}

class RecordedLink implements ByteLink {
  readonly label: string;
  readonly onReturn?: NonNullable<ByteLink['onReturn']>;
  #began: number | undefined;
  #isOpen = false;
  readonly #toBoard = new Cutter((piece) => this.#note('>', piece));
  readonly #fromBoard = new Cutter((piece) => this.#note('<', piece));

  constructor(
    private readonly link: ByteLink,
    private readonly clock: Clock,
    private readonly writeDown: (line: string) => void,
  ) {
    this.label = link.label;
    if (link.onReturn) this.onReturn = (listener) => link.onReturn!(listener);
  }

  async open(listener: LinkListener): Promise<void> {
    await this.link.open({
      bytes: (chunk) => {
        this.#opened(); // something may arrive before opening is said to be done
        this.#fromBoard.push(chunk);
        listener.bytes(chunk);
      },
      closed: (end) => {
        this.#opened();
        this.#ended(`${end.cause} ${end.message}`);
        listener.closed(end);
      },
    });
    this.#opened();
  }

  async write(bytes: Uint8Array): Promise<void> {
    if (this.#isOpen) this.#toBoard.push(bytes);
    await this.link.write(bytes);
  }

  async close(): Promise<void> {
    if (this.#isOpen) this.#ended('');
    await this.link.close();
  }

  #opened(): void {
    if (this.#isOpen) return;
    this.#isOpen = true;
    if (this.#began === undefined) {
      this.#began = this.clock.now();
      this.writeDown(RECORDING_HEAD);
    }
    this.#note('+', new TextEncoder().encode(`${this.label}\n`));
  }

  #ended(words: string): void {
    this.#toBoard.flush();
    this.#fromBoard.flush();
    this.#isOpen = false;
    this.#note('-', new TextEncoder().encode(`${words}\n`));
  }

  #note(mark: RecordingMark, bytes: Uint8Array): void {
    this.writeDown(recordingLine(this.clock.now() - this.#began!, mark, bytes));
  }
}

/** Cuts bytes into lines, their LF included; of a line that has none, pieces. */
class Cutter {
  #held: number[] = [];

  constructor(private readonly onPiece: (bytes: Uint8Array) => void) {}

  push(bytes: Uint8Array): void {
    for (const byte of bytes) {
      this.#held.push(byte);
      if (byte === LF || this.#held.length === PIECE) this.flush();
    }
  }

  flush(): void {
    if (this.#held.length > 0) this.onPiece(Uint8Array.from(this.#held.splice(0)));
  }
}

/** Something that was said in a recording. */
interface Said {
  /** Where it stands, counted from 1. */
  line: number;
  ms: number;
  bytes: Uint8Array;
}

/** What the host said, and all that the board said then, until the host said something else. */
interface Exchange {
  host: Said;
  board: readonly Said[];
}

/** From opening the link to its end. */
interface Opening {
  label: string;
  ms: number;
  /** What the board said before the host said anything. */
  before: readonly Said[];
  exchanges: readonly Exchange[];
  /** How the far end ended it; absent where the host did, or the recording ends first. */
  end?: { ms: number; cause: LinkCause; reason: string };
}

export interface Recording {
  openings: readonly Opening[];
}

/**
 * - `too_long`: far more than any recording
 * - `wrong_type`: the first line is not that of a recording
 * - `newer_version`: a recording of a newer version of the format
 * - `bad_line`: a line that is none of a recording
 * - `out_of_order`: a line that cannot stand where it stands, such as one said while no link is open
 * - `empty`: no link is opened in it
 */
export type RecordingCause =
  'too_long' | 'wrong_type' | 'newer_version' | 'bad_line' | 'out_of_order' | 'empty';

export interface RecordingFault {
  ok: false;
  cause: RecordingCause;
  /** Counted from 1; absent where the whole file is meant. */
  line?: number;
  message: string;
}

function fault(cause: RecordingCause, what: string, line?: number): RecordingFault {
  const where = line === undefined ? '' : `line ${line}: `;
  return {
    ok: false,
    cause,
    ...(line !== undefined && { line }),
    message: `${where}${what} Nothing was changed.`,
  };
}

/** Reads a recording from its bytes, whole or not at all. */
export function readRecording(
  bytes: Uint8Array,
): { ok: true; recording: Recording } | RecordingFault {
  if (bytes.length > MOST_BYTES) {
    return fault('too_long', `the file is too long for a recording (over ${MOST_BYTES} bytes).`);
  }
  const lines = new TextDecoder('latin1').decode(bytes).split(/\r?\n/);
  const head = /^lodebench-recording ([1-9]\d{0,5})$/.exec(lines[0]!);
  if (!head) {
    return fault('wrong_type', `this is no recording: one begins with “${RECORDING_HEAD}”.`, 1);
  }
  if (head[1] !== '1') {
    const what = `the recording is of version ${head[1]} and this program reads version 1. Use a newer program.`;
    return fault('newer_version', what, 1);
  }
  const openings: OpeningDraft[] = [];
  let last = 0;
  for (const [i, text] of lines.entries()) {
    const line = i + 1;
    if (i === 0 || text === '') continue;
    const parts = /^(0|[1-9]\d{0,14}) ([+><-])(?: (.*))?$/.exec(text);
    const said = recordedBytes(parts?.[3] ?? '');
    if (!parts || !said) {
      const what =
        'it is not a time in milliseconds, one of + > < -, and what was said, in printable ASCII.';
      return fault('bad_line', what, line);
    }
    const ms = Number(parts[1]);
    if (ms < last)
      return fault('out_of_order', `its time lies before that of the line above.`, line);
    last = ms;
    const problem = take(openings, parts[2] as RecordingMark, { line, ms, bytes: said });
    if (problem) return { ...problem };
  }
  if (openings.length === 0) return fault('empty', 'no link is opened in it.');
  return { ok: true, recording: { openings } };
}

interface OpeningDraft extends Opening {
  before: Said[];
  exchanges: { host: Said; board: Said[] }[];
  over?: true;
}

/** Adds one line to what was read so far; what is wrong with it, if anything. */
function take(
  openings: OpeningDraft[],
  mark: RecordingMark,
  said: Said,
): RecordingFault | undefined {
  const { line, ms } = said;
  const text = new TextDecoder().decode(said.bytes).trimEnd();
  const current = openings.at(-1);
  const opening = current?.over ? undefined : current;
  if (mark === '+') {
    if (opening) return fault('out_of_order', 'a link is opened while one is open.', line);
    openings.push({ label: text, ms, before: [], exchanges: [] });
    return undefined;
  }
  if (!opening) return fault('out_of_order', 'no link is open here.', line);
  const exchange = opening.exchanges.at(-1);
  if (mark === '<') {
    (exchange?.board ?? opening.before).push(said);
  } else if (mark === '>') {
    // A line that was said again for want of an answer is the same exchange; and an empty line says nothing.
    const again = exchange?.board.length === 0 && sameBytes(exchange.host.bytes, said.bytes);
    if (!again && text !== '') opening.exchanges.push({ host: said, board: [] });
  } else {
    opening.over = true;
    const [, cause, reason = ''] = /^([a-z_]+)(?: (.*))?$/.exec(text) ?? [];
    if (text === '') return undefined;
    if (!cause || !Object.hasOwn(CAUSES, cause)) {
      const what = `after - stands nothing, or the cause of the end: ${Object.keys(CAUSES).join(', ')}.`;
      return fault('bad_line', what, line);
    }
    opening.end = { ms, cause: cause as LinkCause, reason };
  }
  return undefined;
}

const sameBytes = (a: Uint8Array, b: Uint8Array): boolean =>
  a.length === b.length && a.every((byte, i) => byte === b[i]);

export interface Playback {
  link: ByteLink;
  /** Ends the link that is open, as a board does that is switched off. */
  stop(): void;
}

/**
 * The board's side of a recording, as a link. Each opening of the link plays the next of the recording. When the host says
 * what it said then, the board's lines follow with the delay they had; when the host is quicker than it was, what the
 * board had said by then comes first, at once. The host's random number in hello and its tags may be others than they
 * were: answers are rewritten to them. A line that the host sends again changes nothing. A host that says something
 * else has departed from the recording: the link ends with `failed`, and the reason says where and how.
 */
export function playedBack(recording: Recording, clock: Clock): Playback {
  const link = new PlayedLink(recording, clock);
  return { link, stop: () => link.stop() };
}

class PlayedLink implements ByteLink {
  readonly label: string;
  #played: Played | undefined;
  #openings = 0;

  constructor(
    private readonly recording: Recording,
    private readonly clock: Clock,
  ) {
    this.label = `recording of ${recording.openings[0]!.label}`;
  }

  async open(listener: LinkListener): Promise<void> {
    if (this.#played) throw new LinkError('in_use', 'the recording is being played already');
    const opening = this.recording.openings[this.#openings];
    if (!opening) {
      const times = this.#openings === 1 ? 'once' : `${this.#openings} times`;
      throw new LinkError('unreachable', `in the recording the link was opened only ${times}`);
    }
    this.#openings += 1;
    const played: Played = new Played(
      opening,
      this.clock,
      (bytes) => listener.bytes(bytes),
      (end) => {
        this.#played = undefined;
        listener.closed(end);
      },
    );
    this.#played = played;
  }

  async write(bytes: Uint8Array): Promise<void> {
    if (!this.#played) throw new LinkError('closed', 'the recording is not being played');
    this.#played.hear(bytes);
  }

  async close(): Promise<void> {
    this.#played?.clear();
    this.#played = undefined;
  }

  stop(): void {
    this.#played?.end(new LinkError('gone', 'the recording was stopped'));
  }
}

/** What is still to come: something the board says, or the end of the link. */
type Due = { ms: number } & ({ bytes: Uint8Array } | { end: LinkError });

/** One opening while it is played. */
class Played {
  #coming: Due[] = [];
  #stopTimer = () => {};
  /** How many exchanges were begun. */
  #at = 0;
  /** The host's last line as it came, LF left out. */
  #last = '';
  /** Numbers of the recording, and what the host uses in their place. */
  readonly #tags = new Map<number, number>();
  readonly #hosts = new Map<string, string>();
  readonly #heard = new Cutter((piece) => this.#line(piece));
  #over = false;

  constructor(
    private readonly opening: Opening,
    private readonly clock: Clock,
    private readonly say: (bytes: Uint8Array) => void,
    private readonly onEnd: (end: LinkError) => void,
  ) {
    this.#expect(opening.ms, opening.before);
  }

  hear(bytes: Uint8Array): void {
    this.#heard.push(bytes);
  }

  end(end: LinkError): void {
    this.clear();
    this.onEnd(end);
  }

  /** Nothing of it is played or heard any more. */
  clear(): void {
    this.#over = true;
    this.#stopTimer();
    this.#coming = [];
  }

  #line(piece: Uint8Array): void {
    const text = new TextDecoder('latin1').decode(piece).trimEnd();
    if (this.#over || text === '') return;
    const exchange = this.opening.exchanges[this.#at];
    if (!exchange || !this.#matches(exchange.host, text)) {
      if (text !== this.#last) this.#depart(text, exchange?.host);
      return;
    }
    this.#last = text;
    this.#at += 1;
    for (const due of this.#coming) due.ms = this.clock.now();
    this.#expect(exchange.host.ms, exchange.board);
  }

  /** Whether the host says what it said then; notes which numbers it uses. */
  #matches({ bytes }: Said, text: string): boolean {
    const then = new TextDecoder('latin1').decode(bytes).trimEnd();
    const [was, is] = [parseLine(then), parseLine(text)];
    if (!isRequest(was) || !isRequest(is)) return then === text;
    const rest = ({ verb, checked, fields }: Request) =>
      JSON.stringify([
        verb,
        checked,
        Object.entries(fields)
          .filter(([name]) => !(verb === 'hello' && name === 'host'))
          .sort(([a], [b]) => (a < b ? -1 : 1)),
      ]);
    if (rest(was) !== rest(is)) return false;
    this.#tags.set(was.tag, is.tag);
    const [hostThen, hostNow] = [was.fields['host']?.[0], is.fields['host']?.[0]];
    if (hostThen !== undefined && hostNow !== undefined) this.#hosts.set(hostThen, hostNow);
    return true;
  }

  /** Schedules what the board said since a moment of the recording, and then the end if nothing is left to be said. */
  #expect(since: number, board: readonly Said[]): void {
    const now = this.clock.now();
    for (const { ms, bytes } of board) this.#coming.push({ ms: now + ms - since, bytes });
    const { end, exchanges } = this.opening;
    if (end && this.#at === exchanges.length) {
      const { cause, reason } = end;
      this.#coming.push({ ms: now + end.ms - since, end: new LinkError(cause, reason) });
    }
    this.#schedule();
  }

  #schedule(): void {
    this.#stopTimer();
    const next = this.#coming[0];
    if (!next) return;
    this.#stopTimer = this.clock.after(Math.max(0, next.ms - this.clock.now()), () => {
      const due = this.#coming.shift()!;
      if ('end' in due) {
        this.end(due.end);
        return;
      }
      this.#schedule();
      this.say(this.#asNow(due.bytes));
    });
  }

  /** An answer with the numbers that the host uses; anything else as it was. */
  #asNow(bytes: Uint8Array): Uint8Array {
    const text = new TextDecoder('latin1').decode(bytes).trimEnd();
    const line = parseLine(text);
    if (typeof line === 'string' || line.kind !== 'answer' || !line.checked) return bytes.slice();
    const tag = this.#tags.get(line.tag) ?? line.tag;
    const host = this.#hosts.get(line.fields['host']?.[0] ?? '');
    const body = text.replace(/ #[0-9A-F]{4}$/, '').replace(/^=\d+/, `=${tag}`);
    const whole = host === undefined ? body : body.replace(/ host=[0-9A-F]+/, ` host=${host}`);
    return withCheck(whole);
  }

  #depart(text: string, expected: Said | undefined): void {
    const now = `the host said “${shown(text)}”`;
    const then = expected
      ? `where the recording, line ${expected.line}, has “${shown(new TextDecoder('latin1').decode(expected.bytes))}”`
      : 'where the recording has nothing more from the host';
    this.end(new LinkError('failed', `the host departed from the recording: ${now}, ${then}`));
  }
}

type Request = Line & { kind: 'request' };

const isRequest = (line: ReturnType<typeof parseLine>): line is Request =>
  typeof line !== 'string' && line.kind === 'request';

/** A line, fit to stand in a message. */
function shown(text: string): string {
  const line = text.trimEnd().replace(/[^ -~]/g, '·');
  return line.length > 80 ? `${line.slice(0, 80)}…` : line;
}
