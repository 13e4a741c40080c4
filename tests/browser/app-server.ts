import type { TestProject } from 'vitest/node';
import { serveBuiltApp } from './build-app.ts';
import { findChromium } from './chromium.ts';

declare module 'vitest' {
  export interface ProvidedContext {
    /** Where the built app is served. */
    appUrl: string;
    /** The folder with its files. */
    appFolder: string;
  }
}

/** Serves the built app to the browser tests. */
export default async function serveApp(project: TestProject): Promise<() => Promise<void>> {
  findChromium();
  const { url, folder, end } = await serveBuiltApp();
  project.provide('appUrl', url);
  project.provide('appFolder', folder);
  return end;
}
