import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { preview } from 'vite';
import type { TestProject } from 'vitest/node';
import { buildApp } from './build-app.ts';
import { findChromium } from './chromium.ts';

declare module 'vitest' {
  export interface ProvidedContext {
    /** Where the built app is served. */
    appUrl: string;
    /** The folder with its files. */
    appFolder: string;
  }
}

/**
 * Builds the app as it would be published, into a folder of its own, so that runs beside each other do not meet, and
 * serves it to the browser tests on a free port.
 */
export default async function serveApp(project: TestProject): Promise<() => Promise<void>> {
  findChromium();
  const outDir = await mkdtemp(join(tmpdir(), 'lodebench-'));
  await buildApp(outDir);
  const server = await preview({
    logLevel: 'warn',
    build: { outDir },
    preview: { port: 0, host: '127.0.0.1' },
  });
  project.provide('appUrl', server.resolvedUrls!.local[0]!);
  project.provide('appFolder', outDir);
  return async () => {
    await server.close();
    await rm(outDir, { recursive: true, force: true });
  };
}
