import { build } from 'vite';
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
