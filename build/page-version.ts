import { createHash } from 'node:crypto';
import type { Plugin } from 'vite';

/**
 * Writes into the page which version it is: that of the package and, where it is built, a hash of the page, its
 * scripts and its styles, so that two builds have the same version only where these are the same.
 */
export function pageVersion(version: string): Plugin {
  return {
    name: 'page-version',
    transformIndexHtml: {
      order: 'post',
      handler: (html, { bundle }) => {
        // the name of each file holds a hash of what is in it
        const hash = bundle ? hashOf([html, ...Object.keys(bundle).toSorted()]) : 'dev';
        const content = `${version}+${hash}`;
        return [{ tag: 'meta', attrs: { name: 'version', content }, injectTo: 'head' }];
      },
    },
  };
}

const hashOf = (texts: readonly string[]): string =>
  createHash('sha256').update(texts.join('\n')).digest('hex').slice(0, 8);
