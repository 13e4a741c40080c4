import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { gzipSync } from 'node:zlib';
import { build, type Rolldown } from 'vite';
import type { Figure } from './figure.ts';

/** Size of the JavaScript that the page loads before anyone touches it: the entry and all it imports at once. */
export async function initialScript(): Promise<Figure[]> {
  const outDir = await mkdtemp(join(tmpdir(), 'lodebench-script-'));
  const built = (await build({
    logLevel: 'error',
    build: { outDir, emptyOutDir: true },
  })) as Rolldown.RolldownOutput;
  await rm(outDir, { recursive: true });
  const chunks = new Map(
    built.output.flatMap((file) => (file.type === 'chunk' ? [[file.fileName, file] as const] : [])),
  );
  const wanted = [...chunks.values()]
    .filter((chunk) => chunk.isEntry)
    .map((chunk) => chunk.fileName);
  const seen = new Set<string>();
  for (const name of wanted) {
    if (seen.has(name)) continue;
    seen.add(name);
    wanted.push(...(chunks.get(name)?.imports ?? []));
  }
  const bytes = [...seen].reduce((sum, name) => sum + gzipSync(chunks.get(name)!.code).length, 0);
  return [
    {
      what: `initial JavaScript, gzipped (${seen.size} files of ${chunks.size})`,
      value: `${(bytes / 1000).toFixed(1)} kB`,
      beside: 'at most 150 kB wanted',
    },
  ];
}
