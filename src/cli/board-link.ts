import { closeSync, existsSync, openSync, writeSync } from 'node:fs';
import { WebSocket } from 'ws';
import { linkBoard, type Board, type BoardNotice, type BoardReading } from '../protocol/board.ts';
import type { Clock } from '../protocol/clock.ts';
import { ProtocolError } from '../protocol/errors.ts';
import { LinkError, type ByteLink } from '../protocol/link.ts';
import { noticeWords } from '../steps/bench-words.ts';
import { realClock } from '../transport/real-clock.ts';
import { playedBack, readRecording, recordedLink } from '../transport/recording.ts';
import { serialPortLink } from '../transport/serial-port.ts';
import { socketAddress, webSocketLink, type SocketConstructor } from '../transport/websocket.ts';
import { isFile, readBytes, whyNot } from './files.ts';
import { failed, type Outcome } from './outcome.ts';

/** From what stands for a board on the command line to the board. */

export interface LinkOptions {
  /** A serial port's path, an address that begins with ws:// or wss://, or `play:` and a recording's file. */
  port: string;
  /** Bits a second of a serial port. */
  baud?: number;
  /** Leave DTR and RTS of a serial port set. */
  keepSignals?: boolean;
  /** File into which the conversation is written down. */
  record?: string;
}

/** What a command hears from its board beside the answers. */
export interface Ears {
  onReading?(reading: BoardReading): void;
  onLost?(error: ProtocolError): void;
}

/** A board's place on the command line: its link, which may be opened again after it ended. */
export interface Workplace {
  /** Links the board. Rejects with a ProtocolError. */
  link(ears?: Ears): Promise<Board>;
  /** The same link without a conversation on it, for whoever holds one of another kind. */
  bytes: ByteLink;
  /** Aborted when a person asks to stop (Ctrl-C). */
  signal: AbortSignal;
  clock: Clock;
  /** Tells the person something, at once. */
  say(line: string): void;
}

/** Something that stops a command; the message says what happened, what is safe and what to do next. */
export class Stopped extends Error {
  override readonly name = 'Stopped';
}

/**
 * Does a command's work at a board, and leaves the link closed whatever happens. What ends the work early is told in the
 * outcome.
 */
export async function atBoard(
  options: LinkOptions,
  work: (place: Workplace) => Promise<Outcome>,
): Promise<Outcome> {
  const stop = new AbortController();
  const interrupt = () => stop.abort();
  process.once('SIGINT', interrupt);
  let recording: number | undefined;
  let close = async () => {};
  try {
    const link = linkTo(options);
    if (options.record !== undefined) recording = newFile(options.record);
    const bytes = recording === undefined ? link : writtenDown(link, recording);
    const { place, end } = workplace({ bytes, signal: stop.signal, clock: realClock, say });
    close = end;
    return await work(place);
  } catch (error) {
    if (error instanceof LinkError) return failed(`${options.port}: ${error.message}.`);
    return stopped(error);
  } finally {
    process.off('SIGINT', interrupt);
    await close();
    if (recording !== undefined) closeSync(recording);
  }
}

/** What an error that ends a command's work early comes to. Throws it again where it is none of those. */
export function stopped(error: unknown): Outcome {
  if (error instanceof ProtocolError || error instanceof Stopped) return failed(error.message);
  throw error;
}

/** A place over any link; `end` closes what is linked there. */
export function workplace({ bytes, signal, clock, say }: Omit<Workplace, 'link'>): {
  place: Workplace;
  end(): Promise<void>;
} {
  let linked: Board | undefined;
  const end = async () => {
    await linked?.close();
    linked = undefined;
  };
  const link = async (ears: Ears = {}) => {
    await end();
    linked = await linkBoard(bytes, {
      clock,
      random: Math.random,
      onReading: (reading) => ears.onReading?.(reading),
      onEvent: (notice: BoardNotice) => say(noticeWords(notice)),
      onTrouble: (error) => say(error.message),
      onLost: (error) => ears.onLost?.(error),
      signal,
    });
    return linked;
  };
  return { place: { bytes, signal, clock, say, link }, end };
}

function say(line: string): void {
  process.stdout.write(`${line}\n`);
}

/** @throws LinkError, Stopped */
export function linkTo({ port, baud, keepSignals }: LinkOptions): ByteLink {
  if (port.startsWith('play:')) return recordingIn(port.slice('play:'.length));
  if (/^wss?:/.test(port)) {
    // a person who types a whole address at a prompt means it, wherever it lies
    const address = socketAddress(port, { anyHost: true });
    return webSocketLink(address, WebSocket as unknown as SocketConstructor);
  }
  refuseWhatIsNoPort(port);
  return serialPortLink(port, {
    ...(baud !== undefined && { baud }),
    ...(keepSignals !== undefined && { keepSignals }),
  });
}

/** An address without its scheme, or with that of a page. */
const HALF_AN_ADDRESS = /^(?:https?:\/\/)?([a-z0-9.-]+:\d{1,5}(?:\/\S*)?)$/i;

/** @throws Stopped for a name that means something other than a serial port */
function refuseWhatIsNoPort(port: string): void {
  if (isFile(port)) {
    const file = readBytes(port);
    const isRecording = file.ok && readRecording(file.bytes).ok;
    throw new Stopped(
      `${port} is a file, and stands where the port belongs: the port comes first, and a file after it. Nothing was changed.${isRecording ? ` As a recording it is played as play:${port}.` : ''}`,
    );
  }
  const [, address] = HALF_AN_ADDRESS.exec(port) ?? [];
  if (address !== undefined && !existsSync(port)) {
    throw new Stopped(`There is no port ${port}. Was ws://${address} meant? Nothing was changed.`);
  }
}

function recordingIn(path: string): ByteLink {
  const file = readBytes(path);
  if (!file.ok) throw new Stopped(file.message);
  const read = readRecording(file.bytes);
  if (!read.ok) throw new Stopped(`${path}: ${read.message}`);
  return playedBack(read.recording, realClock).link;
}

function writtenDown(link: ByteLink, file: number): ByteLink {
  return recordedLink(link, realClock, (line) => writeSync(file, `${line}\n`));
}

/** Opens a file that is not there yet. */
function newFile(path: string): number {
  try {
    return openSync(path, 'wx');
  } catch (error) {
    throw new Stopped(`${path}: it could not be written: ${whyNot(error)}. Nothing was changed.`);
  }
}
