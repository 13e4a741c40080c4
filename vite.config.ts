/// <reference types="vitest/config" />
import { defineConfig } from 'vite';
import { appConfig } from './build/app-config.ts';
import packageJson from './package.json' with { type: 'json' };
import ClosingLine from './tests/closing-line.ts';

export default defineConfig({
  ...appConfig(packageJson.version),
  test: {
    // most of them wait, for processes and for the browser, more than they compute; with four, boards do not answer in time
    maxWorkers: 3,
    reporters: ['default', new ClosingLine()],
    projects: [
      {
        test: {
          name: 'unit',
          include: ['tests/**/*.test.ts'],
          exclude: ['tests/browser/**', 'tests/long/**'],
          testTimeout: 60_000, // against hanging only: a busy machine may be slow
        },
      },
      {
        test: {
          name: 'long',
          include: ['tests/long/**/*.test.ts'],
          globalSetup: ['tests/browser/app-server.ts'],
          testTimeout: 600_000,
        },
      },
      {
        test: {
          name: 'browser',
          include: ['tests/browser/**/*.test.ts'],
          globalSetup: ['tests/browser/app-server.ts'],
          testTimeout: 600_000, // against hanging only: the walk that looks at every state takes three minutes on two busy cores
          hookTimeout: 180_000,
        },
      },
    ],
  },
});
