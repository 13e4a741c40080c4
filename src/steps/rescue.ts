import { linkBoard, type Board, type BoardIdentity } from '../protocol/board.ts';
import type { Clock } from '../protocol/clock.ts';
import { ProtocolError } from '../protocol/errors.ts';
import { LineReader, parseLine, type Fields } from '../protocol/line.ts';
import { LinkError, type ByteLink, type LinkCause, type LinkListener } from '../protocol/link.ts';
import { PROTOCOL_VERSION } from '../protocol/messages.ts';
import { pause } from './pause.ts';
import { isRefusal } from './refusals.ts';

/**
 * What is the matter with a board that cannot be worked with, as far as the wire tells: by listening, by hello, and by
 * the shape of what comes. Nothing that a board keeps is changed: it is asked `hello`, `memory`, `sense`, `image`,
 * `coefficients`, and nothing else.
 */

/**
 * - `no_link`: the link cannot be opened at all
 * - `silent`: nothing comes, not one byte
 * - `garbage`: bytes come that are no text: most often the wrong speed
 * - `other_talk`: text comes that is not this protocol: another program, or something that is no board
 * - `damaged`: whole lines come from a board, but hello and its answer do not get through whole
 * - `wrong_speed`: it answers, but at another speed than the one that was given
 * - `restarting`: it starts again, or falls silent, or the link drops, again and again
 * - `other_version`: it speaks another version of the protocol
 * - `makes_no_sense`: it answers hello with something that cannot be right
 * - `refuses`: it answers hello with an error
 * - `on_trial`: new firmware runs that nobody has confirmed
 * - `coefficients_lost`: it has no coefficients, or cannot read them, or older ones than are known of it
 * - `no_coefficients`: it has none, and nobody knows of any
 * - `well`: nothing is the matter as far as the wire tells
 */
export const RESCUE_CAUSES = [
  ...(['no_link', 'silent', 'garbage', 'other_talk', 'damaged', 'wrong_speed'] as const),
  ...(['restarting', 'other_version', 'makes_no_sense', 'refuses', 'on_trial'] as const),
  ...(['coefficients_lost', 'no_coefficients', 'well'] as const),
] as const;
export type RescueCause = (typeof RESCUE_CAUSES)[number];

/** What came over the link. */
export interface Heard {
  bytes: number;
  /** Of them printable ASCII, or the end of a line. */
  printable: number;
  /** Lines that were whole: with a check that is right. */
  lines: number;
  /** Lines that were not. */
  broken: number;
  /** The first bytes that came in no whole line, those that are not printable as `\xHH`. */
  sample: string;
  /** How many times the link ended by itself, or the board forgot the conversation or fell silent in it. */
  endings: number;
}

/** What was found. */
export interface RescueFinding {
  cause: RescueCause;
  heard: Heard;
  /** Why a link cannot be opened. */
  link?: LinkCause;
  /** What is to be said beside the cause, as sentences; from an error or of what differs. */
  detail?: string;
  /** The version of the protocol that it speaks. */
  version?: string;
  /** Bits a second at which it answers. */
  speed?: number;
  /** Whatever it said of itself, if it did. */
  identity?: BoardIdentity;
  /** Milliseconds since it started, and its supply in volts, where it tells. */
  runningMs?: number;
  volt?: number;
  /** The firmware on trial, and how long a trial lasts at most. */
  trial?: { version: string; seconds: number };
}

/** What the logbook or a file knows of a board's coefficients. */
export interface KnownCoefficients {
  serial: string;
  generation: number;
}

export interface RescueOptions {
  clock: Clock;
  /** A random number in [0, 1): each conversation needs another. */
  random: () => number;
  signal: AbortSignal;
  known?: KnownCoefficients;
  /** Told what is done now, in words. */
  onStep?: (words: string) => void;
}

/** Bits a second that boards use. */
export const SPEEDS: readonly number[] = [115_200, 9600, 57_600, 38_400, 19_200, 230_400];

const LISTENING_MS = 1000;
/** How long a board is watched for whether it starts again, and how often it is asked meanwhile, milliseconds. */
const WATCHING_MS = 10_000;
const ASKING_MS = 1000;
/** How many times in a row a conversation may break off before that is what ails it. */
const ROUNDS = 3;
/** How long it may take to answer hello at a speed that is tried. */
const TRYING_MS = 3500;
const SAMPLE = 48;
/** From this share of printable bytes on it is text that came. */
const TEXT = 0.95;

/**
 * Examines whatever is at the other end of a link; the link is closed afterwards. Takes some twelve seconds with a
 * board that is well, and up to a minute.
 *
 * @throws ProtocolError `cancelled`
 */
export async function examine(link: ByteLink, options: RescueOptions): Promise<RescueFinding> {
  const ear = new Ear(link);
  try {
    return await findingAt(ear, options);
  } finally {
    await ear.close();
  }
}

async function findingAt(ear: Ear, options: RescueOptions): Promise<RescueFinding> {
  const { clock, signal, onStep = () => {} } = options;
  onStep('Listening');
  const refusal = await ear.listen();
  if (refusal) {
    return { cause: 'no_link', heard: ear.heard, link: refusal.cause, detail: refusal.message };
  }
  await pause(clock, LISTENING_MS, signal);
  let last: ProtocolError | undefined;
  for (let round = 1; round <= ROUNDS; round++) {
    onStep(round === 1 ? 'Saying hello' : 'Saying hello once more');
    let board: Board | undefined;
    try {
      board = await greeted(ear, options);
      onStep('Watching whether it starts again by itself');
      await watch(board, clock, signal);
      return await lookAt(board, ear, options);
    } catch (error) {
      if (!(error instanceof ProtocolError) || error.cause === 'cancelled') throw error;
      const found = findingIn(error, ear, board !== undefined);
      if (found) return found;
      ear.heard.endings++;
      last = error;
      await pause(clock, ASKING_MS / 2, signal);
    } finally {
      await ear.close();
    }
  }
  if (last?.fault.cause === 'link_refused') {
    const { link, reason } = last.fault;
    return { cause: 'no_link', heard: ear.heard, link, detail: reason };
  }
  return { cause: 'restarting', heard: ear.heard, ...ear.about };
}

function greeted(ear: Ear, { clock, random, signal }: RescueOptions): Promise<Board> {
  return linkBoard(ear, { clock, random, signal, onReading: () => {}, onLost: () => {} });
}

/** Resolves when it has run and answered for a while; rejects as `memory` does when it did not. */
async function watch(board: Board, clock: Clock, signal: AbortSignal): Promise<void> {
  const end = clock.now() + WATCHING_MS;
  while (clock.now() < end) {
    await board.memory(signal);
    await pause(clock, ASKING_MS, signal);
  }
}

/** What an error says that ended a conversation; nothing where it may have been a restart. */
function findingIn(error: ProtocolError, ear: Ear, wasGreeted: boolean): RescueFinding | undefined {
  const { heard } = ear;
  const { fault } = error;
  if (fault.cause === 'wrong_version') {
    return { cause: 'other_version', heard, version: String(fault.board) };
  }
  if (fault.cause === 'nonsense') {
    const version = ear.version;
    return version !== undefined && version !== String(PROTOCOL_VERSION)
      ? { cause: 'other_version', heard, version }
      : { cause: 'makes_no_sense', heard, detail: error.message };
  }
  if (fault.cause === 'refused') return { cause: 'refuses', heard, detail: error.message };
  if (fault.cause !== 'no_answer' || wasGreeted || fault.verb !== 'hello') return undefined;
  if (ear.heard.endings > 0) return undefined;
  if (heard.bytes === 0) return { cause: 'silent', heard };
  if (heard.lines > 0) return { cause: 'damaged', heard };
  if (ear.echoes) {
    const detail = 'What is sent comes back as it was: two wires are joined, or a program echoes.';
    return { cause: 'other_talk', heard, detail };
  }
  return { cause: heard.printable / heard.bytes >= TEXT ? 'other_talk' : 'garbage', heard };
}

/** What a board that answers, and goes on answering, says of itself. */
async function lookAt(
  board: Board,
  ear: Ear,
  { known, signal }: RescueOptions,
): Promise<RescueFinding> {
  const { identity } = board;
  const sensed = await unlessRefused(board.sense(signal));
  const about = {
    heard: ear.heard,
    identity,
    ...(sensed?.tMs !== undefined && { runningMs: sensed.tMs }),
    ...(sensed?.volt !== undefined && { volt: sensed.volt }),
  };
  const image = identity.capabilities.includes('image')
    ? await unlessRefused(board.ask('image', {}, signal))
    : undefined;
  if (image?.trial) {
    const trial = { version: image.running, seconds: image.trialSeconds };
    return { cause: 'on_trial', ...about, trial };
  }
  const isKnown = known?.serial === identity.serial && known.generation > 0;
  let generation: number | undefined;
  try {
    generation = (await board.coefficients('in_force', signal))?.generation;
  } catch (error) {
    if (!(error instanceof ProtocolError) || error.cause !== 'nonsense') throw error;
    return { cause: 'coefficients_lost', ...about, detail: error.message };
  }
  if (generation === undefined) {
    if (isKnown) {
      const detail = `It has none in force, and generation ${known.generation} was saved from it.`;
      return { cause: 'coefficients_lost', ...about, detail };
    }
    if (identity.generation === 0) return { cause: 'no_coefficients', ...about };
    const detail = `It says that generation ${identity.generation} is in force, and does not have it.`;
    return { cause: 'coefficients_lost', ...about, detail };
  }
  if (isKnown && generation < known.generation) {
    const detail = `It runs generation ${generation}, and generation ${known.generation} was saved from it.`;
    return { cause: 'coefficients_lost', ...about, detail };
  }
  return { cause: 'well', ...about };
}

async function unlessRefused<T>(answer: Promise<T>): Promise<T | undefined> {
  try {
    return await answer;
  } catch (error) {
    if (!isRefusal(error)) throw error;
    return undefined;
  }
}

/**
 * Examines a board on a serial port; where nothing of the protocol comes at the given speed, it tries the other usual
 * ones.
 *
 * @param linkAt the link at so many bits a second
 * @returns what is the matter; with `wrong_speed`, `then` has what was found at the right one
 * @throws ProtocolError `cancelled`
 */
export async function examineAtSpeeds(
  linkAt: (speed: number) => ByteLink,
  given: number,
  options: RescueOptions,
): Promise<RescueFinding & { then?: RescueFinding }> {
  const { onStep = () => {} } = options;
  const first = await examine(linkAt(given), options);
  if (!['silent', 'garbage', 'other_talk', 'damaged'].includes(first.cause)) return first;
  for (const speed of SPEEDS) {
    if (speed === given) continue;
    onStep(`Trying ${speed} bits a second`);
    if (!(await answersAt(linkAt(speed), options))) continue;
    const then = await examine(linkAt(speed), options);
    return { ...first, cause: 'wrong_speed', speed, then };
  }
  return first;
}

/** Whether a board says hello over a link within a few seconds. */
async function answersAt(link: ByteLink, options: RescueOptions): Promise<boolean> {
  const { clock, signal } = options;
  const ear = new Ear(link);
  const enough = new AbortController();
  const stop = () => enough.abort();
  const stopWaiting = clock.after(TRYING_MS, stop);
  signal.addEventListener('abort', stop);
  try {
    await greeted(ear, { ...options, signal: enough.signal });
    return true;
  } catch (error) {
    if (!(error instanceof ProtocolError)) throw error;
    if (signal.aborted) throw error;
    return ear.heard.lines > 0 && ear.heard.broken === 0; // a board, whatever ails it
  } finally {
    stopWaiting();
    signal.removeEventListener('abort', stop);
    await ear.close();
  }
}

/** A link that notes what comes over it, and can be listened to before anything is said on it. */
class Ear implements ByteLink {
  readonly label: string;
  readonly heard: Heard = { bytes: 0, printable: 0, lines: 0, broken: 0, sample: '', endings: 0 };
  /** The version that the last answer to a hello named. */
  version: string | undefined;
  /** Whether requests came: a board never makes one. */
  echoes = false;
  #said: Fields | undefined;
  #isOpen = false;
  #listener: LinkListener | undefined;
  readonly #reader = new LineReader(
    (text) => this.#line(text),
    () => void this.heard.broken++,
  );

  constructor(private readonly link: ByteLink) {
    this.label = link.label;
  }

  /** What the board said of itself in a hello that was cut short by what came after, for what is found of it. */
  get about(): { detail?: string } {
    const [serial] = this.#said?.['serial'] ?? [];
    return serial === undefined ? {} : { detail: `It said that it is board ${serial}.` };
  }

  /** Opens the link with nobody to speak; why it cannot be, if so. */
  async listen(): Promise<LinkError | undefined> {
    try {
      await this.#open();
      return undefined;
    } catch (error) {
      if (error instanceof LinkError) return error;
      throw error;
    }
  }

  async open(listener: LinkListener): Promise<void> {
    if (!this.#isOpen) await this.#open();
    this.#listener = listener;
  }

  write(bytes: Uint8Array): Promise<void> {
    return this.link.write(bytes);
  }

  async close(): Promise<void> {
    this.#listener = undefined;
    this.#isOpen = false;
    await this.link.close();
  }

  async #open(): Promise<void> {
    await this.link.open({
      bytes: (chunk) => {
        this.#hear(chunk);
        this.#listener?.bytes(chunk);
      },
      closed: (end) => {
        const listener = this.#listener;
        this.#isOpen = false;
        this.#listener = undefined;
        listener?.closed(end);
      },
    });
    this.#isOpen = true;
  }

  #hear(chunk: Uint8Array): void {
    const { heard } = this;
    heard.bytes += chunk.length;
    for (const byte of chunk) {
      const isText = (byte >= 0x20 && byte < 0x7f) || [0x09, 0x0a, 0x0d].includes(byte);
      if (isText) heard.printable++;
    }
    if (heard.lines === 0 && heard.sample.length < SAMPLE) {
      heard.sample = (heard.sample + escaped(chunk)).slice(0, SAMPLE);
    }
    this.#reader.push(chunk);
  }

  #line(text: string): void {
    const line = parseLine(text);
    if (typeof line === 'string' || !line.checked || line.kind === 'request') {
      this.echoes ||= typeof line !== 'string' && line.kind === 'request';
      this.heard.broken++;
      return;
    }
    this.heard.lines++;
    if (line.kind !== 'answer' || !line.ok || !('protocol' in line.fields)) return;
    this.version = line.fields['protocol']?.[0];
    this.#said = line.fields;
  }
}

const escaped = (bytes: Uint8Array): string =>
  Array.from(bytes, (byte) =>
    byte >= 0x20 && byte < 0x7f && byte !== 0x5c
      ? String.fromCharCode(byte)
      : `\\x${byte.toString(16).toUpperCase().padStart(2, '0')}`,
  ).join('');
