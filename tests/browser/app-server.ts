import { build, preview } from 'vite';
import type { TestProject } from 'vitest/node';
import { findChromium } from './chromium.ts';

declare module 'vitest' {
  export interface ProvidedContext {
    /** Where the built app is served. */
    appUrl: string;
  }
}

/** Builds the app as it would be published, and serves it to the browser tests on a free port. */
export default async function serveApp(project: TestProject): Promise<() => Promise<void>> {
  findChromium();
  await build({ logLevel: 'warn' });
  const server = await preview({ logLevel: 'warn', preview: { port: 0, host: '127.0.0.1' } });
  project.provide('appUrl', server.resolvedUrls!.local[0]!);
  return () => server.close();
}
