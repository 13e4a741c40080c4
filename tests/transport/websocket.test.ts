import { once } from 'node:events';
import type { AddressInfo } from 'node:net';
import { afterEach, describe, expect, test } from 'vitest';
import { WebSocket, WebSocketServer } from 'ws';
import { boardFrom } from '../../sim/board-line.ts';
import { HostedBoard } from '../../sim/hosted-board.ts';
import { SocketServer } from '../../sim/socket-server.ts';
import type { LinkError, LinkListener } from '../../src/protocol/link.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import {
  socketAddress,
  type SocketConstructor,
  webSocketKind,
  webSocketLink,
} from '../../src/transport/websocket.ts';
import { byteLinkContract } from './contract.ts';
import { PROBE } from './probe.ts';
import { until, watchedLink } from './real-time.ts';

const Constructor = WebSocket as unknown as SocketConstructor;

const opened: { end(): unknown }[] = [];
afterEach(async () => {
  for (const each of opened.splice(0)) await each.end();
});

async function served(): Promise<{ board: HostedBoard; server: SocketServer }> {
  const board = new HostedBoard(boardFrom(''), realClock);
  const server = await SocketServer.at(0, [board]);
  opened.push(server);
  return { board, server };
}

class Ear implements LinkListener {
  text = '';
  endings: LinkError[] = [];
  bytes = (chunk: Uint8Array): void => void (this.text += new TextDecoder().decode(chunk));
  closed = (end: LinkError): void => void this.endings.push(end);
}

byteLinkContract('a WebSocket', async () => {
  const { board, server } = await served();
  const link = watchedLink(webSocketLink(server.address(0), Constructor));
  return {
    ...link,
    probe: PROBE,
    drop: async () => {
      board.board.dropAfter(0);
      await link.ended();
    },
    run: (work) => work,
    end: () => {},
  };
});

describe('a WebSocket', () => {
  test('takes text frames and binary ones alike for bytes', async () => {
    const server = new WebSocketServer({ port: 0, host: '127.0.0.1' });
    opened.push({ end: () => new Promise((done) => server.close(done)) });
    server.on('connection', (socket) => {
      socket.send('=1 ok ä');
      socket.send(Buffer.from('\n=2 ok'));
      socket.close();
    });
    await once(server, 'listening');
    const { port } = server.address() as AddressInfo;
    const ear = new Ear();
    await webSocketLink(`ws://127.0.0.1:${port}/`, Constructor).open(ear);
    await until(() => ear.endings.length > 0, 'the end');
    expect(ear.text).toBe('=1 ok ä\n=2 ok');
    expect(ear.endings).toMatchObject([{ cause: 'gone' }]);
  });

  test('where nothing listens, and where no board is, says that it cannot be reached, and can be tried again', async () => {
    const { server } = await served();
    const nowhere = webSocketLink(`${server.address(0)}0`, Constructor);
    await expect(nowhere.open(new Ear())).rejects.toMatchObject({ cause: 'unreachable' });
    await expect(nowhere.open(new Ear())).rejects.toMatchObject({ cause: 'unreachable' });
    const address = server.address(0);
    await server.end();
    const ended = webSocketLink(address, Constructor);
    await expect(ended.open(new Ear())).rejects.toMatchObject({ cause: 'unreachable' });
  });

  test('to a board that another program has is ended as in use, and the other program keeps it', async () => {
    const { server, board } = await served();
    const [first, second] = [new Ear(), new Ear()];
    const link = webSocketLink(server.address(0), Constructor);
    await link.open(first);
    await until(() => board.isAttached, 'the first');
    await webSocketLink(server.address(0), Constructor).open(second);
    await until(() => second.endings.length > 0, 'the end of the second');
    expect(second.endings).toMatchObject([{ cause: 'in_use' }]);
    await link.write(PROBE.send);
    await until(() => first.text.includes(PROBE.answer), 'an answer to the first');
    await link.close();
  });

  test('is refused to a page from elsewhere', async () => {
    const { server } = await served();
    class FromElsewhere extends WebSocket {
      constructor(address: string) {
        super(address, { origin: 'https://example.org' });
      }
    }
    const link = webSocketLink(server.address(0), FromElsewhere as unknown as SocketConstructor);
    await expect(link.open(new Ear())).rejects.toMatchObject({ cause: 'unreachable' });
    class FromHere extends WebSocket {
      constructor(address: string) {
        super(address, { origin: 'http://localhost:5173' });
      }
    }
    const local = webSocketLink(server.address(0), FromHere as unknown as SocketConstructor);
    await local.open(new Ear());
    await local.close();
  });
});

describe('the address of a board', () => {
  test.each([
    ['ws://localhost:4180/1', 'ws://localhost:4180/1'],
    [' ws://127.0.0.1:4180/1 ', 'ws://127.0.0.1:4180/1'],
    ['ws://[::1]:99', 'ws://[::1]:99/'],
  ])('may be %s', (typed, address) => {
    expect(socketAddress(typed)).toBe(address);
  });

  test.each(['', 'localhost:4180', 'http://localhost:4180', 'ws://', 'ws://localhost/#1', 'board'])(
    'is not “%s”',
    (typed) => {
      expect(() => socketAddress(typed)).toThrow(
        expect.objectContaining({ name: 'LinkError', cause: 'failed' }),
      );
    },
  );

  test.each(['ws://192.168.1.7/', 'wss://localhost.example.org/1', 'ws://127.0.0.1.example.org'])(
    'on another machine, %s, is allowed only where that was said',
    (typed) => {
      expect(() => socketAddress(typed)).toThrow(
        expect.objectContaining({ cause: 'not_permitted' }),
      );
      expect(socketAddress(typed, { anyHost: true })).toBe(new URL(typed).href);
    },
  );
});

describe('WebSockets as a kind of link', () => {
  test('link the address that a person types, and tell one who gives none from a wrong one', async () => {
    const kind = (typed?: string) => webSocketKind(async () => typed, Constructor);
    expect(await kind().missing()).toBeUndefined();
    expect((await kind('ws://localhost:1/1').choose()).label).toContain('ws://localhost:1/1');
    await expect(kind().choose()).rejects.toMatchObject({ cause: 'none_chosen' });
    await expect(kind('ws://example.org').choose()).rejects.toMatchObject({
      cause: 'not_permitted',
    });
    expect(await kind().permitted()).toEqual([]);
  });

  test('are missing where the machine has none', async () => {
    const kind = webSocketKind(async () => 'ws://localhost:1', undefined);
    const has = 'WebSocket' in globalThis;
    expect((await kind.missing())?.cause).toBe(has ? undefined : 'unsupported');
  });
});
