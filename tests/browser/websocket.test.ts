import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { build, type Rolldown } from 'vite';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { boardFrom } from '../../sim/board-line.ts';
import { HostedBoard } from '../../sim/hosted-board.ts';
import { SocketServer } from '../../sim/socket-server.ts';
import { realClock } from '../../src/transport/real-clock.ts';
import { PROBE } from '../transport/probe.ts';
import { launch } from './chromium.ts';

/** The link over a WebSocket in a real browser, with the browser's own WebSocket. */

const PAGE = `<!doctype html><title>A page</title><script type="module">
  import * as transport from '/link.js';
  globalThis.transport = transport;
</script>`;

let browser: Browser;
let page: Page;
let site: Server;
let boards: SocketServer;
const board = new HostedBoard(boardFrom(''), realClock);

beforeAll(async () => {
  const entry = new URL('../../src/transport/websocket.ts', import.meta.url).pathname;
  const built = (await build({
    configFile: false,
    logLevel: 'warn',
    build: { write: false, lib: { entry, formats: ['es'] } },
  })) as Rolldown.RolldownOutput[];
  const { code } = built[0]!.output[0];
  site = createServer((request, response) => {
    const isCode = request.url === '/link.js';
    response.setHeader('content-type', isCode ? 'text/javascript' : 'text/html');
    response.end(isCode ? code : PAGE);
  });
  await new Promise<void>((resolve) => site.listen(0, '127.0.0.1', resolve));
  boards = await SocketServer.at(0, [board]);
  browser = await launch();
  page = await browser.newPage();
  await page.goto(`http://localhost:${(site.address() as AddressInfo).port}/`);
});

afterAll(async () => {
  await browser?.close();
  await boards?.end();
  site?.close();
});

type Transport = typeof import('../../src/transport/websocket.ts');

/** Opens a link in the page and says hello; resolves with what came until it was answered or ended. */
const helloFrom = (address: string, page: Page) =>
  page.evaluate(
    async ({ address, hello }) => {
      const { webSocketLink } = (globalThis as unknown as { transport: Transport }).transport;
      const link = webSocketLink(address, WebSocket as never);
      let heard = '';
      const ended = new Promise<string>((resolve) => {
        const listener = {
          bytes: (chunk: Uint8Array) => {
            heard += new TextDecoder().decode(chunk);
            if (heard.endsWith('\n')) resolve('answered');
          },
          closed: (end: { cause: string }) => resolve(end.cause),
        };
        link
          .open(listener)
          .then(() => link.write(Uint8Array.from(hello)))
          .catch((error: { cause: string }) => resolve(`refused: ${error.cause}`));
      });
      const how = await ended;
      (globalThis as { kept?: unknown }).kept = link;
      return { how, heard };
    },
    { address, hello: [...PROBE.send] },
  );

const closeKept = (page: Page) =>
  page.evaluate(() => (globalThis as unknown as { kept: { close(): Promise<void> } }).kept.close());

test('a page talks to a board, lets it go, has it again, and is told when another page has it', async () => {
  for (let time = 0; time < 2; time++) {
    const { how, heard } = await helloFrom(boards.address(0), page);
    expect(how).toBe('answered');
    expect(heard).toContain(PROBE.answer);
    if (time === 0) await closeKept(page);
  }
  const other = await browser.newPage();
  await other.goto(page.url());
  expect((await helloFrom(boards.address(0), other)).how).toBe('in_use');
  await other.close();
  await closeKept(page);
});

test('a page is told that nothing answers at an address', async () => {
  const { how } = await helloFrom(`${boards.address(0)}7`, page);
  expect(how).toBe('refused: unreachable');
});
