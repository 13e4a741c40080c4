import { readFile } from 'node:fs/promises';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { extname, join, normalize } from 'node:path';

/** A folder served as a plain site, which can be given another folder, and be stopped so that nothing answers any more. */

const TYPES: Readonly<Record<string, string>> = {
  '.html': 'text/html',
  '.js': 'text/javascript',
  '.css': 'text/css',
  '.svg': 'image/svg+xml',
  '.png': 'image/png',
  '.webmanifest': 'application/manifest+json',
};

export class StaticSite {
  readonly #server: Server;

  private constructor(public folder: string) {
    this.#server = createServer((request, response) => {
      const path = new URL(request.url ?? '/', 'http://localhost').pathname;
      const name = normalize(path === '/' ? '/index.html' : path);
      readFile(join(this.folder, name)).then(
        (content) => {
          response.setHeader('content-type', TYPES[extname(name)] ?? 'application/octet-stream');
          response.end(content);
        },
        () => {
          response.statusCode = 404;
          response.end();
        },
      );
    });
  }

  static async of(folder: string): Promise<StaticSite> {
    const site = new StaticSite(folder);
    await new Promise<void>((resolve) => site.#server.listen(0, '127.0.0.1', resolve));
    return site;
  }

  get url(): string {
    return `http://localhost:${(this.#server.address() as AddressInfo).port}/`;
  }

  /** Nothing answers here any more. */
  async stop(): Promise<void> {
    if (!this.#server.listening) return;
    const closed = new Promise((resolve) => this.#server.close(resolve));
    this.#server.closeAllConnections();
    await closed;
  }
}
