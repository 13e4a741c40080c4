import { LinkError, type ByteLink, type LinkKind, type LinkListener } from '../protocol/link.ts';
import { realClock } from './real-clock.ts';

/** A link over a WebSocket: binary and text frames are bytes alike, and how frames are cut has no meaning. */

/** As much of a WebSocket as a link needs; that of a browser is one, and so is that of the npm package `ws`. */
export interface Socket {
  binaryType: string;
  readonly readyState: number;
  send(bytes: Uint8Array): void;
  close(): void;
  addEventListener(kind: 'open' | 'message' | 'close' | 'error', listener: Hearer): void;
  removeEventListener(kind: 'open' | 'message' | 'close' | 'error', listener: Hearer): void;
}
type Hearer = (event: never) => void;

/** Makes a socket that begins to connect at once. */
export type SocketConstructor = new (address: string) => Socket;

/** With this code a far end closes a link because another program has its board. */
export const IN_USE_CODE = 4001;

/** How long connecting, and ending a connection, may take, milliseconds. */
const OPENING_MS = 10_000;
const CLOSING_MS = 1000;

const [OPEN, CLOSING] = [1, 2];
const LOCAL_HOSTS: readonly string[] = ['localhost', '127.0.0.1', '[::1]'];

/**
 * The address of a board as a person types it.
 *
 * @param anyHost whether it may lie on another machine
 * @throws LinkError `failed` where it is no such address, `not_permitted` where it lies on another machine
 */
export function socketAddress(typed: string, { anyHost = false } = {}): string {
  const url = URL.canParse(typed.trim()) ? new URL(typed.trim()) : undefined;
  if (!url || (url.protocol !== 'ws:' && url.protocol !== 'wss:') || url.hash !== '') {
    throw new LinkError(
      'failed',
      'this is no address of a board: one looks like ws://localhost:4180/1',
    );
  }
  if (!anyHost && !LOCAL_HOSTS.includes(url.hostname)) {
    const where = 'only boards on this machine are linked so: ws://localhost and a port';
    throw new LinkError('not_permitted', `the address lies on another machine, and ${where}`);
  }
  return url.href;
}

/**
 * The link to a board behind a WebSocket.
 *
 * @param address as {@link socketAddress} gave it
 * @param WebSocket the browser's own, or that of a package where there is none
 */
export function webSocketLink(address: string, WebSocket: SocketConstructor): ByteLink {
  return new WebSocketLink(address, WebSocket);
}

/**
 * Links over WebSockets, picked by typing an address.
 *
 * @param ask gets the address from the person; undefined where none was given
 */
export function webSocketKind(
  ask: () => Promise<string | undefined>,
  WebSocket: SocketConstructor | undefined = globalThis.WebSocket as SocketConstructor | undefined,
): LinkKind {
  return {
    label: 'WebSocket',
    missing: async () => (WebSocket ? undefined : noWebSockets()),
    choose: async () => {
      if (!WebSocket) throw noWebSockets();
      const typed = await ask();
      if (typed === undefined) throw new LinkError('none_chosen', 'no address was given');
      return webSocketLink(socketAddress(typed), WebSocket);
    },
    permitted: async () => [],
  };
}

const noWebSockets = () => new LinkError('unsupported', 'there are no WebSockets here');

class WebSocketLink implements ByteLink {
  readonly label: string;
  /** Set from the beginning of opening until the link has ended. */
  #socket: Socket | undefined;

  constructor(
    private readonly address: string,
    private readonly WebSocket: SocketConstructor,
  ) {
    this.label = `WebSocket ${address}`;
  }

  async open(listener: LinkListener): Promise<void> {
    if (this.#socket) throw new LinkError('in_use', 'the link is open already');
    const socket = new this.WebSocket(this.address);
    socket.binaryType = 'arraybuffer';
    this.#socket = socket;
    const isMine = () => this.#socket === socket;
    socket.addEventListener('message', ({ data }: { data: unknown }) => {
      if (isMine()) listener.bytes(bytesOf(data));
    });
    try {
      await opened(socket);
    } catch (error) {
      if (!isMine()) throw new LinkError('closed', 'it was closed while it was being opened');
      this.#socket = undefined;
      socket.close();
      throw error;
    }
    socket.addEventListener('close', ({ code, reason }: { code: number; reason: string }) => {
      if (!isMine()) return;
      this.#socket = undefined;
      listener.closed(
        code === IN_USE_CODE
          ? new LinkError('in_use', reason || 'another program has the board')
          : new LinkError('gone', reason || 'the far end of the WebSocket closed it'),
      );
    });
  }

  async write(bytes: Uint8Array): Promise<void> {
    const socket = this.#socket;
    // The far end is closing it: why, the listener is told before whoever writes is told that it is closed.
    if (socket?.readyState === CLOSING) await closedFrom(socket);
    if (socket?.readyState !== OPEN) throw new LinkError('closed', 'the link is closed');
    socket.send(bytes.slice());
  }

  async close(): Promise<void> {
    const socket = this.#socket;
    if (!socket) return;
    this.#socket = undefined;
    // The far end lets a board go only when it has heard of the end, and may be asked for it again at once.
    await ended(socket);
  }
}

/** What a frame carries, in memory of its own. */
function bytesOf(data: unknown): Uint8Array {
  return typeof data === 'string'
    ? new TextEncoder().encode(data)
    : new Uint8Array(data as ArrayBuffer);
}

/** Resolves when the socket is open; rejects with a LinkError when it will not be. */
function opened(socket: Socket): Promise<void> {
  return new Promise((resolve, reject) => {
    // an error says nothing to a browser's page, and a close that follows it no more
    const fail = () => {
      stopWaiting();
      reject(new LinkError('unreachable', 'nothing answers at this address'));
    };
    const stopWaiting = realClock.after(OPENING_MS, fail);
    socket.addEventListener('error', fail);
    socket.addEventListener('close', fail);
    socket.addEventListener('open', () => {
      stopWaiting();
      resolve();
    });
  });
}

/** Closes the socket; resolves when it is closed, or a far end that does not answer has had its time. */
async function ended(socket: Socket): Promise<void> {
  socket.close();
  await closedFrom(socket);
}

/** Resolves when a socket that is closing is closed, or its far end has had its time. */
function closedFrom(socket: Socket): Promise<void> {
  return new Promise((resolve) => {
    const stopWaiting = realClock.after(CLOSING_MS, resolve);
    socket.addEventListener('close', () => {
      stopWaiting();
      resolve();
    });
  });
}
