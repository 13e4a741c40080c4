import { build, type InlineConfig } from 'vite';

/** Builds the app as it is published: vitest's own `NODE_ENV` would bring in what is for developers. */
export async function buildApp(outDir: string, config: InlineConfig = {}): Promise<void> {
  const { NODE_ENV } = process.env;
  process.env['NODE_ENV'] = 'production';
  try {
    await build({ logLevel: 'warn', ...config, build: { outDir, emptyOutDir: true } });
  } finally {
    process.env['NODE_ENV'] = NODE_ENV;
  }
}
