import type { Plugin } from 'vite';

/**
 * What the page may load and where it may send anything: only its own files, and boards behind an address of this
 * machine. Nothing inline runs, and no text becomes markup or code.
 */
export const CONTENT_POLICY: Readonly<Record<string, string>> = {
  'default-src': "'none'",
  'script-src': "'self'",
  'style-src': "'self'",
  'img-src': "'self'",
  'manifest-src': "'self'",
  'worker-src': "'self'",
  // a service worker fetches the page's own files anew; the others are boards
  'connect-src': "'self' ws://localhost:* ws://127.0.0.1:*",
  'base-uri': "'none'",
  'form-action': "'none'",
  'require-trusted-types-for': "'script'",
  // what Lit makes of its own templates, and src/trusted-scripts.ts
  'trusted-types': 'lit-html default',
};

const policyText = Object.entries(CONTENT_POLICY)
  .map(([name, value]) => `${name} ${value}`)
  .join('; ');

/** Writes the policy into the built page. The development server puts scripts of its own into the page: it has none. */
export function contentPolicy(): Plugin {
  return {
    name: 'content-policy',
    apply: 'build',
    transformIndexHtml: () => [
      {
        tag: 'meta',
        attrs: { 'http-equiv': 'Content-Security-Policy', content: policyText },
        injectTo: 'head-prepend', // before everything that it rules
      },
    ],
  };
}
