import type { UserConfig } from 'vite';
import { VitePWA } from 'vite-plugin-pwa';
import { contentPolicy } from './content-policy.ts';
import { pageVersion } from './page-version.ts';

/** How the page is built and served, as this version. */
export function appConfig(version: string): UserConfig {
  return {
    build: { target: 'es2022', assetsInlineLimit: 0 },
    worker: { format: 'es' },
    plugins: [contentPolicy(), pageVersion(version), installable()],
  };
}

/** A service worker that keeps every file of the page, and what a system must know to install it as an app. */
const installable = () =>
  VitePWA({
    registerType: 'prompt',
    injectRegister: false, // src/installed-app.ts does, with no inline script
    includeManifestIcons: false, // the pattern below has them
    manifest: {
      id: '/',
      name: 'Lodebench',
      short_name: 'Lodebench',
      description: 'A bench for calibrating hand-held survey compass-clinometers',
      lang: 'en',
      display: 'standalone',
      theme_color: '#173f5f',
      background_color: '#f4f1e9',
      icons: [
        { src: 'icon.svg', sizes: 'any', type: 'image/svg+xml' },
        { src: 'icon-192.png', sizes: '192x192', type: 'image/png' },
        { src: 'icon-512.png', sizes: '512x512', type: 'image/png' },
        { src: 'icon-whole-512.png', sizes: '512x512', type: 'image/png', purpose: 'maskable' },
      ],
    },
    workbox: {
      globPatterns: ['**/*.{html,js,css,svg,png}'],
      inlineWorkboxRuntime: true,
      cleanupOutdatedCaches: true,
      clientsClaim: true, // the page that was loaded first needs no second loading to work with no server
    },
  });
