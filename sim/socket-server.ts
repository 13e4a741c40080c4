import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { WebSocketServer, type WebSocket } from 'ws';
import { LinkError } from '../src/protocol/link.ts';
import { IN_USE_CODE } from '../src/transport/websocket.ts';
import type { HostedBoard } from './hosted-board.ts';

/** Boards behind WebSockets, each under a path of its own: /1, /2 and so on. Only this machine is served. */

const HOST = '127.0.0.1';

/** Pages from elsewhere may not talk to the boards of this machine; programs that are no page say no origin. */
const isLocal = (origin: string | undefined): boolean =>
  origin === undefined || /^https?:\/\/(localhost|127\.0\.0\.1|\[::1\])(:\d+)?$/.test(origin);

export class SocketServer {
  private constructor(
    private readonly server: Server,
    private readonly sockets: WebSocketServer,
  ) {}

  /**
   * @param port 0 for any that is free
   * @throws Error where the port cannot be had
   */
  static async at(port: number, boards: readonly HostedBoard[]): Promise<SocketServer> {
    const server = createServer((_, response) => {
      response.writeHead(426, { 'content-type': 'text/plain' });
      response.end('Simulated boards are linked here over WebSockets.\n');
    });
    const sockets = new WebSocketServer({ noServer: true, perMessageDeflate: false });
    server.on('upgrade', (request, socket, head) => {
      const board = boards.find((_, i) => request.url === `/${i + 1}`);
      if (!board || !isLocal(request.headers.origin)) {
        socket.end(`HTTP/1.1 ${board ? '403 Forbidden' : '404 Not Found'}\r\n\r\n`);
        return;
      }
      sockets.handleUpgrade(request, socket, head, (webSocket) => serve(webSocket, board));
    });
    await new Promise<void>((resolve, reject) => {
      server.once('error', (error: NodeJS.ErrnoException) => {
        const taken = `Port ${port} is in use by another program: give another number, or 0 for any that is free.`;
        reject(error.code === 'EADDRINUSE' ? new Error(taken) : error);
      });
      server.listen(port, HOST, resolve);
    });
    return new SocketServer(server, sockets);
  }

  /** Address of board number `index + 1`. */
  address(index: number): string {
    const { port } = this.server.address() as AddressInfo;
    return `ws://${HOST}:${port}/${index + 1}`;
  }

  /** Ends every link and frees the port. */
  async end(): Promise<void> {
    for (const client of this.sockets.clients) client.terminate();
    await new Promise((resolve) => this.server.close(resolve));
  }
}

function serve(socket: WebSocket, board: HostedBoard): void {
  const attachment = (() => {
    try {
      return board.attach({
        bytes: (chunk) => socket.send(chunk),
        closed: () => socket.terminate(),
      });
    } catch (error) {
      const code = error instanceof LinkError ? IN_USE_CODE : 1011;
      socket.close(code, error instanceof Error ? error.message : String(error));
      return undefined;
    }
  })();
  socket.on('error', () => socket.terminate()); // a broken frame ends the link, and nothing else
  if (!attachment) return;
  socket.on('message', (data: Buffer) => attachment.send(data));
  socket.on('close', () => attachment.detach());
}
