import { mkdtemp, readdir, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createServer } from 'vite';
import { expect, inject, it } from 'vitest';
import { calibrate } from './calibrate.ts';
import { launch } from './chromium.ts';
import { addressesAsked } from './net-log.ts';
import { openPage } from './page.ts';
import { StaticSite } from './static-site.ts';

it('once loaded starts and does the whole job with its server gone, and asks nobody else for anything', async () => {
  const folder = await mkdtemp(join(tmpdir(), 'lodebench-net-'));
  const record = join(folder, 'net.json');
  const browser = await launch(`--log-net-log=${record}`);
  const site = await StaticSite.of(inject('appFolder'));
  const { url } = site;
  try {
    const context = await browser.newContext();
    const { page, complaints } = await openPage(context);
    await page.goto(url);
    await page.waitForFunction(() => navigator.serviceWorker.controller !== null);
    await site.stop();
    await expect(fetch(url)).rejects.toThrow();

    await page.reload();
    await calibrate(page);
    await page.goto(`${url}#logbook`);
    await page.getByRole('link', { name: /SIM-/ }).first().click();
    await page.locator('logbook-board h2').first().waitFor();
    await page.close();
    const again = await openPage(context); // as when it is started another day
    await again.page.goto(url);
    await again.page.getByRole('heading', { name: 'The proof passed' }).waitFor();
    // what the browser itself says of a server that is gone, asked whether there is a newer version
    const gone = /^Failed to load resource: net::ERR_CONNECTION_REFUSED$/;
    expect([...complaints, ...again.complaints].filter((each) => !gone.test(each))).toEqual([]);
  } finally {
    await site.stop();
    await browser.close();
  }
  const { requests, lookups } = addressesAsked(record);
  await rm(folder, { recursive: true });
  const { origin } = new URL(url);
  expect(requests).toContain(`${origin}/sw.js`);
  expect(requests.filter((each) => new URL(each).origin !== origin)).toEqual([]);
  expect(lookups.filter((each) => new URL(each).origin !== origin)).toEqual([]);
});

it('keeps every file of the page, so that none is missed when there is no server', async () => {
  const folder = inject('appFolder');
  const worker = await readFile(join(folder, 'sw.js'), 'utf8');
  const files = await readdir(folder, { recursive: true, withFileTypes: true });
  const names = files
    .filter((file) => file.isFile() && file.name !== 'sw.js')
    .map((file) => join(file.parentPath, file.name).slice(folder.length + 1));
  expect(names.filter((name) => /worker/.test(name)).length).toBeGreaterThanOrEqual(2);
  expect(names.filter((name) => !worker.includes(`"${name}"`))).toEqual([]);
});

it('is served for development with no service worker, no policy and nothing to install', async () => {
  const server = await createServer({
    logLevel: 'error',
    server: { port: 0, host: '127.0.0.1' },
    optimizeDeps: { noDiscovery: true, include: [] },
  });
  await server.listen();
  const url = server.resolvedUrls!.local[0]!;
  const page = await (await fetch(url)).text();
  const worker = await fetch(`${url}sw.js`);
  await server.close();
  expect(page).toMatch(/<meta name="version" content="[0-9.]+\+dev">/);
  expect(page).not.toMatch(/Content-Security-Policy|rel="manifest"/i); // src/installed-app.ts goes by the latter
  expect(worker.headers.get('content-type')).not.toContain('javascript');
});

it('can be installed, with a picture of each size it speaks of', async () => {
  const browser = await launch();
  const page = await browser.newPage();
  await page.goto(inject('appUrl'));
  await page.waitForFunction(() => navigator.serviceWorker.controller !== null);
  const devtools = await page.context().newCDPSession(page);
  const { installabilityErrors } = await devtools.send('Page.getInstallabilityErrors');
  // what pages of a test are opened in can install nothing, whatever the page is like
  expect(installabilityErrors.filter(({ errorId }) => errorId !== 'in-incognito')).toEqual([]);
  const icons = await page.evaluate(async () => {
    const { href } = document.querySelector<HTMLLinkElement>('link[rel=manifest]')!;
    const manifest = (await (await fetch(href)).json()) as {
      icons: { src: string; sizes: string; type: string }[];
    };
    return Promise.all(
      manifest.icons.map(async ({ src, sizes, type }) => {
        const image = new Image();
        image.src = new URL(src, href).href;
        await image.decode();
        return { type, said: sizes, is: `${image.naturalWidth}x${image.naturalHeight}` };
      }),
    );
  });
  await browser.close();
  expect(icons.filter(({ type }) => type === 'image/png').length).toBe(3);
  for (const { said, is } of icons) if (said !== 'any') expect(is).toBe(said);
});

it('speaks of no address elsewhere in what is built, but for names of formats', async () => {
  const folder = inject('appFolder');
  const files = await readdir(folder, { recursive: true, withFileTypes: true });
  const texts = await Promise.all(
    files
      .filter((file) => file.isFile() && !file.name.endsWith('.png'))
      .map((file) => readFile(join(file.parentPath, file.name), 'utf8')),
  );
  const addresses = texts.flatMap(
    (text) => text.match(/\b(?:https?|wss?):\/\/[^\s"'`)\\]*/g) ?? [],
  );
  const allowed = [
    /^http:\/\/www\.w3\.org\/(2000\/svg|1999\/xlink|1998\/Math\/MathML)$/, // namespaces
    /^https:\/\/bit\.ly\/wb-precache$/, // in the words of an error, for people who write service workers
    /^wss?:\/\/(localhost|127\.0\.0\.1)([:/,]|$)/, // boards of this machine
  ];
  expect(addresses.filter((each) => !allowed.some((pattern) => pattern.test(each)))).toEqual([]);
});
