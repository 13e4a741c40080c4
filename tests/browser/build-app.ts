import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { build, preview } from 'vite';
import { appConfig } from '../../build/app-config.ts';

/**
 * Builds the app as it is published: vitest's own `NODE_ENV` would bring in what is for developers.
 *
 * @param version other than that of the package
 */
export async function buildApp(outDir: string, version?: string): Promise<void> {
  const config = version === undefined ? {} : appConfig(version);
  const { NODE_ENV } = process.env;
  process.env['NODE_ENV'] = 'production';
  try {
    await build({
      ...config,
      ...(version !== undefined && { configFile: false }),
      build: { ...config.build, outDir, emptyOutDir: true },
      logLevel: 'error',
    });
  } finally {
    // set to undefined, it would be the text “undefined”
    if (NODE_ENV === undefined) delete process.env['NODE_ENV'];
    else process.env['NODE_ENV'] = NODE_ENV;
  }
}

/** The built app, served as it would be published. */
export interface ServedApp {
  url: string;
  /** The folder with its files. */
  folder: string;
  end(): Promise<void>;
}

/** Builds the app into a folder of its own, so that runs beside each other do not meet, and serves it on a free port. */
export async function serveBuiltApp(): Promise<ServedApp> {
  const folder = await mkdtemp(join(tmpdir(), 'lodebench-'));
  await buildApp(folder);
  const server = await preview({
    logLevel: 'error',
    build: { outDir: folder },
    preview: { port: 0, host: '127.0.0.1' },
  });
  return {
    url: server.resolvedUrls!.local[0]!,
    folder,
    end: async () => {
      await server.close();
      await rm(folder, { recursive: true, force: true });
    },
  };
}
