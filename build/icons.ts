import { readFileSync, writeFileSync } from 'node:fs';
import { launch } from '../tests/browser/chromium.ts';

/**
 * Draws public/icon.svg as the pictures that systems want where they install the page: `npx tsx build/icons.ts`, after
 * every change of it. The whole one has no corners cut off, for systems that cut their own.
 */
const PICTURES = [
  { name: 'icon-192.png', size: 192, whole: false },
  { name: 'icon-512.png', size: 512, whole: false },
  { name: 'icon-whole-512.png', size: 512, whole: true },
];

const folder = new URL('../public/', import.meta.url);
const drawing = readFileSync(new URL('icon.svg', folder), 'utf8');
const browser = await launch();
for (const { name, size, whole } of PICTURES) {
  const page = await browser.newPage({ viewport: { width: size, height: size } });
  const svg = whole ? drawing.replace(' rx="7"', '') : drawing;
  await page.setContent(`<style>*{margin:0}svg{display:block;width:${size}px}</style>${svg}`);
  writeFileSync(new URL(name, folder), await page.screenshot({ omitBackground: true }));
}
await browser.close();
